//! Limits that the guard holds, and how soon.
//!
//! A level trips early enough that what happens after the trip stays under the limit:
//! trip = limit − lag margin − rate × reaction time. The lag margin is what actuator and turbo still
//! add after the vanes were told to open; it is measured on the world, not chosen by taste.

use serde::{Deserialize, Serialize};

use super::plausibility::BAROMETER_MIN_KPA;
use super::table::{AllowedRange, OnWire, WireField, section};
use crate::units::{Kilopascal, Load, Opening, Rpm};

/// Points of the table that estimates turbo speed.
pub const SPEED_POINTS: usize = 6;

section! {
    /// Limits of boost, turbo speed and exhaust pressure.
    pub struct GuardLimits as it {
        /// Boost that must never be passed, kPa.
        boost: Kilopascal = Kilopascal(280.0), from 120.0, to 900.0;
        /// Boost over barometer that must never be passed.
        boost_ratio: f32 = 3.2, from 1.1, to 8.0;
        /// Boost over its target that opens the vanes, kPa.
        boost_over_target: Kilopascal = Kilopascal(45.0), from 5.0, to 300.0;
        /// What boost still gains after the vanes were told to open, kPa, at most half of what `boost` or, at the
        /// lowest air pressure, `boost_ratio` allows.
        boost_lag_margin: Kilopascal = Kilopascal(16.0), from 0.0, to half(it.least_boost()).min(100.0);
        /// Turbo speed that must never be passed, rpm.
        turbo_speed: Rpm = Rpm(185_000.0), from 10_000.0, to 500_000.0;
        /// What turbo speed still gains after the vanes were told to open, rpm.
        turbo_speed_lag_margin: Rpm = Rpm(8000.0), from 0.0, to half(it.turbo_speed.0).min(50_000.0);
        /// Exhaust pressure that must never be passed, kPa.
        exhaust: Kilopascal = Kilopascal(520.0), from 120.0, to 2000.0;
        /// What exhaust pressure still gains after the vanes were told to open, kPa.
        exhaust_lag_margin: Kilopascal = Kilopascal(60.0), from 0.0, to half(it.exhaust.0).min(300.0);
        /// Pressure ratios at which turbo speed is estimated, rising.
        speed_estimate_ratio: [f32; SPEED_POINTS] = [1.0, 1.25, 1.5, 2.0, 2.8, 3.6], from 1.0, to 10.0, rising by 10 thousandths;
        /// Highest turbo speed at those ratios in standard air, rpm.
        speed_estimate_rpm: [f32; SPEED_POINTS] = [51_000.0, 83_000.0, 108_000.0, 144_000.0, 187_000.0, 224_000.0], from 0.0, to 500_000.0;
    }
}

impl GuardLimits {
    /// Its single values and its table: every field in one of the two, for a look at memory in two pieces.
    #[inline(always)]
    pub(super) fn halves(&self) -> (impl PartialEq, impl PartialEq) {
        let Self {
            boost,
            boost_ratio,
            boost_over_target,
            boost_lag_margin,
            turbo_speed,
            turbo_speed_lag_margin,
            exhaust,
            exhaust_lag_margin,
            speed_estimate_ratio,
            speed_estimate_rpm,
        } = *self;
        (
            (
                boost,
                boost_ratio,
                boost_over_target,
                boost_lag_margin,
                turbo_speed,
                turbo_speed_lag_margin,
                exhaust,
                exhaust_lag_margin,
            ),
            (speed_estimate_ratio, speed_estimate_rpm),
        )
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

section! {
    /// Times and levels of the guard's stages.
    pub struct GuardStages as it {
        /// Time from crossing a level to the vanes being told to open, ticks, more than `debounce_ticks`:
        /// debounce, one tick of computing, filter of the rate.
        reaction_ticks: u16 = 12, from f32::from(it.debounce_ticks) + 1.0, to 1000.0;
        /// Ticks over a level before it counts.
        debounce_ticks: u16 = 5, from 1.0, to 200.0;
        /// Below the trip level by this fraction of it, the guard eases before it opens.
        ease_band: f32 = 0.04, from 0.005, to 0.5;
        /// Opening added each second while easing.
        ease_rate_per_s: f32 = 1.0, from 0.05, to 10.0;
        /// Below the ease level by this fraction of it, the guard lets go.
        hysteresis: f32 = 0.03, from 0.005, to 0.5;
        /// Ticks that all levels must be kept before the guard lets go.
        release_ticks: u16 = 500, from 10.0, to 60_000.0;
        /// Ticks that the vanes may be held open before the guard latches.
        latch_ticks: u16 = 1000, from 10.0, to 60_000.0;
        /// Trips before the guard latches.
        latch_trips: u16 = 3, from 1.0, to 100.0;
        /// Opening that must be travelled when the vanes are told to open.
        open_travel: f32 = 0.03, from 0.005, to 0.5;
        /// Time for that travel, ticks.
        open_travel_ticks: u16 = 150, from 20.0, to 5000.0;
        /// Boost short of its target by this much is short, kPa.
        short_by: Kilopascal = Kilopascal(30.0), from 5.0, to 300.0;
        /// Time short with the vanes at their minimum, ticks.
        short_ticks: u16 = 3000, from 100.0, to 60_000.0;
        /// Least opening once boost was short.
        short_opening: Opening = Opening::saturating(0.6, Opening::OPEN), from 0.0, to 1.0;
        /// Fuelling asked for while the guard opens the vanes, or boost is unknown, fraction of full.
        smoke_limit: Load = Load::saturating(0.5, Load::MIN), from 0.0, to MOST_LIMITED_FUEL;
        /// Fuelling asked for when the vanes cannot open or boost stays short.
        derate: Load = Load::saturating(0.3, Load::MIN), from 0.0, to MOST_LIMITED_FUEL;
    }
}

/// More fuel than this is no limit: common practice, no source.
const MOST_LIMITED_FUEL: f32 = 0.9;

/// A lag margin leaves at least half of its limit as trip level.
#[inline]
fn half(limit: f32) -> f32 {
    limit / 2.0
}

impl GuardLimits {
    /// Least boost at which a limit of boost is reached, kPa.
    #[inline]
    fn least_boost(&self) -> f32 {
        self.boost.0.min(self.boost_ratio * BAROMETER_MIN_KPA)
    }
}
