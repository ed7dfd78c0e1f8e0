//! Acceptance limits: which figures must lie where for a unit to be within limits.
//!
//! In: a TOML file with one table per figure key. Out: [`Limits`]. An unknown key, a limit without bounds, a
//! bound outside what the figure can be, or one for a unit it is not in is refused with file, line and field.

use std::collections::BTreeMap;
use std::ops::RangeInclusive;

use plant::shown::{MOST_SHOWN, brief, number};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::figures::{Definition, Measure};
use plant::toml_file::{MOST_ORIGIN, TomlError, TomlFile};

/// Bounds for one figure.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Bounds {
    /// Smallest value allowed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub min: Option<f64>,
    /// Largest value allowed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub max: Option<f64>,
    /// Uncertainty of the measurement: nearer than this to a bound nothing can be said.
    #[serde(default)]
    pub guard: f64,
}

/// One limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limit {
    /// What is limited.
    pub measure: Measure,
    /// To what.
    pub bounds: Bounds,
}

impl Limit {
    /// The same limit for a value that is only known to within a tolerance of its own.
    #[must_use]
    pub fn for_value_within(self, tolerance: f64) -> Self {
        Self { bounds: Bounds { guard: self.bounds.guard.max(tolerance), ..self.bounds }, ..self }
    }
}

/// A set of limits.
#[derive(Debug, Clone, PartialEq)]
pub struct Limits {
    /// Name of the set.
    pub name: String,
    /// Where the numbers come from.
    pub origin: String,
    /// The limits, in the order of their keys.
    pub limits: Vec<Limit>,
}

/// Where a value stands against its bounds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum LimitStanding {
    /// Inside, clear of the guard.
    Inside,
    /// Nearer to a bound than the measurement can tell.
    TooClose,
    /// Outside, clear of the guard.
    Outside,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct LimitsFile {
    name: String,
    origin: String,
    limit: BTreeMap<String, BTreeMap<String, Bounds>>,
}

impl Limits {
    /// Reads a limits file.
    ///
    /// # Errors
    /// [`TomlError`] with file, line, field, value and what is allowed.
    pub fn read(file: &TomlFile) -> Result<Self, TomlError> {
        let LimitsFile { name, origin, limit } = file.parse()?;
        file.short("name", &name, MOST_SHOWN)?;
        file.short("origin", &origin, MOST_ORIGIN)?;
        let mut limits = Vec::new();
        for (group, bounds) in limit.iter().flat_map(|(group, inner)| inner.iter().map(move |b| (group, b))) {
            let (figure, bounds) = bounds;
            let (key, field) = (format!("{group}.{figure}"), format!("limit.{group}.{figure}"));
            let Some(measure) = Measure::from_key(&key) else {
                let known = known_keys(group);
                let next = "Use one of the keys that verdict.json lists, or remove the table.";
                return Err(file.refuse(
                    &field,
                    format!("no figure has the key {}; {known}", brief(&key)),
                    next,
                ));
            };
            bounds.check(file, &field, &measure.definition())?;
            limits.push(Limit { measure, bounds: *bounds });
        }
        Ok(Self { name, origin, limits })
    }

    /// The limit on a measure.
    #[must_use]
    pub fn of(&self, measure: Measure) -> Option<Bounds> {
        self.limits.iter().find(|limit| limit.measure == measure).map(|limit| limit.bounds)
    }
}

impl Bounds {
    /// Where a value stands.
    #[must_use]
    pub fn standing(self, value: f64) -> LimitStanding {
        // Distance inside the nearer bound; negative outside.
        let below = self.max.map_or(f64::INFINITY, |max| max - value);
        let above = self.min.map_or(f64::INFINITY, |min| value - min);
        let inside = below.min(above);
        if value.is_nan() || inside.abs() < self.guard {
            LimitStanding::TooClose
        } else if inside >= 0.0 {
            LimitStanding::Inside
        } else {
            LimitStanding::Outside
        }
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

    fn check(self, file: &TomlFile, field: &str, definition: &Definition) -> Result<(), TomlError> {
        let next = "Correct the limit and run again.";
        if self.min.is_none() && self.max.is_none() {
            return Err(file.refuse(field, "a limit needs min, max or both", next));
        }
        let possible = possible_values(definition.unit);
        for (name, bound) in [("min", self.min), ("max", self.max)] {
            if let Some(bound) = bound.filter(|b| !possible.contains(b)) {
                let (low, high) = (possible.start(), possible.end());
                let allowed =
                    format!("{} is not possible; allowed {low} to {high} {}", number(bound), definition.unit);
                return Err(file.refuse(&format!("{field}.{name}"), allowed, next));
            }
        }
        if let (Some(min), Some(max)) = (self.min, self.max)
            && min > max
        {
            return Err(file.refuse(&format!("{field}.min"), format!("min lies above max = {max}"), next));
        }
        if !(0.0..=possible.end() - possible.start()).contains(&self.guard) {
            return Err(file.refuse(&format!("{field}.guard"), "allowed: zero or a positive number", next));
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
        "kPa" | "kPa absolute" => 0.0..=1000.0,
        "ratio" => 0.0..=1000.0,
        _ => -100.0..=100.0,
    }
}

fn known_keys(group: &str) -> String {
    let prefix = format!("{group}.");
    let keys: Vec<_> =
        Measure::all().map(|m| m.definition().key).filter(|key| key.starts_with(&prefix)).collect();
    if keys.is_empty() {
        format!("no figure is in the group {}", brief(group))
    } else {
        format!("known: {}", keys.join(", "))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn read(tables: &str) -> Result<Limits, TomlError> {
        let text = format!("name = \"demo\"\norigin = \"invented\"\n{tables}");
        Limits::read(&TomlFile::from_text("limits.toml", &text))
    }

    #[test]
    fn a_good_file_reads() {
        let limits =
            read("[limit.loop.hysteresis]\nmax = 0.5\n[limit.step_10.t86]\nmax = 250\nguard = 2\n").unwrap();
        assert_eq!(limits.limits.len(), 2);
    }

    #[test]
    fn each_wrong_limit_is_refused_by_name_and_line() {
        for (tables, line, part) in [
            ("[limit.loop.hystersis]\nmax = 0.5\n", 3, "loop.hysteresis"),
            ("[limit.lopp.hysteresis]\nmax = 0.5\n", 3, "no figure is in the group lopp"),
            ("[limit.loop.hysteresis]\nguard = 0.5\n", 3, "needs min, max or both"),
            ("[limit.loop.hysteresis]\nmax = 500\n", 4, "allowed -100 to 100 % of travel"),
            ("[limit.loop.hysteresis]\nmin = 3\nmax = 1\n", 4, "min lies above max"),
            ("[limit.loop.hysteresis]\nmax = 3\nguard = -1\n", 5, "zero or a positive number"),
        ] {
            let error = read(tables).unwrap_err();
            assert_eq!(error.line, Some(line), "{error}");
            assert!(error.to_string().contains(part), "{error}");
        }
    }

    #[test]
    fn a_value_nearer_to_its_bound_than_the_guard_stays_open() {
        let bounds = Bounds { min: None, max: Some(1.0), guard: 0.1 };
        assert_eq!(bounds.standing(0.85), LimitStanding::Inside);
        assert_eq!(bounds.standing(0.95), LimitStanding::TooClose);
        assert_eq!(bounds.standing(1.05), LimitStanding::TooClose);
        assert_eq!(bounds.standing(1.15), LimitStanding::Outside);
        assert_eq!(bounds.standing(f64::NAN), LimitStanding::TooClose);
    }

    proptest! {
        #[test]
        fn no_value_is_both_inside_and_beyond_its_bound(value in -200.0..200.0f64, max in -100.0..100.0f64) {
            let standing = Bounds { min: None, max: Some(max), guard: 0.0 }.standing(value);
            prop_assert_eq!(standing == LimitStanding::Inside, value <= max);
        }
    }
}
