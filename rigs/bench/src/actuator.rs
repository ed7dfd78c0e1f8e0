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
mod tests;
