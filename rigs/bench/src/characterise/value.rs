//! A value with its uncertainty.

use super::segment::mean;

/// A value and its uncertainty, k = 2.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Value {
    /// The value.
    pub value: f64,
    /// Half the width of its interval, k = 2.
    pub uncertainty: f64,
}

/// Mean, with the scatter of its members and a share of it as uncertainty.
pub(super) fn spread(values: &[f64], share: f64) -> Value {
    let value = mean(values.iter().copied());
    let count = values.len() as f64;
    let scatter = if count > 1.0 {
        (values.iter().map(|one| (one - value).powi(2)).sum::<f64>() / (count - 1.0) / count).sqrt()
    } else {
        0.0
    };
    Value { value, uncertainty: 2.0 * scatter + share * value.abs() }
}
