//! The one vocabulary in which controller, motion profile and learner move the vanes.

use serde::{Deserialize, Serialize};

use crate::units::{Ampere, Duty, Opening};

/// What the drive is told to do in one tick. All of these pass the same heat, stall and duty limits.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Command {
    /// Drive off.
    #[default]
    Release,
    /// Open loop: this duty.
    Duty(Duty),
    /// Closed loop on motor current (torque): how the learner pushes against a stop.
    Current(Ampere),
    /// Closed loop on position: needs a calibration.
    Opening(Opening),
}
