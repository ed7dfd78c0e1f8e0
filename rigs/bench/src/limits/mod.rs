//! Acceptance limits: which figures must lie where for a unit to be within limits.
//!
//! In: a TOML file with one table per figure key. Out: [`Limits`]. An unknown key, a limit without bounds, a
//! bound outside what the figure can be, or one for a unit it is not in is refused with file, line and field.

mod bounds;

use std::collections::BTreeMap;

use plant::shown::{MOST_SHOWN, brief};
use serde::Deserialize;

pub use bounds::{Bounds, LimitMargins, LimitStanding};

use crate::figures::Measure;
use plant::toml_file::{MOST_ORIGIN, TomlError, TomlFile};

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
        let guard = self.bounds.guard().max(tolerance);
        let expanded_uncertainty = (guard > 0.0).then_some(guard);
        Self { bounds: Bounds { expanded_uncertainty, ..self.bounds }, ..self }
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
                let next = "Use a key that verdict.json lists, or remove the table.";
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

    fn read(tables: &str) -> Result<Limits, TomlError> {
        let text = format!("name = \"demo\"\norigin = \"invented\"\n{tables}");
        Limits::read(&TomlFile::from_text("limits.toml", &text))
    }

    #[test]
    fn a_good_file_reads() {
        let limits = read(
            "[limit.loop.hysteresis]\nmax = 0.5\n[limit.step_10.t86]\nmax = 250\nexpanded_uncertainty = 2\n",
        )
        .unwrap();
        assert_eq!(limits.limits.len(), 2);
    }

    #[test]
    fn each_wrong_limit_is_refused_by_name_and_line() {
        for (tables, line, part) in [
            ("[limit.loop.hystersis]\nmax = 0.5\n", 3, "loop.hysteresis"),
            ("[limit.lopp.hysteresis]\nmax = 0.5\n", 3, "no figure is in the group lopp"),
            ("[limit.loop.hysteresis]\nexpanded_uncertainty = 0.5\n", 3, "needs min, max or both"),
            ("[limit.loop.hysteresis]\nmax = 500\n", 4, "allowed: -100 to 100 % of travel"),
            ("[limit.loop.hysteresis]\nmin = 3\nmax = 1\n", 4, "min is above max"),
            ("[limit.loop.hysteresis]\nmax = 3\nexpanded_uncertainty = -1\n", 5, "a number above 0"),
            (
                "[limit.learn.span]\nmin = 100\nmax = 120\nexpanded_uncertainty = 11\n",
                6,
                "more than the tolerance",
            ),
            (
                "[limit.learn.span]\nmin = 100\nsound_units = { mean = 110, standard_deviation = 0 }\n",
                5,
                "standard deviation above 0",
            ),
        ] {
            let error = read(tables).unwrap_err();
            assert_eq!(error.line, Some(line), "{error}");
            assert!(error.to_string().contains(part), "{error}");
        }
    }
}
