//! What is allowed of one figure, and where a value stands to it.
//!
//! In: a limit as its file says it. Out: standing, margins and risk of a value. Bounds outside what the figure can be, and
//! an uncertainty that leaves nothing to accept, are refused with file, line and field.

use std::ops::RangeInclusive;

use plant::shown::number;
use plant::toml_file::{TomlError, TomlFile};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::figures::Definition;
use crate::figures::conformity::{COVERAGE_FACTOR, Interval, NormalSpread};

/// Bounds for one figure: what is tolerated, how well it is measured and how sound units spread are entries of their own.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Bounds {
    /// Smallest value allowed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub min: Option<f64>,
    /// Largest value allowed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub max: Option<f64>,
    /// Expanded uncertainty of the measurement, coverage factor 2: nearer than this to a bound nothing can be said.
    /// Records of older releases call it `guard`.
    #[serde(default, alias = "guard", skip_serializing_if = "Option::is_none")]
    pub expanded_uncertainty: Option<f64>,
    /// How sound units spread, where good ones were measured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sound_units: Option<NormalSpread>,
}

/// Distance from a value to each bound; negative beyond it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct LimitMargins {
    /// Above the smallest value allowed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub above_min: Option<f64>,
    /// Below the largest value allowed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub below_max: Option<f64>,
}

impl LimitMargins {
    /// The smaller of the two; infinite without a bound.
    #[must_use]
    pub fn least(self) -> f64 {
        [self.above_min, self.below_max].into_iter().flatten().fold(f64::INFINITY, f64::min)
    }
}

/// Where a value stands against its bounds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum LimitStanding {
    /// Inside, by more than the measurement is uncertain.
    Inside,
    /// Nearer to a bound than the measurement can tell.
    TooClose,
    /// Outside, by more than the measurement is uncertain.
    Outside,
}

impl Bounds {
    /// Where a value stands.
    #[must_use]
    pub fn standing(self, value: f64) -> LimitStanding {
        let inside = self.margins(value).least();
        if value.is_nan() || inside.abs() < self.guard() {
            LimitStanding::TooClose
        } else if inside >= 0.0 {
            LimitStanding::Inside
        } else {
            LimitStanding::Outside
        }
    }

    /// Width of the guard band at each bound.
    #[must_use]
    pub fn guard(self) -> f64 {
        self.expanded_uncertainty.unwrap_or(0.0)
    }

    /// Distance to each bound.
    #[must_use]
    pub fn margins(self, value: f64) -> LimitMargins {
        LimitMargins {
            above_min: self.min.map(|min| value - min),
            below_max: self.max.map(|max| max - value),
        }
    }

    /// What is tolerated.
    #[must_use]
    pub fn tolerance(self) -> Interval {
        Interval { low: self.min.unwrap_or(f64::NEG_INFINITY), high: self.max.unwrap_or(f64::INFINITY) }
    }

    /// Risk that what measured so lies outside its tolerance, nothing else being known of it (JCGM 106);
    /// none where the uncertainty is not stated.
    #[must_use]
    pub fn risk(self, value: f64) -> Option<f64> {
        let standard_deviation = self.expanded_uncertainty.filter(|guard| *guard > 0.0)? / COVERAGE_FACTOR;
        Some(NormalSpread { mean: value, standard_deviation }.outside(self.tolerance()))
    }

    /// The bounds in words, with the unit.
    #[must_use]
    pub fn text(self, unit: &str) -> String {
        match (self.min, self.max) {
            (Some(min), Some(max)) => format!("{min} to {max} {unit}"),
            (Some(min), None) => format!("at least {min} {unit}"),
            (None, Some(max)) => format!("at most {max} {unit}"),
            (None, None) => "no limit".into(),
        }
    }

    /// Whether a figure of that unit can have these bounds at all.
    #[must_use]
    pub(crate) fn can_be(self, unit: &str) -> bool {
        let possible = possible_values(unit);
        [self.min, self.max].into_iter().flatten().all(|bound| possible.contains(&bound))
    }

    pub(super) fn check(
        self,
        file: &TomlFile,
        field: &str,
        definition: &Definition,
    ) -> Result<(), TomlError> {
        let next = "Correct the limit and run again.";
        if self.min.is_none() && self.max.is_none() {
            return Err(file.refuse(field, "a limit needs min, max or both", next));
        }
        let possible = possible_values(definition.unit);
        for (name, bound) in [("min", self.min), ("max", self.max)] {
            if let Some(bound) = bound.filter(|b| !possible.contains(b)) {
                let (low, high) = (possible.start(), possible.end());
                let allowed = format!(
                    "{} is not possible; allowed: {low} to {high} {}",
                    number(bound),
                    definition.unit
                );
                return Err(file.refuse(&format!("{field}.{name}"), allowed, next));
            }
        }
        if let (Some(min), Some(max)) = (self.min, self.max)
            && min > max
        {
            return Err(file.refuse(&format!("{field}.min"), format!("min is above max = {max}"), next));
        }
        self.check_uncertainty(file, field, next)?;
        let is_spread = |spread: &NormalSpread| {
            possible.contains(&spread.mean)
                && spread.standard_deviation > 0.0
                && spread.standard_deviation.is_finite()
        };
        if self.sound_units.is_some_and(|spread| !is_spread(&spread)) {
            let allowed = format!(
                "allowed: a mean of {} to {} {} and a standard deviation above 0",
                possible.start(),
                possible.end(),
                definition.unit
            );
            return Err(file.refuse(&format!("{field}.sound_units"), allowed, next));
        }
        Ok(())
    }

    /// An uncertainty that leaves no value to be accepted is refused: the tolerance is too tight to be proven.
    fn check_uncertainty(self, file: &TomlFile, field: &str, next: &str) -> Result<(), TomlError> {
        let Some(guard) = self.expanded_uncertainty else { return Ok(()) };
        let field = format!("{field}.expanded_uncertainty");
        if !(guard > 0.0 && guard.is_finite()) {
            let allowed = "allowed: a number above 0; leave it out if it is not known";
            return Err(file.refuse(&field, allowed, next));
        }
        let Interval { low, high } = self.tolerance().less(guard);
        if low > high {
            let allowed = "no value could be accepted: twice this is more than the tolerance";
            return Err(file.refuse(&field, allowed, "Widen the limit, or measure better."));
        }
        Ok(())
    }
}

/// What a figure of that unit can be at all; wide, because it catches slips of the unit, not of judgement.
fn possible_values(unit: &str) -> RangeInclusive<f64> {
    match unit {
        "counts" => 0.0..=16_383.0,
        "ms" => 0.0..=600_000.0,
        "s" => 0.0..=600.0,
        "A" => 0.0..=30.0,
        "counts/A" => 0.0..=2000.0,
        "kPa" | "kPa absolute" => 0.0..=1000.0,
        "ratio" => 0.0..=1000.0,
        _ => -100.0..=100.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn within(min: Option<f64>, max: Option<f64>, expanded_uncertainty: Option<f64>) -> Bounds {
        Bounds { min, max, expanded_uncertainty, sound_units: None }
    }

    #[test]
    fn a_value_nearer_to_its_bound_than_the_guard_stays_open() {
        let bounds = within(None, Some(1.0), Some(0.1));
        assert_eq!(bounds.standing(0.85), LimitStanding::Inside);
        assert_eq!(bounds.standing(0.95), LimitStanding::TooClose);
        assert_eq!(bounds.standing(1.05), LimitStanding::TooClose);
        assert_eq!(bounds.standing(1.15), LimitStanding::Outside);
        assert_eq!(bounds.standing(f64::NAN), LimitStanding::TooClose);
    }

    /// By hand: at the edge of acceptance 2 standard uncertainties lie between value and bound, at the bound none.
    #[test]
    fn the_risk_of_a_value_falls_with_its_distance_from_the_bound() {
        let bounds = within(None, Some(1.0), Some(0.1));
        assert!((bounds.risk(0.9).unwrap() - 0.022_750_13).abs() < 1e-8);
        assert!((bounds.risk(1.0).unwrap() - 0.5).abs() < 1e-12);
        assert_eq!(within(None, Some(1.0), None).risk(0.9), None);
        assert!((bounds.margins(0.9).least() - 0.1).abs() < 1e-12);
    }

    /// A verdict of an older release says `guard`, also where it was none.
    #[test]
    fn bounds_of_an_older_verdict_are_read() {
        let old: Bounds = serde_json::from_str("{\"max\": 1.0, \"guard\": 0.2}").unwrap();
        assert_eq!(old, within(None, Some(1.0), Some(0.2)));
    }

    proptest! {
        #[test]
        fn no_value_is_both_inside_and_beyond_its_bound(value in -200.0..200.0f64, max in -100.0..100.0f64) {
            let standing = within(None, Some(max), None).standing(value);
            prop_assert_eq!(standing == LimitStanding::Inside, value <= max);
        }
    }
}
