//! Statistical tolerance intervals: between which values a stated share of all units lies, at a stated confidence, as far
//! as a few measured units can say (ISO 16269-6).
//!
//! In: how many units, the share (content) and the confidence. Out: factors k for mean ± k s of a normal spread, exact and
//! not by an approximation; for any spread, how much of it smallest to largest value hold, and how many units it takes.

use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::conformity::normal_share_below;

/// What an interval is to hold, and how sure that is to be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct IntervalDemand {
    /// Share of all units, above 0 and below 1.
    pub content: f64,
    /// Confidence, above 0 and below 1.
    pub confidence: f64,
}

/// Which side of an interval is closed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sides {
    /// A limit on one side only.
    One,
    /// Limits on both.
    Two,
}

/// How far a mean is looked for, in its standard deviations.
const FAR: f64 = 9.5;
/// Step of the sums below, in standard deviations: their terms fall off like a normal distribution, where the trapezoidal
/// rule on the whole line errs by less than the functions under it.
const STEP: f64 = 0.1;

impl IntervalDemand {
    /// Factor k: mean ± k s, or mean + k s, of `units` values from a normal spread holds the content at the confidence.
    /// None for fewer than two units.
    #[must_use]
    pub fn normal_factor(self, units: usize, sides: Sides) -> Option<f64> {
        let freedom = (units.checked_sub(1).filter(|freedom| *freedom > 0)?) as f64;
        let spread = ChiSquared::new(freedom).ok()?;
        let n = units as f64;
        let confidence: Box<dyn Fn(f64) -> f64> = match sides {
            Sides::Two => {
                let widths = self.half_widths(n);
                Box::new(move |k| {
                    let held =
                        |(weight, width): &(f64, f64)| weight * spread.sf(freedom * (width / k).powi(2));
                    widths.iter().map(held).sum()
                })
            }
            Sides::One => {
                let z = quantile(self.content);
                let deviations = weighted_deviations(freedom);
                Box::new(move |k| {
                    let held = |(weight, s): &(f64, f64)| weight * normal_share_below(n.sqrt() * (k * s - z));
                    deviations.iter().map(held).sum()
                })
            }
        };
        Some(root(1e-3, 1e5, |k| confidence(k) - self.confidence))
    }

    /// For each place x of the mean, its weight and the r with Φ(x + r) − Φ(x − r) = content.
    fn half_widths(self, n: f64) -> Vec<(f64, f64)> {
        let steps = (-FAR / STEP) as i32..=(FAR / STEP) as i32;
        let at = |i: i32| {
            let z = f64::from(i) * STEP;
            let x = z / n.sqrt();
            let held = |r: f64| normal_share_below(x + r) - normal_share_below(x - r);
            let weight = STEP * (-0.5 * z * z).exp() / std::f64::consts::TAU.sqrt();
            (weight, root(0.0, x.abs() + 10.0, |r| held(r) - self.content))
        };
        steps.map(at).collect()
    }

    /// Confidence with which `units` values hold the content between smallest and largest, or below the largest, whatever
    /// their spread.
    fn distribution_free_confidence(content: f64, units: usize, sides: Sides) -> f64 {
        let n = units as f64;
        match sides {
            Sides::One => 1.0 - content.powf(n),
            Sides::Two => 1.0 - n * content.powf(n - 1.0) + (n - 1.0) * content.powf(n),
        }
    }

    /// Units that it takes for smallest and largest of them to be such an interval, whatever the spread.
    #[must_use]
    pub fn distribution_free_units(self, sides: Sides) -> usize {
        let enough = |units: &usize| {
            Self::distribution_free_confidence(self.content, *units, sides) >= self.confidence
        };
        (2..usize::MAX).find(enough).unwrap_or(usize::MAX)
    }

    /// Content that so many units do hold at the confidence, whatever the spread.
    #[must_use]
    pub fn distribution_free_content(self, units: usize, sides: Sides) -> f64 {
        // Confidence falls with content.
        root(0.0, 1.0, |content| self.confidence - Self::distribution_free_confidence(content, units, sides))
    }
}

/// The z below which a share of a standard normal distribution lies.
#[must_use]
fn quantile(share: f64) -> f64 {
    root(-FAR, FAR, |z| normal_share_below(z) - share)
}

/// Places of s/σ with their weights, over its logarithm, whose distribution has no edge.
fn weighted_deviations(freedom: f64) -> Vec<(f64, f64)> {
    // Below, it falls off as sᵛ; above, faster than a normal distribution of standard deviation 1/√2ν.
    const LEAST_WEIGHT: f64 = 1e-20;
    let step = STEP / (2.0 * freedom).sqrt();
    let (low, high) = (LEAST_WEIGHT.ln() / freedom, FAR / (2.0 * freedom).sqrt());
    let steps = (low / step).floor() as i32..=(high / step).ceil() as i32;
    let at = |i: i32| f64::from(i) * step;
    steps.map(|i| (density_of_ln_s(at(i), freedom) * step, at(i).exp())).collect()
}

/// Density of the logarithm of s/σ: (s/σ)² is χ² over its degrees of freedom.
fn density_of_ln_s(ln_s: f64, freedom: f64) -> f64 {
    let half = freedom / 2.0;
    let squared = freedom * (2.0 * ln_s).exp();
    2.0 * (half * (squared / 2.0).ln() - squared / 2.0 - statrs::function::gamma::ln_gamma(half)).exp()
}

/// Where a rising function crosses zero, by halving.
fn root(low: f64, high: f64, rising: impl Fn(f64) -> f64) -> f64 {
    let (mut low, mut high) = (low, high);
    while high - low > 1e-12 * high.abs().max(1e-3) {
        let middle = low + (high - low) / 2.0;
        if middle <= low || middle >= high {
            break;
        }
        if rising(middle) < 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    low + (high - low) / 2.0
}
