//! Every setting of the controller in one typed structure, with ranges, units and defaults.
//!
//! The same structure is TOML on the host and postcard on the link, and the same [`Settings::validate`]
//! runs at both ends. Settings are checked once, at the edge; after that the tick is plain arithmetic.

mod actuator;
mod guard;
mod learn;
mod motion;
mod plausibility;
mod section;
mod target;

pub use actuator::{ActuatorSettings, CountsDirection, SpringAction};
pub use guard::{GuardLimits, GuardSettings, GuardStages, SPEED_POINTS};
pub use learn::{
    LearnLimits, LearnMotion, LearnSettings, LearnWindows, SetupWindows, StopWindow, StopWindows,
};
pub use motion::{LimitSettings, PositionSettings, SlewSettings};
pub use plausibility::PlausibilitySettings;
pub use section::{MAX_SECTION_BYTES, SettingsSection};
pub use target::{MapAxes, ModeSettings, OpeningMap, TargetSettings, TrimSettings};

use serde::{Deserialize, Serialize};

use crate::units::OutOfRange;

/// All settings of one controller.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(default, deny_unknown_fields)]
pub struct Settings {
    /// The actuator's constants.
    pub actuator: ActuatorSettings,
    /// When a reading is believed.
    pub plausibility: PlausibilitySettings,
    /// From the engine's demand to the wanted opening.
    pub target: TargetSettings,
    /// Over-boost, over-speed, exhaust pressure.
    pub guard: GuardSettings,
    /// Rates of the wanted opening.
    pub slew: SlewSettings,
    /// Position loop.
    pub position: PositionSettings,
    /// Heat, stall, end stops.
    pub limits: LimitSettings,
    /// How end stops are learned.
    pub learn: LearnSettings,
}

/// A setting outside its range.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SettingError {
    /// Path of the field, as written in TOML.
    pub field: &'static str,
    /// What was given and what is allowed.
    pub range: OutOfRange,
}

impl core::fmt::Display for SettingError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        write!(f, "{} = {}: allowed {} to {}", self.field, self.range.value, self.range.min, self.range.max)
    }
}

impl core::error::Error for SettingError {}

/// Refuses a value outside `min ..= max`, NaN included.
pub(crate) fn check(field: &'static str, value: f32, min: f32, max: f32) -> Result<(), SettingError> {
    if (min..=max).contains(&value) {
        Ok(())
    } else {
        Err(SettingError { field, range: OutOfRange { value, min, max } })
    }
}

impl Settings {
    /// Checks every field against its range.
    ///
    /// # Errors
    /// The first field that is out of range, with what was given and what is allowed.
    pub fn validate(&self) -> Result<(), SettingError> {
        self.actuator.validate()?;
        self.plausibility.validate()?;
        self.target.validate()?;
        self.guard.validate()?;
        self.slew.validate()?;
        self.position.validate()?;
        self.limits.validate()?;
        self.learn.validate()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_defaults_are_valid() {
        assert_eq!(Settings::default().validate(), Ok(()));
    }

    #[test]
    fn a_setting_that_is_not_a_number_is_refused_by_name() {
        let mut settings = Settings::default();
        settings.actuator.winding_resistance_ohm = f32::NAN;
        assert_eq!(settings.validate().unwrap_err().field, "actuator.winding_resistance_ohm");
    }
}
