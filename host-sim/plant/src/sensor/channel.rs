//! One sensor: what makes it sound, and how it fails.
//!
//! In: parameters and faults as they stand in a file. Out: what a fault does to a value. Refuses parameters out
//! of range.

use rand::{Rng, RngExt};
use serde::{Deserialize, Serialize};

use crate::check::{BadParameter, between, not_negative};

/// A sound channel.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ChannelParams {
    /// Whether the sensor is there at all.
    pub fitted: bool,
    /// Added to every reading, sensor units.
    pub offset: f64,
    /// Multiplies every reading.
    pub gain: f64,
    /// Standard deviation of the noise, sensor units.
    pub noise: f64,
    /// Lowest reading.
    pub lowest: f64,
    /// Highest reading.
    pub highest: f64,
    /// Smallest step between readings; 0 is continuous.
    pub step: f64,
}

impl ChannelParams {
    /// A fitted channel with unit gain and no offset.
    #[must_use]
    pub fn new(noise: f64, lowest: f64, highest: f64, step: f64) -> Self {
        Self { fitted: true, offset: 0.0, gain: 1.0, noise, lowest, highest, step }
    }

    /// Checks every field.
    ///
    /// # Errors
    /// Names the field.
    pub fn validate(&self) -> Result<(), BadParameter> {
        between("offset", self.offset, -1e9, 1e9)?;
        between("gain", self.gain, -1e6, 1e6)?;
        not_negative("noise", self.noise)?;
        not_negative("step", self.step)?;
        between("highest", self.highest, self.lowest, 1e9)
    }
}

/// A way for a channel to fail. Numbers are in the sensor's unit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub enum ChannelFault {
    /// Reads too high by this much.
    Offset(f64),
    /// Reads this many times the true value (about the sensor's zero).
    Gain(f64),
    /// More noise: its standard deviation.
    Noise(f64),
    /// Single wild readings.
    Glitch {
        /// How many per second, on average.
        per_s: f64,
        /// How far off, either way.
        size: f64,
    },
    /// Keeps its last reading.
    Freeze,
    /// Creeps by this much per second.
    Drift(f64),
    /// Reads this and nothing else (a broken wire; `nan` is allowed where the channel is a float).
    DropOut(f64),
}

/// What no gain, offset or noise explains, of one sensor.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Disturbance {
    glitch_per_s: f64,
    glitch_size: f64,
    is_frozen: bool,
    drift_per_s: f64,
    drift_origin: f64,
    dropped_to: Option<f64>,
}

/// A reading that does not follow the truth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Fixed {
    /// Reads this.
    At(f64),
    /// Reads what it read last.
    AtLast,
}

/// Readings per second: one each tick.
const READINGS_PER_S: f64 = 1000.0;

impl Disturbance {
    /// Adds a fault that set in at `since_s`; one of gain, offset or noise is none.
    pub(super) fn add(&mut self, fault: ChannelFault, since_s: f64) {
        match fault {
            ChannelFault::Glitch { per_s, size } => (self.glitch_per_s, self.glitch_size) = (per_s, size),
            ChannelFault::Freeze => self.is_frozen = true,
            ChannelFault::Drift(per_s) => {
                self.drift_per_s += per_s;
                self.drift_origin += per_s * since_s;
            }
            ChannelFault::DropOut(reading) => self.dropped_to = Some(reading),
            ChannelFault::Offset(_) | ChannelFault::Gain(_) | ChannelFault::Noise(_) => {}
        }
    }

    /// Where the reading stands still, if it does.
    pub(super) fn fixed(&self) -> Option<Fixed> {
        self.dropped_to.map(Fixed::At).or(self.is_frozen.then_some(Fixed::AtLast))
    }

    /// What it adds to a reading at `time_s`.
    pub(super) fn shift(&self, time_s: f64, rng: &mut impl Rng) -> f64 {
        let crept = self.drift_per_s * time_s - self.drift_origin;
        if self.glitch_per_s > 0.0 && rng.random::<f64>() < self.glitch_per_s / READINGS_PER_S {
            crept + if rng.random::<bool>() { self.glitch_size } else { -self.glitch_size }
        } else {
            crept
        }
    }
}
