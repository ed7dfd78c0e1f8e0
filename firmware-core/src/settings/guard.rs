//! Limits that the guard holds, and how soon.
//!
//! A level trips early enough that what happens after the trip stays under the limit:
//! trip = limit − lag margin − rate × reaction time. The lag margin is what actuator and turbo still
//! add after the vanes were told to open; it is measured on the world, not chosen by taste.

use serde::{Deserialize, Serialize};

use super::plausibility::BAROMETER_MIN_KPA;
use super::{SettingError, check};
use crate::units::{Kilopascal, Load, Opening, Rpm};

/// Points of the table that estimates turbo speed.
pub const SPEED_POINTS: usize = 6;

/// Limits of boost, turbo speed and exhaust pressure.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(default, deny_unknown_fields)]
pub struct GuardLimits {
    /// Boost that must never be passed, kPa, 120 to 900. Default 280.
    pub boost: Kilopascal,
    /// Boost over barometer that must never be passed, 1.1 to 8. Default 3.2.
    pub boost_ratio: f32,
    /// Boost over its target that opens the vanes, kPa, 5 to 300. Default 45.
    pub boost_over_target: Kilopascal,
    /// What boost still gains after the vanes were told to open, kPa, 0 to 100 and at most half of what
    /// `boost` or, at the lowest air pressure, `boost_ratio` allows. Default 16.
    pub boost_lag_margin: Kilopascal,
    /// Turbo speed that must never be passed, rpm, 10 000 to 500 000. Default 185 000.
    pub turbo_speed: Rpm,
    /// What turbo speed still gains after the vanes were told to open, rpm, 0 to 50 000 and at most
    /// half of `turbo_speed`. Default 8000.
    pub turbo_speed_lag_margin: Rpm,
    /// Exhaust pressure that must never be passed, kPa, 120 to 2000. Default 520.
    pub exhaust: Kilopascal,
    /// What exhaust pressure still gains after the vanes were told to open, kPa, 0 to 300 and at
    /// most half of `exhaust`. Default 60.
    pub exhaust_lag_margin: Kilopascal,
    /// Pressure ratios at which turbo speed is estimated, rising, 1 to 10.
    pub speed_estimate_ratio: [f32; SPEED_POINTS],
    /// Highest turbo speed at those ratios in standard air, rpm, 0 to 500 000.
    pub speed_estimate_rpm: [f32; SPEED_POINTS],
}

impl GuardLimits {
    /// The defaults.
    pub const DEFAULT: Self = Self {
        boost: Kilopascal(280.0),
        boost_ratio: 3.2,
        boost_over_target: Kilopascal(45.0),
        boost_lag_margin: Kilopascal(16.0),
        turbo_speed: Rpm(185_000.0),
        turbo_speed_lag_margin: Rpm(8000.0),
        exhaust: Kilopascal(520.0),
        exhaust_lag_margin: Kilopascal(60.0),
        // The most air that the invented bench engine A takes, at 3600 rpm; `tests/world/envelope.rs` derives it.
        speed_estimate_ratio: [1.0, 1.25, 1.5, 2.0, 2.8, 3.6],
        speed_estimate_rpm: [51_000.0, 83_000.0, 108_000.0, 144_000.0, 187_000.0, 224_000.0],
    };
}

impl Default for GuardLimits {
    fn default() -> Self {
        Self::DEFAULT
    }
}

/// What the guard holds, and how.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(default, deny_unknown_fields)]
pub struct GuardSettings {
    /// Limits.
    pub limits: GuardLimits,
    /// Times and levels of the stages.
    pub stages: GuardStages,
}

impl GuardSettings {
    /// The defaults.
    pub const DEFAULT: Self = Self { limits: GuardLimits::DEFAULT, stages: GuardStages::DEFAULT };
}

impl Default for GuardSettings {
    fn default() -> Self {
        Self::DEFAULT
    }
}

/// Times and levels of the guard's stages.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(default, deny_unknown_fields)]
pub struct GuardStages {
    /// Time from crossing a level to the vanes being told to open, ticks, more than `debounce_ticks` and up
    /// to 1000. Default 12: debounce, one tick of computing, filter of the rate.
    pub reaction_ticks: u16,
    /// Ticks over a level before it counts, 1 to 200. Default 5.
    pub debounce_ticks: u16,
    /// Below the trip level by this fraction of it, the guard eases before it opens, 0.005 to 0.5. Default 0.04.
    pub ease_band: f32,
    /// Opening added each second while easing, 0.05 to 10. Default 1.
    pub ease_rate_per_s: f32,
    /// Below the ease level by this fraction of it, the guard lets go, 0.005 to 0.5. Default 0.03.
    pub hysteresis: f32,
    /// Ticks that all levels must be kept before the guard lets go, 10 to 60 000. Default 500.
    pub release_ticks: u16,
    /// Ticks that the vanes may be held open before the guard latches, 10 to 60 000. Default 1000.
    pub latch_ticks: u16,
    /// Trips before the guard latches, 1 to 100. Default 3.
    pub latch_trips: u16,
    /// Opening that must be travelled when the vanes are told to open, 0.005 to 0.5. Default 0.03.
    pub open_travel: f32,
    /// Time for that travel, ticks, 20 to 5000. Default 150.
    pub open_travel_ticks: u16,
    /// Boost short of its target by this much is short, kPa, 5 to 300. Default 30.
    pub short_by: Kilopascal,
    /// Time short with the vanes at their minimum, ticks, 100 to 60 000. Default 3000.
    pub short_ticks: u16,
    /// Least opening once boost was short, 0 to 1. Default 0.6.
    pub short_opening: Opening,
    /// Fuelling asked for while the guard opens the vanes, or boost is unknown, fraction of full, 0 to
    /// 0.9. Default 0.5.
    pub smoke_limit: Load,
    /// Fuelling asked for when the vanes cannot open or boost stays short, 0 to 0.9. Default 0.3.
    pub derate: Load,
}

impl GuardStages {
    /// The defaults.
    pub const DEFAULT: Self = Self {
        reaction_ticks: 12,
        debounce_ticks: 5,
        ease_band: 0.04,
        ease_rate_per_s: 1.0,
        hysteresis: 0.03,
        release_ticks: 500,
        latch_ticks: 1000,
        latch_trips: 3,
        open_travel: 0.03,
        open_travel_ticks: 150,
        short_by: Kilopascal(30.0),
        short_ticks: 3000,
        short_opening: Opening::saturating(0.6, Opening::OPEN),
        smoke_limit: Load::saturating(0.5, Load::MIN),
        derate: Load::saturating(0.3, Load::MIN),
    };
}

impl Default for GuardStages {
    fn default() -> Self {
        Self::DEFAULT
    }
}

/// More fuel than this is no limit: common practice, no source.
const MOST_LIMITED_FUEL: f32 = 0.9;

/// A lag margin leaves at least half of its limit as trip level.
#[inline]
fn most_margin(limit: f32, most: f32) -> f32 {
    (limit / 2.0).min(most)
}

impl GuardLimits {
    #[inline]
    pub(super) fn validate(&self) -> Result<(), SettingError> {
        check("guard.limits.boost", self.boost.0, 120.0, 900.0)?;
        check("guard.limits.boost_ratio", self.boost_ratio, 1.1, 8.0)?;
        check("guard.limits.boost_over_target", self.boost_over_target.0, 5.0, 300.0)?;
        let boost = self.boost.0.min(self.boost_ratio * BAROMETER_MIN_KPA);
        let lag = self.boost_lag_margin.0;
        check("guard.limits.boost_lag_margin", lag, 0.0, most_margin(boost, 100.0))?;
        check("guard.limits.turbo_speed", self.turbo_speed.0, 10_000.0, 500_000.0)?;
        let (lag, most) = (self.turbo_speed_lag_margin.0, most_margin(self.turbo_speed.0, 50_000.0));
        check("guard.limits.turbo_speed_lag_margin", lag, 0.0, most)?;
        check("guard.limits.exhaust", self.exhaust.0, 120.0, 2000.0)?;
        let (lag, most) = (self.exhaust_lag_margin.0, most_margin(self.exhaust.0, 300.0));
        check("guard.limits.exhaust_lag_margin", lag, 0.0, most)?;
        let mut lowest = 1.0;
        for &ratio in &self.speed_estimate_ratio {
            check("guard.limits.speed_estimate_ratio", ratio, lowest, 10.0)?;
            lowest = ratio + 0.01;
        }
        self.speed_estimate_rpm
            .iter()
            .try_for_each(|&rpm| check("guard.limits.speed_estimate_rpm", rpm, 0.0, 500_000.0))
    }
}

impl GuardStages {
    #[inline]
    pub(super) fn validate(&self) -> Result<(), SettingError> {
        let debounce_ticks = f32::from(self.debounce_ticks);
        check("guard.stages.debounce_ticks", debounce_ticks, 1.0, 200.0)?;
        let (least, reaction_ticks) = (debounce_ticks + 1.0, f32::from(self.reaction_ticks));
        check("guard.stages.reaction_ticks", reaction_ticks, least, 1000.0)?;
        check("guard.stages.ease_band", self.ease_band, 0.005, 0.5)?;
        check("guard.stages.ease_rate_per_s", self.ease_rate_per_s, 0.05, 10.0)?;
        check("guard.stages.hysteresis", self.hysteresis, 0.005, 0.5)?;
        check("guard.stages.release_ticks", f32::from(self.release_ticks), 10.0, 60_000.0)?;
        check("guard.stages.latch_ticks", f32::from(self.latch_ticks), 10.0, 60_000.0)?;
        check("guard.stages.latch_trips", f32::from(self.latch_trips), 1.0, 100.0)?;
        check("guard.stages.open_travel", self.open_travel, 0.005, 0.5)?;
        check("guard.stages.open_travel_ticks", f32::from(self.open_travel_ticks), 20.0, 5000.0)?;
        check("guard.stages.short_by", self.short_by.0, 5.0, 300.0)?;
        check("guard.stages.short_ticks", f32::from(self.short_ticks), 100.0, 60_000.0)?;
        check("guard.stages.smoke_limit", self.smoke_limit.get(), 0.0, MOST_LIMITED_FUEL)?;
        check("guard.stages.derate", self.derate.get(), 0.0, MOST_LIMITED_FUEL)
    }
}

impl GuardSettings {
    #[inline]
    pub(super) fn validate(&self) -> Result<(), SettingError> {
        self.limits.validate()?;
        self.stages.validate()
    }
}
