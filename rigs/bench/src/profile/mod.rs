//! Actuator profiles: what the bench must know of a kind of unit before it moves one.
//!
//! In: a TOML file. Out: a [`Profile`]: behaviour without power, the controller settings that go to the
//! board, and the plan of sweeps and steps. Anything out of range is refused with file, line, field, the
//! value seen and what is allowed; nothing moves on a profile that was not understood whole.

mod plan;

pub use plan::{BandPlan, FrictionPlan, Plan, StepPlan, SweepPlan};

use firmware_core::settings::Settings;
use serde::Deserialize;

use crate::toml_file::{TomlError, TomlFile};

/// The built-in demo actuator, an invention.
pub const DEMO_PROFILE: &str = include_str!("../../../profiles/bench-actuator-a.toml");
/// The limits that go with it, inventions as well.
pub const DEMO_LIMITS: &str = include_str!("../../../profiles/bench-actuator-a.limits.toml");

/// Whether the vanes can push the lever back through the gear.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum BackDriving {
    /// The gear lets the vanes move the motor.
    BackDrives,
    /// The gear holds against the vanes.
    SelfLocking,
}

/// Where the lever rests once the supply is gone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RestPosition {
    /// Vanes open.
    Open,
    /// Vanes closed.
    Closed,
    /// Wherever it was left; it may drift.
    Anywhere,
}

/// One kind of actuator.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Profile {
    /// Name of the profile.
    pub name: String,
    /// Where the numbers come from.
    pub origin: String,
    /// Lever travel between the stops of a sound unit, degrees, 5 to 180.
    pub travel_deg: f64,
    /// Through the gear.
    pub gear: BackDriving,
    /// Without supply.
    pub rest_without_power: RestPosition,
    /// How the bench moves it.
    pub plan: Plan,
    /// What the controller is told.
    pub settings: Settings,
}

const NEXT: &str = "Correct this line and run again; nothing was moved.";

impl Profile {
    /// Reads and checks a profile.
    ///
    /// # Errors
    /// [`TomlError`] names file, line, field, value and what is allowed.
    pub fn read(file: &TomlFile) -> Result<Self, TomlError> {
        let profile: Self = file.parse()?;
        if !(5.0..=180.0).contains(&profile.travel_deg) {
            return Err(file.refuse("travel_deg", "allowed 5 to 180 degrees", NEXT));
        }
        profile.plan.check(file)?;
        whole_actuator(file)?;
        profile.settings.validate().map_err(|error| {
            let field = format!("settings.{}", error.field);
            let range = error.range;
            let allowed = format!("{} is outside {} to {}", range.value, range.min, range.max);
            file.refuse(&field, allowed, NEXT)
        })?;
        Ok(profile)
    }

    /// The built-in demo profile.
    ///
    /// # Errors
    /// None in a sound build: a test reads it.
    pub fn demo() -> Result<Self, TomlError> {
        Self::read(&TomlFile::from_text("bench-actuator-a.toml (built in)", DEMO_PROFILE))
    }
}

/// Refuses an actuator that is told in part: the controller's defaults describe an invented one, and a
/// current limit or a direction that nobody gave would move a real lever.
fn whole_actuator(file: &TomlFile) -> Result<(), TomlError> {
    let document: toml::Table = file.parse()?;
    let given = document.get("settings").and_then(|s| s.get("actuator")).and_then(toml::Value::as_table);
    let wanted = toml::Table::try_from(Settings::default().actuator).unwrap_or_default();
    let missing = wanted.keys().find(|field| !given.is_some_and(|given| given.contains_key(*field)));
    missing.map_or(Ok(()), |field| {
        let next = "Give it from the unit's data sheet; nothing was moved.";
        Err(file.refuse("settings.actuator", format!("{field} is missing"), next))
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::limits::Limits;

    fn edited(from: &str, to: &str) -> TomlError {
        assert!(DEMO_PROFILE.contains(from), "{from} is not in the demo profile");
        let text = DEMO_PROFILE.replacen(from, to, 1);
        Profile::read(&TomlFile::from_text("unit.toml", &text)).unwrap_err()
    }

    #[test]
    fn the_demo_profile_and_its_limits_read_and_say_that_they_are_invented() {
        let profile = Profile::demo().unwrap();
        assert!(profile.origin.contains("Invented"));
        let limits = Limits::read(&TomlFile::from_text("limits", DEMO_LIMITS)).unwrap();
        assert!(limits.origin.contains("Invented"));
        assert!(limits.limits.len() > 10);
    }

    #[test]
    fn the_demo_profile_describes_the_actuator_that_the_core_defaults_to() {
        assert_eq!(Profile::demo().unwrap().settings.actuator, Settings::default().actuator);
    }

    #[test]
    fn wrong_values_are_refused_with_line_field_value_and_range() {
        let error = edited("max_current = 4.0", "max_current = 99.0");
        assert_eq!((&*error.field, &*error.seen), ("settings.actuator.max_current", "99.0"));
        assert!(error.line.is_some() && error.allowed.contains("0.1 to 30"), "{error}");
        let error = edited("travel_deg = 70.0", "travel_deg = 700.0");
        assert!(error.to_string().contains("travel_deg = 700.0: allowed 5 to 180"), "{error}");
        let error = edited("points = 11", "points = 2");
        assert_eq!((&*error.field, &*error.seen), ("plan.sweep.points", "2"));
        let error = edited("gear = \"back-drives\"", "gear = \"locked\"");
        assert!(error.allowed.contains("self-locking"), "{error}");
        let error = edited("max_current = 4.0", "");
        assert!(
            error.to_string().contains("settings.actuator") && error.allowed.contains("max_current"),
            "{error}"
        );
        let error = edited("travel_deg", "travel_degrees");
        assert!(error.allowed.contains("unknown field") && error.allowed.contains("travel_deg"), "{error}");
    }
}
