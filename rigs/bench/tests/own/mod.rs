//! The demonstration's profile or limits as those of a user's own unit: another name, origin and nominal span.

/// A copy that is no invention any more, and drives a virtual unit as well as the original.
pub(crate) fn own_copy(text: &str) -> String {
    text.replacen("name = \"bench-actuator-a\"", "name = \"own\"", 1)
        .replacen(
            "origin = \"Invented for demonstration: no real unit has these numbers.\"",
            "origin = \"The checks' own unit.\"",
            1,
        )
        .replacen("nominal_span_counts = 10700.0", "nominal_span_counts = 10701.0", 1)
}
