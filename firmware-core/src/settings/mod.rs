//! Every setting of the controller in one typed structure, with ranges, units and defaults.
//!
//! The same structure is TOML on the host and postcard on the link, and the same [`Settings::validate`]
//! runs at both ends. Settings are checked once, at the edge; after that the tick is plain arithmetic.

mod actuator;
mod blank;
mod field;
mod guard;
mod hash;
mod learn;
mod motion;
mod plausibility;
mod section;
mod table;
mod target;

pub use actuator::{ActuatorSettings, CountsDirection, SpringAction};
pub use field::{SettingError, SettingField};
pub use guard::{GuardLimits, GuardSettings, GuardStages, SPEED_POINTS};
pub use hash::SettingsHash;
pub use learn::{
    LearnLimits, LearnMotion, LearnSettings, LearnWindows, SetupWindows, StopWindow, StopWindows,
};
pub use motion::{LimitSettings, PositionSettings, SlewSettings};
pub use plausibility::PlausibilitySettings;
pub use section::{MAX_SECTION_BYTES, SECTIONS, SettingsSection};
pub(crate) use table::within;
pub use target::{
    FixedGainSettings, LawName, MapAxes, ModeSettings, ModelSettings, OpeningMap, TargetSettings,
    TrimSettings,
};

use serde::{Deserialize, Serialize};

/// All settings of one controller.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(default, deny_unknown_fields)]
#[repr(C)] // in this order, so that what a tick reads most lies within reach of one load
pub struct Settings {
    /// The actuator's constants.
    pub actuator: ActuatorSettings,
    /// When a reading is believed.
    pub plausibility: PlausibilitySettings,
    /// Over-boost, over-speed, exhaust pressure.
    pub guard: GuardSettings,
    /// Rates of the wanted opening.
    pub slew: SlewSettings,
    /// Position loop.
    pub position: PositionSettings,
    /// Heat, stall, end stops.
    pub limits: LimitSettings,
    /// From the engine's demand to the wanted opening.
    pub target: TargetSettings,
    /// How end stops are learned.
    pub learn: LearnSettings,
}

impl Settings {
    /// The defaults.
    pub const DEFAULT: Self = Self {
        actuator: ActuatorSettings::DEFAULT,
        plausibility: PlausibilitySettings::DEFAULT,
        target: TargetSettings::DEFAULT,
        guard: GuardSettings::DEFAULT,
        slew: SlewSettings::DEFAULT,
        position: PositionSettings::DEFAULT,
        limits: LimitSettings::DEFAULT,
        learn: LearnSettings::DEFAULT,
    };
}

impl Default for Settings {
    fn default() -> Self {
        Self::DEFAULT
    }
}

impl Settings {
    /// Checks every field against its range and the sections against each other.
    ///
    /// # Errors
    /// The first field that is out of range, with what was given and what is allowed.
    pub fn validate(&self) -> Result<(), SettingError> {
        self.sections().try_for_each(|section| section.validate())?;
        self.validate_together()
    }

    /// Checks the sections against each other: they arrive one by one, so an engine is followed only once
    /// they agree.
    ///
    /// # Errors
    /// A field that does not fit another section, with what was given and what that section allows.
    #[inline]
    pub fn validate_together(&self) -> Result<(), SettingError> {
        self.plausibility.reaches(&self.guard.limits)
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use std::borrow::ToOwned;
    use std::string::ToString;

    use super::*;
    use crate::units::Load;

    #[test]
    fn the_defaults_are_valid() {
        assert_eq!(Settings::default().validate(), Ok(()));
    }

    #[test]
    fn a_lag_margin_leaves_at_least_half_of_its_limit() {
        let refused = |change: fn(&mut GuardLimits)| {
            let mut settings = Settings::default();
            change(&mut settings.guard.limits);
            settings.validate().map_err(|error| error.field.to_string())
        };
        assert_eq!(
            refused(|limits| {
                limits.boost_ratio = 1.1;
                limits.boost_lag_margin.0 = 40.0;
            }),
            Err("guard.limits.boost_lag_margin".to_owned())
        );
        assert_eq!(
            refused(|limits| {
                limits.turbo_speed.0 = 40_000.0;
                limits.turbo_speed_lag_margin.0 = 45_000.0;
            }),
            Err("guard.limits.turbo_speed_lag_margin".to_owned())
        );
        assert_eq!(
            refused(|limits| {
                limits.exhaust.0 = 200.0;
                limits.exhaust_lag_margin.0 = 250.0;
            }),
            Err("guard.limits.exhaust_lag_margin".to_owned())
        );
    }

    #[test]
    fn a_stage_that_reacts_too_late_or_limits_nothing_is_refused() {
        let mut settings = Settings::default();
        settings.guard.stages.debounce_ticks = settings.guard.stages.reaction_ticks;
        assert_eq!(settings.validate().unwrap_err().field.to_string(), "guard.stages.reaction_ticks");
        let mut settings = Settings::default();
        settings.guard.stages.derate = Load::MAX;
        assert_eq!(settings.validate().unwrap_err().field.to_string(), "guard.stages.derate");
        let mut settings = Settings::default();
        settings.guard.stages.smoke_limit = Load::MAX;
        assert_eq!(settings.validate().unwrap_err().field.to_string(), "guard.stages.smoke_limit");
        let mut settings = Settings::default();
        settings.limits.stalled_current.0 = settings.limits.continuous_current.0 + 0.1;
        assert_eq!(settings.validate().unwrap_err().field.to_string(), "limits.stalled_current");
    }

    #[test]
    fn a_sensor_that_ends_below_its_limit_is_refused() {
        let mut settings = Settings::default();
        settings.plausibility.exhaust_max.0 = settings.guard.limits.exhaust.0 - 1.0;
        assert_eq!(settings.validate().unwrap_err().field.to_string(), "plausibility.exhaust_max");
        let mut settings = Settings::default();
        settings.guard.limits.turbo_speed.0 = settings.plausibility.turbo_speed_max.0 + 1.0;
        assert_eq!(settings.validate().unwrap_err().field.to_string(), "plausibility.turbo_speed_max");
    }

    #[test]
    fn sections_that_fit_each_other_may_arrive_one_by_one() {
        let mut sent = Settings::default();
        sent.plausibility.exhaust_max.0 = 400.0;
        sent.guard.limits.exhaust.0 = 400.0;
        let mut received = Settings::default();
        for section in sent.sections() {
            received.apply(&section).unwrap();
        }
        assert_eq!(received.validate(), Ok(()));
    }

    #[test]
    fn a_setting_that_is_not_a_number_is_refused_by_name() {
        let mut settings = Settings::default();
        settings.actuator.winding_resistance_ohm = f32::NAN;
        assert_eq!(settings.validate().unwrap_err().field.to_string(), "actuator.winding_resistance_ohm");
    }
}
