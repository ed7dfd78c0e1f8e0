//! Rows of tables as text: digits that follow the uncertainty, columns that line up.

/// A number with four significant digits, never in exponents unless it must be.
pub(super) fn number(value: f64) -> String {
    let size = value.abs();
    if !value.is_finite() {
        "–".into()
    } else if size != 0.0 && size < 1e-3 {
        format!("{value:.3e}")
    } else if size >= 1000.0 {
        format!("{value:.0}")
    } else if size >= 100.0 {
        format!("{value:.1}")
    } else if size >= 10.0 {
        format!("{value:.2}")
    } else if size >= 1.0 || size == 0.0 {
        format!("{value:.3}")
    } else {
        format!("{value:.4}")
    }
}

/// A value and its uncertainty: two significant digits of the uncertainty, the value to the same place
/// (GUM 7.2.6).
pub(in crate::verbs) fn with_uncertainty(value: f64, uncertainty: f64) -> String {
    const SMALLEST_IN_FULL: f64 = 1e-3;
    if !(value.is_finite() && uncertainty.is_finite()) || uncertainty <= 0.0 {
        return format!("{} ± {}", number(value), number(uncertainty));
    }
    if uncertainty < SMALLEST_IN_FULL && value.abs() < SMALLEST_IN_FULL {
        return format!("{value:.2e} ± {uncertainty:.1e}");
    }
    let place = uncertainty.log10().floor() as i32 - 1;
    let decimals = (-place).max(0) as usize;
    let step = 10.0_f64.powi(place);
    let rounded = |number: f64| (number / step).round() * step;
    format!("{:.decimals$} ± {:.decimals$}", rounded(value), rounded(uncertainty))
}

pub(super) fn row<T: ToString, const N: usize>(cells: [T; N]) -> Vec<String> {
    cells.iter().map(ToString::to_string).collect()
}

/// Columns wide enough for their longest cell, two spaces between.
pub(in crate::verbs) fn aligned(rows: &[Vec<String>]) -> String {
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
    use super::{aligned, number, row, with_uncertainty};

    #[test]
    fn an_uncertainty_has_two_digits_and_its_value_ends_at_the_same_place() {
        let cases = [
            ((94.291_77, 27.123), "94 ± 27"),
            ((57.76, 0.142_3), "57.76 ± 0.14"),
            ((12_345.6, 234.5), "12350 ± 230"),
            ((2.834e-5, 4.123e-6), "2.83e-5 ± 4.1e-6"),
            ((5.0, 0.0), "5.000 ± 0.000"),
        ];
        for ((value, uncertainty), text) in cases {
            assert_eq!(with_uncertainty(value, uncertainty), text);
        }
    }

    #[test]
    fn numbers_keep_four_digits() {
        let cases =
            [(0.0, "0.000"), (57.76, "57.76"), (0.0524, "0.0524"), (2.8e-5, "2.800e-5"), (-123.45, "-123.5")];
        for (value, text) in cases {
            assert_eq!(number(value), text);
        }
        assert_eq!(number(f64::NAN), "–");
    }

    #[test]
    fn columns_line_up() {
        let rows = [row(["a", "b"]), row(["long", "c"])];
        assert_eq!(aligned(&rows), "a     b\nlong  c");
    }
}
