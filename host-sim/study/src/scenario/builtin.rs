//! Scenarios that come with the program, by name. They are the files under `host-sim/scenarios/`.

use std::path::Path;

use super::{Scenario, ScenarioError};
use plant::toml_file::TomlError;

/// A scenario that comes with the program.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BuiltIn {
    /// Its name.
    pub name: &'static str,
    text: &'static str,
}

macro_rules! built_in {
    ($($name:literal),* $(,)?) => {
        &[$(BuiltIn { name: $name, text: include_str!(concat!("../../scenarios/", $name, ".toml")) }),*]
    };
}

const ALL: &[BuiltIn] = built_in![
    "boost-step",
    "vane-ramp",
    "load-pulses",
    "gear-shifts",
    "tip-in",
    "exhaust-brake",
    "altitude-climb",
    "runaway-vane",
    "udds",
    "recirculation-60",
    "recirculation-110",
];

const UDDS: &str = include_str!("../../scenarios/cycles/udds.csv");

/// All scenarios that come with the program.
#[must_use]
pub fn builtins() -> &'static [BuiltIn] {
    ALL
}

impl BuiltIn {
    /// The one of this name.
    #[must_use]
    pub fn named(name: &str) -> Option<&'static Self> {
        ALL.iter().find(|built_in| built_in.name == name)
    }

    /// Its text.
    #[must_use]
    pub fn text(&self) -> &'static str {
        self.text
    }

    /// Reads it.
    ///
    /// # Errors
    /// As [`Scenario::from_toml`]; a test keeps every one of them sound.
    pub fn scenario(&self) -> Result<Scenario, ScenarioError> {
        let file = format!("{}.toml (built in)", self.name);
        Scenario::from_toml(self.text, &file, |cycle| {
            if cycle == Path::new("cycles/udds.csv") {
                return Ok(UDDS.to_owned());
            }
            Err(TomlError::unread(cycle.display().to_string(), "it is not built in"))
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_built_in_scenario_is_sound_and_named_as_its_file() {
        for built_in in builtins() {
            let scenario = built_in.scenario().unwrap_or_else(|error| panic!("{error}"));
            assert_eq!(scenario.name, built_in.name);
            assert!(!scenario.demand.is_empty());
            // As a campaign does with what it is given.
            scenario.validate().unwrap();
        }
    }

    #[test]
    fn the_urban_cycle_drives_as_far_as_its_source_says() {
        // 11.99 km: 40 CFR Part 86 Appendix I by trapezoid over the file.
        let mut reader = csv::Reader::from_reader(UDDS.as_bytes());
        let speeds: Vec<f64> = reader.records().map(|row| row.unwrap()[1].parse().unwrap()).collect();
        let metres: f64 = speeds.windows(2).map(|pair| 0.5 * (pair[0] + pair[1])).sum();
        assert!((metres - 11_990.0).abs() < 1.0, "{metres} m");
    }
}
