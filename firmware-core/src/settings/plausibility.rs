//! When a reading is believed.

use serde::{Deserialize, Serialize};

use super::{GuardLimits, SettingError, check};
use crate::units::{Celsius, Kilopascal, Rpm, Volt};

/// Lowest air pressure that any setting may count on, kPa.
pub(super) const BAROMETER_MIN_KPA: f32 = 30.0;

/// Ranges, steps and debounce of the sensors. Defaults suit the invented "bench actuator A" and
/// "bench engine A"; ranges of this kind are common practice.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(default, deny_unknown_fields)]
pub struct PlausibilitySettings {
    /// Ticks that a reading must stay wrong before it is a fault, 1 to 1000. Default 20; more forgives
    /// longer glitches and reacts later.
    pub debounce_ticks: u16,
    /// Ticks that a reading must stay sound before its fault heals, 1 to 60 000. Default 500.
    pub heal_ticks: u16,
    /// Largest step of the position reading in one tick, counts, 10 to 5000. Default 200 (a lever at
    /// 8 rad/s moves 70).
    pub position_step_counts: f32,
    /// Ticks without the change of a single count after which the position of vanes under way is frozen,
    /// 10 to 5000. Default 60; a sound sensor's noise changes it sooner.
    pub position_frozen_ticks: u16,
    /// Turbo speed over the highest that the boost reading allows, as a fraction of that, at which boost
    /// is not believed, 0.01 to 1. Default 0.12: air of 45 °C and sensor tolerance.
    pub boost_speed_excess: f32,
    /// Lowest boost of a sound sensor, kPa, 0 to 80. Default 20.
    pub boost_min: Kilopascal,
    /// Boost at and above which the sensor is at the top of its range, kPa, 150 to 1000. Default 345.
    pub boost_saturated: Kilopascal,
    /// Largest step of boost in one tick, kPa, 0.5 to 200. Default 15.
    pub boost_step: Kilopascal,
    /// Boost that varies less than this while load changes is stuck, kPa, 0.05 to 20. Default 0.7.
    pub boost_stuck_span: Kilopascal,
    /// Change of load that must move the boost, 0.1 to 1. Default 0.4.
    pub boost_stuck_load_change: f32,
    /// Time after such a change by which boost must have moved, ticks, 100 to 60 000. Default 2000.
    pub boost_stuck_ticks: u16,
    /// Largest disagreement of boost and barometer at rest, kPa, 0.5 to 50. Default 8.
    pub rest_mismatch: Kilopascal,
    /// Lowest air pressure, kPa, 30 to 90. Default 50 (about 5500 m).
    pub barometer_min: Kilopascal,
    /// Highest air pressure, kPa, 100 to 120. Default 110.
    pub barometer_max: Kilopascal,
    /// Highest exhaust pressure of a sound sensor, kPa, 150 to 3000 and no less than the guard's limit.
    /// Default 900.
    pub exhaust_max: Kilopascal,
    /// Highest turbo speed of a sound sensor, rpm, 10 000 to 500 000 and no less than the guard's limit.
    /// Default 300 000.
    pub turbo_speed_max: Rpm,
    /// Largest step of turbo speed in one tick, rpm, 100 to 50 000. Default 2000: a small rotor gains some
    /// 400 under full power.
    pub turbo_speed_step: Rpm,
    /// Lowest supply to drive at, V, 4 to 24. Default 7.
    pub supply_min: Volt,
    /// Highest supply to drive at, V, 8 to 60. Default 18.
    pub supply_max: Volt,
    /// Lowest housing temperature of a sound sensor, °C, −80 to 0. Default −50.
    pub temperature_min: Celsius,
    /// Highest housing temperature of a sound sensor, °C, 80 to 300. Default 200.
    pub temperature_max: Celsius,
}

impl PlausibilitySettings {
    /// The defaults.
    pub const DEFAULT: Self = Self {
        debounce_ticks: 20,
        heal_ticks: 500,
        position_step_counts: 200.0,
        position_frozen_ticks: 60,
        boost_speed_excess: 0.12,
        boost_min: Kilopascal(20.0),
        boost_saturated: Kilopascal(345.0),
        boost_step: Kilopascal(15.0),
        boost_stuck_span: Kilopascal(0.7),
        boost_stuck_load_change: 0.4,
        boost_stuck_ticks: 2000,
        rest_mismatch: Kilopascal(8.0),
        barometer_min: Kilopascal(50.0),
        barometer_max: Kilopascal(110.0),
        exhaust_max: Kilopascal(900.0),
        turbo_speed_max: Rpm(300_000.0),
        turbo_speed_step: Rpm(2000.0),
        supply_min: Volt(7.0),
        supply_max: Volt(18.0),
        temperature_min: Celsius(-50.0),
        temperature_max: Celsius(200.0),
    };
}

impl Default for PlausibilitySettings {
    fn default() -> Self {
        Self::DEFAULT
    }
}

impl PlausibilitySettings {
    #[inline]
    pub(super) fn validate(&self) -> Result<(), SettingError> {
        check("plausibility.debounce_ticks", f32::from(self.debounce_ticks), 1.0, 1000.0)?;
        check("plausibility.heal_ticks", f32::from(self.heal_ticks), 1.0, 60_000.0)?;
        check("plausibility.position_step_counts", self.position_step_counts, 10.0, 5000.0)?;
        let frozen_ticks = f32::from(self.position_frozen_ticks);
        check("plausibility.position_frozen_ticks", frozen_ticks, 10.0, 5000.0)?;
        check("plausibility.boost_speed_excess", self.boost_speed_excess, 0.01, 1.0)?;
        check("plausibility.boost_min", self.boost_min.0, 0.0, 80.0)?;
        check("plausibility.boost_saturated", self.boost_saturated.0, 150.0, 1000.0)?;
        check("plausibility.boost_step", self.boost_step.0, 0.5, 200.0)?;
        check("plausibility.boost_stuck_span", self.boost_stuck_span.0, 0.05, 20.0)?;
        check("plausibility.boost_stuck_load_change", self.boost_stuck_load_change, 0.1, 1.0)?;
        check("plausibility.boost_stuck_ticks", f32::from(self.boost_stuck_ticks), 100.0, 60_000.0)?;
        check("plausibility.rest_mismatch", self.rest_mismatch.0, 0.5, 50.0)?;
        check("plausibility.barometer_min", self.barometer_min.0, BAROMETER_MIN_KPA, 90.0)?;
        check("plausibility.barometer_max", self.barometer_max.0, 100.0, 120.0)?;
        check("plausibility.exhaust_max", self.exhaust_max.0, 150.0, 3000.0)?;
        check("plausibility.turbo_speed_max", self.turbo_speed_max.0, 10_000.0, 500_000.0)?;
        check("plausibility.turbo_speed_step", self.turbo_speed_step.0, 100.0, 50_000.0)?;
        check("plausibility.supply_min", self.supply_min.0, 4.0, 24.0)?;
        check("plausibility.supply_max", self.supply_max.0, self.supply_min.0.max(8.0), 60.0)?;
        check("plausibility.temperature_min", self.temperature_min.0, -80.0, 0.0)?;
        check("plausibility.temperature_max", self.temperature_max.0, 80.0, 300.0)
    }

    /// A sensor must read up to the limit that it guards, or readings past its top hide the limit.
    #[inline]
    pub(super) fn reaches(&self, limits: &GuardLimits) -> Result<(), SettingError> {
        check("plausibility.exhaust_max", self.exhaust_max.0, limits.exhaust.0, 3000.0)?;
        let (most, limit) = (self.turbo_speed_max.0, limits.turbo_speed.0);
        check("plausibility.turbo_speed_max", most, limit, 500_000.0)
    }
}
