//! A row of a table, and what it is called.

pub(super) fn row<T: ToString, const N: usize>(cells: [T; N]) -> Vec<String> {
    cells.iter().map(ToString::to_string).collect()
}

/// A name with its unit, where it has one.
pub(in crate::verbs) fn with_unit(name: &str, unit: &str) -> String {
    match unit {
        "1" | "–" => name.to_owned(),
        unit => format!("{name}, {unit}"),
    }
}
