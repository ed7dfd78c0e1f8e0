//! A sample of every sensor, from the converter.

use firmware_core::sample::Sample;
use firmware_core::units::{Ampere, Counts, Duty, Kilopascal, Tick, Volt};

use crate::bridge::fault_line;
use crate::converters::{Beside, Converters, InStep};

/// The converter's range, volts.
const RANGE_V: f32 = 3.3;
/// Shunt and amplifier: 5 mΩ times 20 is 0.1 V for an ampere, about the middle of the range.
const VOLTS_PER_AMPERE: f32 = 0.1;
const ZERO_SHARE: f32 = 0.5;
/// The supply's divider: 100 kΩ over 10 kΩ.
const SUPPLY_DIVIDER: f32 = 11.0;
/// The sensor's divider: two equal resistors.
const SENSOR_DIVIDER: f32 = 2.0;
/// Counts of a position sensor at its own supply.
const SENSOR_COUNTS: f32 = 16_384.0;
/// No conversion: below every sensor's range.
const NO_COUNTS: Counts = Counts(i16::MIN);
/// Pressure sensors: 0.5 to 4.5 V for 0 to 400 kPa, behind the sensor's divider.
const PRESSURE_ZERO_V: f32 = 0.5;
const KPA_PER_V: f32 = 100.0;

/// Whatever makes a sample for a tick.
pub trait Inputs {
    /// The sample of this tick, after this duty was driven for one.
    fn take(&mut self, tick: Tick, driven: Duty) -> Sample;
}

impl Inputs for Converters {
    fn take(&mut self, tick: Tick, _driven: Duty) -> Sample {
        let (in_step, beside) = (self.in_step(), self.beside());
        Sample {
            tick,
            position: counts(&in_step),
            motor_current: current(&in_step),
            supply: Volt(in_step.supply * RANGE_V * SUPPLY_DIVIDER),
            temperature: None,
            boost: pressure(beside.boost),
            barometer: pressure(beside.barometer),
            exhaust: None,
            turbo_speed: None,
            conversions: self.counted(),
            bridge: fault_line(),
        }
    }
}

/// Motor current.
pub fn current(in_step: &InStep) -> Ampere {
    Ampere((in_step.current - ZERO_SHARE) * RANGE_V / VOLTS_PER_AMPERE)
}

/// The sensor's own supply.
pub fn rail(in_step: &InStep) -> Volt {
    Volt(in_step.rail * RANGE_V * SENSOR_DIVIDER)
}

/// The chip's own reference.
pub fn reference(beside: &Beside) -> Volt {
    Volt(beside.reference * RANGE_V)
}

/// Ratiometric: a share of the sensor's own supply, whatever that is.
fn counts(in_step: &InStep) -> Counts {
    let counts = in_step.position / in_step.rail * SENSOR_COUNTS;
    // The cast saturates.
    if counts.is_finite() { Counts(counts as i16) } else { NO_COUNTS }
}

fn pressure(share: f32) -> Kilopascal {
    Kilopascal((share * RANGE_V * SENSOR_DIVIDER - PRESSURE_ZERO_V) * KPA_PER_V)
}
