//! The lever's position sensor: counts from the lever angle.
//!
//! In: lever angle in radians. Out: whole counts, 0 … 16383 for 14 bit. Offset, gain, noise and the rest are the channel's;
//! this adds what only an angle sensor does: reading backwards and wrapping round.

use firmware_core::units::Counts;
use serde::{Deserialize, Serialize};

use super::channel::{ChannelFault, ChannelParams};
use crate::check::{BadParameter, between, not_negative};
use crate::lanes::nearest;

/// The sensor as it should be.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct PositionSensorParams {
    /// Reading at lever angle 0, counts.
    pub counts_at_zero: f64,
    /// Counts per radian of lever angle; negative where counts fall as the angle rises.
    pub counts_per_rad: f64,
    /// Standard deviation of the noise, counts.
    pub noise_counts: f64,
    /// Bits of the reading, 8 to 14: it runs from 0 to 2^bits − 1.
    pub bits: u32,
    /// How far the reading bends off its straight line, counts: a sine wave of one period over
    /// `bend_period_rad`, as a magnet off its axis makes (common practice, no source).
    pub bend_counts: f64,
    /// Lever angle over which the bend repeats, rad; 2π for a magnet on the lever's shaft.
    pub bend_period_rad: f64,
    /// Lever angle where the bend passes through 0 upward, rad.
    pub bend_zero_rad: f64,
}

impl Default for PositionSensorParams {
    fn default() -> Self {
        let travel_counts = 10_700.0;
        Self {
            counts_at_zero: 2600.0,
            counts_per_rad: travel_counts / crate::actuator::BENCH_TRAVEL_RAD,
            noise_counts: 1.5,
            bits: 14,
            bend_counts: 0.0,
            bend_period_rad: core::f64::consts::TAU,
            bend_zero_rad: 0.0,
        }
    }
}

impl PositionSensorParams {
    /// Checks every field.
    ///
    /// # Errors
    /// Names the field.
    pub fn validate(&self) -> Result<(), BadParameter> {
        between("counts_at_zero", self.counts_at_zero, -20_000.0, 40_000.0)?;
        between("counts_per_rad", self.counts_per_rad.abs(), 1.0, 1e6)?;
        not_negative("noise_counts", self.noise_counts)?;
        between("bits", f64::from(self.bits), 8.0, 14.0)?;
        between("bend_counts", self.bend_counts, -2000.0, 2000.0)?;
        between("bend_period_rad", self.bend_period_rad, 0.01, 100.0)?;
        between("bend_zero_rad", self.bend_zero_rad, -10.0, 10.0)
    }

    /// Highest reading, counts.
    #[must_use]
    pub fn highest(&self) -> f64 {
        self.readings() - 1.0
    }

    /// How many readings there are.
    fn readings(&self) -> f64 {
        f64::from(1_u32 << self.bits.min(14))
    }

    /// The sensor as any channel, in counts.
    pub(crate) fn channel(&self) -> ChannelParams {
        ChannelParams::new(self.noise_counts, -1e6, 1e6, 0.0)
    }

    /// What a sound sensor reads at a lever angle, fractions of a count included.
    #[must_use]
    pub fn counts_at(&self, lever_rad: f64) -> f64 {
        let straight = self.counts_at_zero + self.counts_per_rad * lever_rad;
        if self.bend_counts == 0.0 {
            return straight;
        }
        let turn = (lever_rad - self.bend_zero_rad) / self.bend_period_rad;
        straight + self.bend_counts * libm::sin(core::f64::consts::TAU * turn)
    }
}

/// A way for the position sensor to fail.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub enum PositionFault {
    /// As any channel, in counts.
    Channel(ChannelFault),
    /// Counts the other way.
    Reversed,
    /// Mounted so far round that the reading passes its end and starts again: shift in counts.
    WrapAround(f64),
}

/// What only an angle sensor does, around its place among the [`super::Channels`].
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct PositionSensor {
    params: PositionSensorParams,
    reversed: bool,
    wrap_shift: Option<f64>,
}

impl PositionSensor {
    pub(crate) fn new(params: PositionSensorParams) -> Self {
        Self { params, reversed: false, wrap_shift: None }
    }

    pub(crate) fn params(&self) -> &PositionSensorParams {
        &self.params
    }

    pub(crate) fn clear_faults(&mut self) {
        self.reversed = false;
        self.wrap_shift = None;
    }

    /// Adds a fault; one that any channel can have comes back.
    pub(crate) fn add_fault(&mut self, fault: PositionFault) -> Option<ChannelFault> {
        match fault {
            PositionFault::Channel(fault) => return Some(fault),
            PositionFault::Reversed => self.reversed = true,
            PositionFault::WrapAround(shift) => self.wrap_shift = Some(shift),
        }
        None
    }

    /// What there is to read at a lever angle, counts.
    #[inline]
    pub(crate) fn truth(&self, lever_rad: f64) -> f64 {
        let counts = self.params.counts_at(lever_rad);
        if self.reversed { self.params.highest() - counts } else { counts }
    }

    /// What the converter makes of a reading.
    #[inline]
    pub(crate) fn counts(&self, mut reading: f64) -> Counts {
        if let Some(shift) = self.wrap_shift {
            let range = self.params.readings();
            let turns = libm::floor((reading + shift) / range);
            reading = reading + shift - turns * range;
        }
        // `as` saturates and takes NaN to 0, which is what a dead converter reads.
        Counts(nearest(reading.clamp(0.0, self.params.highest())) as i16)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reads(params: PositionSensorParams, lever_rad: f64) -> i16 {
        let sensor = PositionSensor::new(params);
        sensor.counts(sensor.truth(lever_rad)).0
    }

    #[test]
    fn a_sensor_of_few_bits_ends_at_its_own_highest_reading() {
        let straight =
            PositionSensorParams { counts_at_zero: 0.0, counts_per_rad: 100.0, ..Default::default() };
        for (bits, highest) in [(10, 1023), (12, 4095), (14, 16_383)] {
            let params = PositionSensorParams { bits, ..straight };
            assert_eq!(reads(params, 1e3), highest);
            assert_eq!(reads(params, 1.004), 100);
        }
    }

    #[test]
    fn a_bend_is_a_sine_of_the_lever_angle() {
        // sin 30° = 1/2, sin 90° = 1, sin 180° = 0.
        let params = PositionSensorParams {
            counts_at_zero: 1000.0,
            counts_per_rad: 0.0,
            bend_counts: 40.0,
            bend_zero_rad: 0.1,
            ..Default::default()
        };
        for (degrees, counts) in [(0.0_f64, 1000), (30.0, 1020), (90.0, 1040), (180.0, 1000), (270.0, 960)] {
            assert_eq!(reads(params, 0.1 + degrees.to_radians()), counts, "{degrees}°");
        }
    }
}
