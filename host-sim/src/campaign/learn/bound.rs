//! Exact bounds on a rate that was counted: Clopper and Pearson.
//!
//! In: how many of how many. Out: the two-sided 95 % interval by quantiles of the beta distribution
//! (C. J. Clopper, E. S. Pearson, "The use of confidence or fiducial limits illustrated in the case of the
//! binomial", Biometrika 26, 1934).

use statrs::distribution::{Beta, ContinuousCDF};

/// Probability left out at each side.
const TAIL: f64 = 0.025;

/// Lower and upper 95 % bound of the rate behind `count` of `total`; the whole range for no trials.
#[must_use]
pub fn exact_bounds(count: u64, total: u64) -> [f64; 2] {
    if total == 0 || count > total {
        return [0.0, 1.0];
    }
    let (x, n) = (count as f64, total as f64);
    let quantile = |a: f64, b: f64, p: f64| Beta::new(a, b).ok().map(|beta| beta.inverse_cdf(p));
    let low = if count == 0 { Some(0.0) } else { quantile(x, n - x + 1.0, TAIL) };
    let high = if count == total { Some(1.0) } else { quantile(x + 1.0, n - x, 1.0 - TAIL) };
    [low.unwrap_or(0.0), high.unwrap_or(1.0)]
}
