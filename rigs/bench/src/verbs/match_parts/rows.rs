//! Rows of tables as text: columns that line up.

pub(super) fn row<T: ToString, const N: usize>(cells: [T; N]) -> Vec<String> {
    cells.iter().map(ToString::to_string).collect()
}

/// Columns wide enough for their longest cell, two spaces between.
pub(super) fn aligned(rows: &[Vec<String>]) -> String {
    let columns = rows.iter().map(Vec::len).max().unwrap_or(0);
    let width = |column: usize| {
        rows.iter().filter_map(|row| row.get(column)).map(|cell| cell.chars().count()).max().unwrap_or(0)
    };
    let widths: Vec<usize> = (0..columns).map(width).collect();
    let line = |row: &Vec<String>| {
        let cells = row.iter().zip(&widths).map(|(cell, width)| format!("{cell:<width$}"));
        cells.collect::<Vec<_>>().join("  ").trim_end().to_owned()
    };
    rows.iter().map(line).collect::<Vec<_>>().join("\n")
}

#[cfg(test)]
mod tests {
    use super::{aligned, row};

    #[test]
    fn columns_line_up() {
        let rows = [row(["a", "b"]), row(["long", "c"])];
        assert_eq!(aligned(&rows), "a     b\nlong  c");
    }
}
