//! One direction of travel, so that every step of the learn is written once.
//!
//! In: counts and signed current. Out: `progress` toward the stop in question (counts, rising) and
//! current that pushes toward it (positive). Back: a command in the drive's own signs.

use super::Stop;
use crate::command::Command;
use crate::settings::ActuatorSettings;
use crate::units::{Ampere, Duty, Volt};

/// Signs of one direction.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Signs {
    /// The stop that this direction leads to.
    pub(super) toward: Stop,
    counts_sign: f32,
}

impl Signs {
    pub(super) fn new(toward: Stop, actuator: &ActuatorSettings) -> Self {
        Self { toward, counts_sign: toward.opening_sign() * actuator.counts_direction.sign() }
    }

    /// Counts → progress.
    pub(super) fn progress(self, counts: f32) -> f32 {
        self.counts_sign * counts
    }

    /// Progress → counts.
    pub(super) fn counts(self, progress: f32) -> f32 {
        self.counts_sign * progress
    }

    /// Signed motor current → current toward this stop.
    pub(super) fn push(self, current: Ampere) -> f32 {
        self.toward.opening_sign() * current.0
    }

    /// A push toward this stop.
    pub(super) fn current(self, push: f32) -> Command {
        Command::Current(Ampere(self.toward.opening_sign() * push))
    }

    /// A voltage toward this stop, as duty of the supply that is there.
    pub(super) fn voltage(self, volts: f32, supply: Volt) -> Command {
        Command::Duty(Duty::saturating(self.toward.opening_sign() * volts / supply.0, Duty::ZERO))
    }
}
