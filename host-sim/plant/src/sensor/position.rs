//! The lever's position sensor: 14-bit counts from the lever angle.
//!
//! In: lever angle in radians. Out: counts 0 … 16383. Offset, gain, noise and the rest are the channel's;
//! this adds what only an angle sensor does: reading backwards and wrapping round.

use firmware_core::units::Counts;
use serde::{Deserialize, Serialize};

use super::channel::{ChannelFault, ChannelParams};
use crate::check::{BadParameter, between, not_negative};
use crate::lanes::nearest;

/// Highest reading of a 14-bit sensor.
pub(crate) const COUNTS_MAX: f64 = 16_383.0;
const COUNTS_PER_TURN_OF_RANGE: f64 = 16_384.0;

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
}

impl Default for PositionSensorParams {
    fn default() -> Self {
        let travel_counts = 10_700.0;
        Self {
            counts_at_zero: 2600.0,
            counts_per_rad: travel_counts / crate::actuator::BENCH_TRAVEL_RAD,
            noise_counts: 1.5,
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
        not_negative("noise_counts", self.noise_counts)
    }

    /// The sensor as any channel, in counts.
    pub(crate) fn channel(&self) -> ChannelParams {
        ChannelParams::new(self.noise_counts, -1e6, 1e6, 0.0)
    }

    /// What a sound sensor reads at a lever angle, fractions of a count included.
    #[must_use]
    pub fn counts_at(&self, lever_rad: f64) -> f64 {
        self.counts_at_zero + self.counts_per_rad * lever_rad
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
        if self.reversed { COUNTS_MAX - counts } else { counts }
    }

    /// What the converter makes of a reading.
    #[inline]
    pub(crate) fn counts(&self, mut reading: f64) -> Counts {
        if let Some(shift) = self.wrap_shift {
            let turns = libm::floor((reading + shift) / COUNTS_PER_TURN_OF_RANGE);
            reading = reading + shift - turns * COUNTS_PER_TURN_OF_RANGE;
        }
        // `as` saturates and takes NaN to 0, which is what a dead converter reads.
        Counts(nearest(reading.clamp(0.0, COUNTS_MAX)) as i16)
    }
}
