//! When a reading is believed.

use serde::{Deserialize, Serialize};

use super::table::{AllowedRange, OnWire, WireField, section, within};
use super::{GuardLimits, SettingError, SettingField};
use crate::units::{Celsius, Kilopascal, Rpm, Volt};

/// Lowest air pressure that any setting may count on, kPa.
pub(super) const BAROMETER_MIN_KPA: f32 = 30.0;

section! {
    /// Ranges, steps and debounce of the sensors. Defaults suit the invented "bench actuator A" and
    /// "bench engine A"; ranges of this kind are common practice.
    pub struct PlausibilitySettings as it {
        /// Ticks that a reading must stay wrong before it is a fault; more forgives longer glitches and
        /// reacts later.
        debounce_ticks: u16 = 20, from 1.0, to 1000.0;
        /// Ticks that a reading must stay sound before its fault heals.
        heal_ticks: u16 = 500, from 1.0, to 60_000.0;
        /// Largest step of the position reading in one tick, counts; a lever at 8 rad/s moves 70.
        position_step_counts: f32 = 200.0, from 10.0, to 5000.0;
        /// Ticks without the change of a single count after which the position of vanes under way is frozen;
        /// a sound sensor's noise changes it sooner.
        position_frozen_ticks: u16 = 60, from 10.0, to 5000.0;
        /// Turbo speed over the highest that the boost reading allows, as a fraction of that, at which boost is not
        /// believed: air of 45 °C and sensor tolerance.
        boost_speed_excess: f32 = 0.12, from 0.01, to 1.0;
        /// Lowest boost of a sound sensor, kPa.
        boost_min: Kilopascal = Kilopascal(20.0), from 0.0, to 80.0;
        /// Boost at and above which the sensor is at the top of its range, kPa.
        boost_saturated: Kilopascal = Kilopascal(345.0), from 150.0, to 1000.0;
        /// Largest step of boost in one tick, kPa.
        boost_step: Kilopascal = Kilopascal(15.0), from 0.5, to 200.0;
        /// Boost that varies less than this while load changes is stuck, kPa.
        boost_stuck_span: Kilopascal = Kilopascal(0.7), from 0.05, to 20.0;
        /// Change of load that must move the boost.
        boost_stuck_load_change: f32 = 0.4, from 0.1, to 1.0;
        /// Time after such a change by which boost must have moved, ticks.
        boost_stuck_ticks: u16 = 2000, from 100.0, to 60_000.0;
        /// Largest disagreement of boost and barometer at rest, kPa.
        rest_mismatch: Kilopascal = Kilopascal(8.0), from 0.5, to 50.0;
        /// Lowest air pressure, kPa; the default is that of about 5500 m.
        barometer_min: Kilopascal = Kilopascal(50.0), from BAROMETER_MIN_KPA, to 90.0;
        /// Highest air pressure, kPa.
        barometer_max: Kilopascal = Kilopascal(110.0), from 100.0, to 120.0;
        /// Highest exhaust pressure of a sound sensor, kPa, no less than the guard's limit.
        exhaust_max: Kilopascal = Kilopascal(900.0), from 150.0, to 3000.0;
        /// Highest turbo speed of a sound sensor, rpm, no less than the guard's limit.
        turbo_speed_max: Rpm = Rpm(300_000.0), from 10_000.0, to 500_000.0;
        /// Largest step of turbo speed in one tick, rpm: a small rotor gains some 400 under full power.
        turbo_speed_step: Rpm = Rpm(2000.0), from 100.0, to 50_000.0;
        /// Lowest supply to drive at, V.
        supply_min: Volt = Volt(7.0), from 4.0, to 24.0;
        /// Highest supply to drive at, V.
        supply_max: Volt = Volt(18.0), from it.supply_min.0.max(8.0), to 60.0;
        /// Lowest housing temperature of a sound sensor, °C.
        temperature_min: Celsius = Celsius(-50.0), from -80.0, to 0.0;
        /// Highest housing temperature of a sound sensor, °C.
        temperature_max: Celsius = Celsius(200.0), from 80.0, to 300.0;
        /// Time for which boost may repeat itself to the bit after vanes or load have moved, ticks; a sensor whose noise
        /// is below a third of its step needs more.
        boost_frozen_ticks: u16 = 300, from 20.0, to 5000.0;
        /// Travel of the vanes that must move the boost, counts.
        boost_frozen_travel_counts: f32 = 500.0, from 20.0, to 8000.0;
        /// Exhaust pressure over boost reading at which, without a turbo speed sensor, boost is not believed.
        exhaust_over_boost: f32 = 1.65, from 1.1, to 10.0;
    }
}

/// Rows of the two readings that the guard's limits need; a test holds them to their names.
const EXHAUST_MAX: u8 = 14;
const TURBO_SPEED_MAX: u8 = 15;

impl PlausibilitySettings {
    /// The first half of its fields, for a look at memory in two pieces; a test changes each field.
    pub(super) fn first_half(&self) -> impl PartialEq {
        (
            self.debounce_ticks,
            self.heal_ticks,
            self.position_step_counts,
            self.position_frozen_ticks,
            self.boost_speed_excess,
            self.boost_min,
            self.boost_saturated,
            self.boost_step,
            self.boost_stuck_span,
            self.boost_stuck_load_change,
            self.boost_stuck_ticks,
            self.rest_mismatch,
        )
    }

    /// The other half.
    pub(super) fn second_half(&self) -> impl PartialEq {
        (
            self.barometer_min,
            self.barometer_max,
            self.exhaust_max,
            self.turbo_speed_max,
            self.turbo_speed_step,
            self.supply_min,
            self.supply_max,
            self.temperature_min,
            self.temperature_max,
            self.boost_frozen_ticks,
            self.boost_frozen_travel_counts,
            self.exhaust_over_boost,
        )
    }

    /// A sensor must read up to the limit that it guards, or readings past its top hide the limit.
    #[inline]
    pub(super) fn reaches(&self, limits: &GuardLimits) -> Result<(), SettingError> {
        let refused = |row| move |range| SettingError { field: SettingField { section: 1, row }, range };
        within(self.exhaust_max.0, limits.exhaust.0, 3000.0).map_err(refused(EXHAUST_MAX))?;
        within(self.turbo_speed_max.0, limits.turbo_speed.0, 500_000.0).map_err(refused(TURBO_SPEED_MAX))
    }
}
