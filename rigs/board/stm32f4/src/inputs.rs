//! A sample of every sensor, from the converter.

use firmware_core::sample::Sample;
use firmware_core::scaling::{CurrentScale, RatiometricScale, VoltScale};
use firmware_core::units::{Counts, Duty, Kilopascal, Tick, Volt};

use crate::bridge::fault_line;
use crate::converters::{Beside, CONVERTER, Converters, InStep};

/// The supply's divider.
const SUPPLY_OHM: (f32, f32) = (100_000.0, 10_000.0);
/// The divider before the position sensor, its supply and pressure sensors: two equal resistors.
const SENSOR_OHM: (f32, f32) = (10_000.0, 10_000.0);
/// Shunt and amplifier: 0.1 V for an ampere.
const SHUNT_OHM: f32 = 0.005;
const GAIN: f32 = 20.0;
/// Counts of a position sensor at its own supply.
const SENSOR_COUNTS: Counts = Counts(16_384);
/// Lowest code of the sensor's supply: 4 V.
const LEAST_RAIL: u16 = 2482;
/// Pressure sensors: 0.5 to 4.5 V for 0 to 400 kPa.
const PRESSURE_ZERO: Volt = Volt(0.5);
const KPA_PER_V: f32 = 100.0;

/// Whatever makes a sample for a tick.
pub trait Inputs {
    /// The sample of this tick, after this duty was driven for one.
    fn take(&mut self, tick: Tick, driven: Duty) -> Sample;
}

/// What the codes mean with this board's dividers and shunt.
pub struct Scales {
    pub current: CurrentScale,
    pub position: RatiometricScale,
    pub supply: VoltScale,
    pub sensor: VoltScale,
    /// A pin without a divider.
    pub pin: VoltScale,
}

impl Scales {
    /// With the code that the current reads while the bridge is off.
    pub fn new(zero_code: u16) -> Self {
        let divider = |(upper, lower)| VoltScale::of_divider(CONVERTER, upper, lower);
        Self {
            current: CurrentScale::of_shunt(CONVERTER, SHUNT_OHM, GAIN, zero_code),
            position: RatiometricScale::new(CONVERTER, SENSOR_COUNTS, LEAST_RAIL),
            supply: divider(SUPPLY_OHM),
            sensor: divider(SENSOR_OHM),
            pin: divider((0.0, 1.0)),
        }
    }

    fn pressure(&self, code: u16) -> Kilopascal {
        Kilopascal((self.sensor.read(code).0 - PRESSURE_ZERO.0) * KPA_PER_V)
    }
}

/// The board's sensors.
pub struct BoardSensors {
    pub converters: Converters,
    pub scales: Scales,
}

impl Inputs for BoardSensors {
    fn take(&mut self, tick: Tick, _driven: Duty) -> Sample {
        let InStep { current, position, supply, rail } = self.converters.in_step();
        let Beside { boost, barometer, .. } = self.converters.beside();
        let scales = &self.scales;
        Sample {
            tick,
            position: scales.position.read(position, rail),
            motor_current: scales.current.read(current),
            supply: scales.supply.read(supply),
            temperature: None,
            boost: scales.pressure(boost),
            barometer: scales.pressure(barometer),
            exhaust: None,
            turbo_speed: None,
            conversions: self.converters.counted(),
            bridge: fault_line(),
        }
    }
}
