//! The built-in actuators, all invented, and the virtual units made of them.
//!
//! In: `ACTUATOR/CASE`, or `CASE` alone for bench actuator A. Out: profile, limits and a unit to simulate, read from the
//! actuator's folder in `rigs/profiles/`. Refused: an actuator that is not there, with the names of those that are.

use std::fmt;
use std::str::FromStr;

use firmware_core::settings::{CountsDirection, SpringAction};
use plant::shown::brief;
use plant::world::WorldConfig;
use study::catalogue::{self, Case};

use crate::exit::Failure;
use crate::limits::Limits;
use crate::profile::Profile;
use plant::toml_file::{TomlError, TomlFile};

macro_rules! in_folder {
    ($name:literal) => {
        BuiltInActuator {
            name: $name,
            profile_text: include_str!(concat!("../../profiles/", $name, "/profile.toml")),
            limits_text: include_str!(concat!("../../profiles/", $name, "/limits.toml")),
            plant_text: include_str!(concat!("../../profiles/", $name, "/plant.toml")),
        }
    };
}

/// Bench actuator A: the demo's, and the one that a case alone means.
pub static DEMO: BuiltInActuator = in_folder!("bench-actuator-a");

/// All of them.
pub(crate) static ALL: &[&BuiltInActuator] = &[
    &DEMO,
    &in_folder!("bench-actuator-b"),
    &in_folder!("bench-actuator-c"),
    &in_folder!("bench-actuator-d"),
    &in_folder!("bench-actuator-e"),
    &in_folder!("bench-actuator-f"),
];

/// The case that `virtual` alone means.
pub(crate) const DEFAULT_CASE: &str = "healthy";

/// A kind of actuator as its folder describes it.
#[derive(Debug, PartialEq, Eq)]
pub struct BuiltInActuator {
    /// Name of the folder, the profile and the limits.
    pub name: &'static str,
    /// Text of its profile.
    pub profile_text: &'static str,
    /// Text of its limits.
    pub limits_text: &'static str,
    plant_text: &'static str,
}

/// A name that means no virtual unit.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BadVirtualUnit {
    /// There is no such actuator.
    #[error("no actuator is called {asked:?}; allowed: {}", names())]
    UnknownActuator {
        /// What was typed.
        asked: String,
    },
    /// An actuator alone, or nothing.
    #[error("names no case; try `{0}`", VirtualUnit { actuator, case: DEFAULT_CASE.to_owned() })]
    NoCase {
        /// The actuator.
        actuator: &'static BuiltInActuator,
    },
}

fn names() -> String {
    ALL.iter().map(|actuator| actuator.name).collect::<Vec<_>>().join(", ")
}

/// The actuator of a name, where there is one.
#[must_use]
pub fn named(name: &str) -> Option<&'static BuiltInActuator> {
    ALL.iter().copied().find(|actuator| actuator.name == name)
}

/// The actuator of a name on the command line.
///
/// # Errors
/// With the names of those that are there.
pub(crate) fn read_name(name: &str) -> Result<&'static BuiltInActuator, BadVirtualUnit> {
    named(name).ok_or_else(|| BadVirtualUnit::UnknownActuator { asked: brief(name) })
}

/// True when a profile says that it is invented, or has the actuator and the stop windows of a built-in invention.
///
/// # Errors
/// None in a sound build: a test reads every built-in profile.
pub(crate) fn is_invented(profile: &Profile) -> Result<bool, TomlError> {
    if profile.origin.to_lowercase().contains("invented") {
        return Ok(true);
    }
    for actuator in ALL {
        let (own, other) = (&profile.settings, actuator.profile()?.settings);
        if own.actuator == other.actuator && own.learn.windows == other.learn.windows {
            return Ok(true);
        }
    }
    Ok(false)
}

impl BuiltInActuator {
    fn file(&self, name: &str) -> String {
        format!("{}/{name} (built in)", self.name)
    }

    /// Its profile.
    ///
    /// # Errors
    /// None in a sound build: a test reads it.
    pub fn profile(&self) -> Result<Profile, TomlError> {
        Profile::read(&TomlFile::from_text(&self.file("profile.toml"), self.profile_text))
    }

    /// Its acceptance limits.
    ///
    /// # Errors
    /// None in a sound build: a test reads them.
    pub fn limits(&self) -> Result<Limits, TomlError> {
        Limits::read(&TomlFile::from_text(&self.file("limits.toml"), self.limits_text))
    }

    /// A sound unit of it, to simulate.
    ///
    /// # Errors
    /// None in a sound build: a test reads it.
    pub fn plant(&self) -> Result<WorldConfig, TomlError> {
        WorldConfig::from_toml(self.plant_text, &self.file("plant.toml"))
    }

    /// Puts it in place of a world's own actuator.
    ///
    /// # Errors
    /// As [`Self::plant`].
    pub(crate) fn put_into(&self, world: &mut WorldConfig) -> Result<(), TomlError> {
        let plant = self.plant()?;
        (world.actuator, world.opening) = (plant.actuator, plant.opening);
        world.sensors.position = plant.sensors.position;
        Ok(())
    }

    /// What it is, in a line.
    ///
    /// # Errors
    /// As [`Self::profile`].
    pub(crate) fn about(&self) -> Result<String, TomlError> {
        let profile = self.profile()?;
        let actuator = &profile.settings.actuator;
        let counts = match actuator.counts_direction {
            CountsDirection::OpeningRaises => "rises",
            CountsDirection::OpeningLowers => "falls",
        };
        let spring = match actuator.spring {
            SpringAction::None => "no spring",
            SpringAction::Opens => "spring opens",
            SpringAction::Closes => "spring closes",
        };
        let (travel, supply) = (profile.travel_deg, actuator.nominal_supply.0);
        Ok(format!("{travel}° of travel, {supply} V, {spring}, reading {counts} on opening"))
    }

    /// A name for something of this actuator: as it is for bench actuator A, else with the actuator before it.
    pub(crate) fn own(&self, name: &str) -> String {
        if self == &DEMO { name.to_owned() } else { format!("{}-{name}", self.name) }
    }
}

/// A virtual unit: an actuator and what is wrong with it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct VirtualUnit {
    /// Which actuator.
    pub actuator: &'static BuiltInActuator,
    /// Case of the fault catalogue.
    pub case: String,
}

impl VirtualUnit {
    /// The unit to simulate.
    ///
    /// # Errors
    /// When the catalogue has no such case.
    pub(crate) fn unit(&self) -> Result<Case, Failure> {
        let preset = catalogue::find(&self.case).map_err(Failure::usage)?;
        Ok(preset.on(&self.actuator.plant().map_err(Failure::usage)?, None))
    }
}

impl FromStr for VirtualUnit {
    type Err = BadVirtualUnit;

    fn from_str(given: &str) -> Result<Self, BadVirtualUnit> {
        let unknown = |name| BadVirtualUnit::UnknownActuator { asked: brief(name) };
        let (actuator, case) = match (given.split_once('/'), named(given)) {
            (Some((name, case)), _) => (named(name).ok_or_else(|| unknown(name))?, case),
            (None, Some(actuator)) => (actuator, ""),
            (None, None) => (&DEMO, given),
        };
        if case.is_empty() {
            return Err(BadVirtualUnit::NoCase { actuator });
        }
        Ok(Self { actuator, case: case.to_owned() })
    }
}

impl fmt::Display for VirtualUnit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.actuator == &DEMO {
            write!(f, "{}", self.case)
        } else {
            write!(f, "{}/{}", self.actuator.name, self.case)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use firmware_core::settings::Settings;

    /// Every field of `wanted`, with its path, that `given` does not have.
    fn left_out(wanted: &toml::Value, given: Option<&toml::Value>, path: &str) -> Vec<String> {
        let Some(fields) = wanted.as_table() else {
            return given.is_none().then(|| path.to_owned()).into_iter().collect();
        };
        let inside = |(name, inner): (&String, &toml::Value)| {
            left_out(inner, given.and_then(|given| given.get(name)), &format!("{path}.{name}"))
        };
        fields.iter().flat_map(inside).collect()
    }

    #[test]
    fn every_folder_reads_whole_agrees_on_its_name_and_says_that_it_is_invented() {
        for actuator in ALL {
            let (profile, limits) = (actuator.profile().unwrap(), actuator.limits().unwrap());
            assert_eq!((&*profile.name, &*limits.name), (actuator.name, actuator.name));
            assert!(profile.origin.contains("Invented") && limits.origin.contains("Invented"));
            assert!(actuator.plant_text.contains("Invented"));
            assert!(limits.limits.len() > 10);
            let plant = toml::Value::try_from(actuator.plant().unwrap()).unwrap();
            let given: toml::Value = toml::from_str(actuator.plant_text).unwrap();
            for section in ["opening", "actuator"] {
                assert_eq!(left_out(&plant[section], given.get(section), section), Vec::<String>::new());
            }
            let position = given.get("sensors").and_then(|sensors| sensors.get("position"));
            assert_eq!(left_out(&plant["sensors"]["position"], position, "position"), Vec::<String>::new());
        }
    }

    /// What the bench is to believe of a unit is what the simulator makes: travel, direction, spring, supply.
    #[test]
    fn profile_and_plant_of_every_folder_describe_one_actuator() {
        for actuator in ALL {
            let (profile, plant) = (actuator.profile().unwrap(), actuator.plant().unwrap());
            let (told, travel) = (&profile.settings.actuator, plant.travel().unwrap());
            let apart = (travel.open_rad - travel.closed_rad) * plant.sensors.position.counts_per_rad;
            let expected = f64::from(told.nominal_span_counts) * f64::from(told.counts_direction.sign());
            assert!((apart / expected - 1.0).abs() < 1e-3, "{}: {apart} {expected}", actuator.name);
            let degrees = (travel.open_rad - travel.closed_rad).abs().to_degrees();
            assert!((degrees - profile.travel_deg).abs() < 1e-6, "{}: {degrees}", actuator.name);
            let spring = match (plant.actuator.spring, plant.opening.sign() > 0.0) {
                (None, _) => SpringAction::None,
                (Some(_), true) => SpringAction::Closes,
                (Some(_), false) => SpringAction::Opens,
            };
            assert_eq!(told.spring, spring, "{}", actuator.name);
            assert_eq!(f64::from(told.nominal_supply.0), plant.actuator.bridge.supply_v);
            assert!(
                (f64::from(told.winding_resistance_ohm) - plant.actuator.motor.resistance_ohm).abs() < 1e-6
            );
        }
    }

    #[test]
    fn the_demos_folder_is_what_core_and_plant_default_to() {
        assert_eq!(DEMO.profile().unwrap().settings, Settings::default());
        assert_eq!(DEMO.plant().unwrap(), WorldConfig::default());
    }

    #[test]
    fn no_case_is_called_as_an_actuator() {
        assert!(catalogue::all().all(|preset| named(preset.name).is_none()));
    }

    #[test]
    fn a_renamed_invention_is_an_invention_and_a_profile_of_ones_own_is_not() {
        for actuator in ALL {
            let invented = |text: &str| {
                is_invented(&Profile::read(&TomlFile::from_text("unit.toml", text)).unwrap()).unwrap()
            };
            let renamed = actuator.profile_text.replacen(actuator.name, "mine", 1);
            assert!(invented(&renamed));
            let origin = renamed.replace("Invented", "Measured").replace("invented", "measured");
            assert!(invented(&origin));
            let measured = origin.replacen("max_duty = 1.0", "max_duty = 0.9", 1);
            assert!(measured != origin && !invented(&measured));
        }
    }

    #[test]
    fn a_case_alone_is_bench_actuator_as_and_any_other_needs_its_name() {
        let read = |text: &str| text.parse::<VirtualUnit>().unwrap();
        assert_eq!(read("healthy"), read("bench-actuator-a/healthy"));
        assert_eq!(read("healthy").to_string(), "healthy");
        let b = read("bench-actuator-b/rod-off");
        assert_eq!((b.actuator.name, &*b.case), ("bench-actuator-b", "rod-off"));
        assert_eq!(
            (b.to_string(), b.actuator.own(&b.case)),
            ("bench-actuator-b/rod-off".into(), "bench-actuator-b-rod-off".into())
        );
        for (text, said) in [
            ("bench-actuator-z/healthy", "there are bench-actuator-a, bench-actuator-b"),
            ("/healthy", "there are bench-actuator-a, bench-actuator-b"),
            ("bench-actuator-b", "names no case; try `bench-actuator-b/healthy`"),
            ("bench-actuator-b/", "names no case; try `bench-actuator-b/healthy`"),
            ("", "names no case; try `healthy`"),
        ] {
            let refusal = text.parse::<VirtualUnit>().unwrap_err().to_string();
            assert!(refusal.contains(said), "{text}: {refusal}");
        }
    }
}
