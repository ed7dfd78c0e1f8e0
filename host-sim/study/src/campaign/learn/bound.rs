//! Exact bounds on a rate that was counted: Clopper and Pearson.
//!
//! In: how many of how many. Out: the two-sided 95 % interval by quantiles of the beta distribution
//! (C. J. Clopper, E. S. Pearson, "The use of confidence or fiducial limits illustrated in the case of the
//! binomial", Biometrika 26, 1934).

use serde::Serialize;
use statrs::distribution::{Beta, ContinuousCDF};

/// Probability left out at each side.
const TAIL: f64 = 0.025;

/// Halvings of the interval: past the last bit of a double.
const HALVINGS: u32 = 200;

/// Lower and upper 95 % bound of the rate behind `count` of `total`; the whole range for no trials.
#[must_use]
pub fn exact_bounds(count: u64, total: u64) -> [f64; 2] {
    if total == 0 || count > total {
        return [0.0, 1.0];
    }
    let (x, n) = (count as f64, total as f64);
    let low = if count == 0 { 0.0 } else { quantile(x, n - x + 1.0, TAIL) };
    let high = if count == total { 1.0 } else { quantile(x + 1.0, n - x, 1.0 - TAIL) };
    [low, high]
}

/// Something counted, with its exact two-sided 95 % bounds.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Rate {
    /// How many.
    pub count: u64,
    /// Of how many.
    pub of: u64,
    /// Clopper–Pearson bounds.
    pub bounds: [f64; 2],
}

impl Rate {
    pub(super) fn new(count: u64, of: u64) -> Self {
        Self { count, of, bounds: exact_bounds(count, of) }
    }
}

/// Quantile of the beta distribution by halving; the crate's own stops at seven digits.
fn quantile(a: f64, b: f64, p: f64) -> f64 {
    // Both are at least 1 here, so the distribution exists.
    let Ok(beta) = Beta::new(a, b) else { return f64::NAN };
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..HALVINGS {
        let middle = 0.5 * (low + high);
        if beta.cdf(middle) < p {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}
