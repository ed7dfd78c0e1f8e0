//! What a number in a file may be, and the error that says so.
//!
//! In: a field name and its value. Out: nothing, or [`BadParameter`] naming field, value and what is allowed.

use crate::shown::brief;

/// What stands for the value of a field that is not there.
pub(crate) const MISSING: &str = "missing";

/// A value that was refused.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("`{field}` is {value}; allowed: {allowed}")]
pub struct BadParameter {
    /// Path of the field as it stands in the file, dots between tables.
    pub field: String,
    /// The value seen.
    pub value: String,
    /// What is allowed, in words.
    pub allowed: String,
}

impl BadParameter {
    /// A refusal of `value` for `field`.
    #[must_use]
    pub fn new(field: impl Into<String>, value: impl ToString, allowed: impl Into<String>) -> Self {
        Self { field: field.into(), value: brief(&value.to_string()), allowed: allowed.into() }
    }

    /// The same refusal, seen from the table that holds the field.
    #[must_use]
    pub fn within(mut self, table: &str) -> Self {
        self.field = format!("{table}.{}", self.field);
        self
    }
}

/// Refuses a value that is not finite and above 0.
pub(crate) fn above_zero(field: &str, value: f64) -> Result<(), BadParameter> {
    if value.is_finite() && value > 0.0 {
        return Ok(());
    }
    Err(BadParameter::new(field, value, "a finite number above 0"))
}

/// Refuses a value that is not finite and 0 or more.
pub(crate) fn not_negative(field: &str, value: f64) -> Result<(), BadParameter> {
    if value.is_finite() && value >= 0.0 {
        return Ok(());
    }
    Err(BadParameter::new(field, value, "a finite number, 0 or more"))
}

/// Refuses a value outside `low` to `high` (both allowed), NaN included.
pub fn between(field: &str, value: f64, low: f64, high: f64) -> Result<(), BadParameter> {
    if value >= low && value <= high {
        return Ok(());
    }
    Err(BadParameter::new(field, value, format!("{low} to {high}")))
}
