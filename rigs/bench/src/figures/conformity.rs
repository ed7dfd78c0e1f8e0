//! Whether a value lies inside its tolerance, where it is only known to within an uncertainty.
//!
//! In: a tolerance, an uncertainty, and how sound units spread where that is known. Out: the risk that goes with one
//! value and with every unit that passes by (JCGM 106:2012; read in abstracts and programs, not in full). All distributions
//! are normal.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use statrs::function::erf::erfc;

/// Coverage factor of every expanded uncertainty, for a coverage of 95.45 % (JCGM 100:2008, 6.3).
pub(crate) const COVERAGE_FACTOR: f64 = 2.0;

/// Share of a standard normal distribution below `z`.
#[must_use]
pub(crate) fn normal_share_below(z: f64) -> f64 {
    0.5 * erfc(-z / std::f64::consts::SQRT_2)
}

/// Largest risk that a value accepted inside a limit less its expanded uncertainty lies beyond that limit: 2.275 %.
#[must_use]
pub fn largest_risk_of_accepting() -> f64 {
    normal_share_below(-COVERAGE_FACTOR)
}

/// From where to where; infinite where there is no limit on that side.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// A quantity that is known as a normal distribution: how sound units spread, or one of them to within its uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct NormalSpread {
    /// Mean.
    pub mean: f64,
    /// Standard deviation, above 0.
    pub standard_deviation: f64,
}

/// What becomes of all units that spread alike, measured and accepted alike; shares of all of them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Risks {
    /// Accepted, and outside the tolerance.
    pub consumer: f64,
    /// Not accepted, and inside the tolerance.
    pub producer: f64,
}

impl Interval {
    /// The same, narrower by so much at either end.
    #[must_use]
    pub fn less(self, guard: f64) -> Self {
        Self { low: self.low + guard, high: self.high - guard }
    }

    /// The part that both have in common; of no width where there is none.
    fn within(self, other: Self) -> Self {
        let low = self.low.max(other.low);
        Self { low, high: self.high.min(other.high).max(low) }
    }
}

impl NormalSpread {
    /// Share of the distribution outside an interval.
    #[must_use]
    pub fn outside(self, interval: Interval) -> f64 {
        let below = normal_share_below((interval.low - self.mean) / self.standard_deviation);
        below + normal_share_below((self.mean - interval.high) / self.standard_deviation)
    }

    /// The risks of accepting, among all units of this spread, those that measure inside `acceptance`; uncertainty above 0.
    #[must_use]
    pub fn risks(self, standard_uncertainty: f64, tolerance: Interval, acceptance: Interval) -> Risks {
        let Self { mean, standard_deviation } = self;
        let density = |unit: f64| normal_density((unit - mean) / standard_deviation) / standard_deviation;
        let accepted = |unit: f64| {
            1.0 - Self { mean: unit, standard_deviation: standard_uncertainty }.outside(acceptance)
        };
        // Beyond these a normal distribution holds less than 1e-20.
        let units = Interval { low: mean, high: mean }.less(-FAR * standard_deviation);
        let seen = acceptance.less(-FAR * standard_uncertainty).within(units);
        let beyond = [
            Interval { low: f64::NEG_INFINITY, high: tolerance.low },
            Interval { low: tolerance.high, high: f64::INFINITY },
        ];
        let both = |part: Interval| integral(part.within(seen), |unit| density(unit) * accepted(unit));
        let consumer: f64 = beyond.into_iter().map(both).sum();
        let measured = standard_deviation.hypot(standard_uncertainty);
        let all_accepted = 1.0 - Self { mean, standard_deviation: measured }.outside(acceptance);
        let inside = 1.0 - self.outside(tolerance);
        Risks { consumer, producer: (inside - all_accepted + consumer).max(0.0) }
    }
}

/// How many standard deviations are looked at.
const FAR: f64 = 9.5;

fn normal_density(z: f64) -> f64 {
    (-0.5 * z * z).exp() / std::f64::consts::TAU.sqrt()
}

/// Simpson's rule, fine enough for 1e-9 of a smooth peak that is a hundredth of the interval wide.
fn integral(over: Interval, of: impl Fn(f64) -> f64) -> f64 {
    const PAIRS: u32 = 2000;
    let step = (over.high - over.low) / f64::from(2 * PAIRS);
    let at = |i: u32| of(over.low + step * f64::from(i));
    let odd: f64 = (0..PAIRS).map(|i| at(2 * i + 1)).sum();
    let even: f64 = (1..PAIRS).map(|i| at(2 * i)).sum();
    if step > 0.0 { step / 3.0 * (at(0) + 4.0 * odd + 2.0 * even + at(2 * PAIRS)) } else { 0.0 }
}
