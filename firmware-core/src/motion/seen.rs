//! What a motion's tick came to, and why a motion can end.

use serde::{Deserialize, Serialize};

use crate::faults::{FaultSet, LimitSet};
use crate::units::{Counts, Duty, Opening, Volt};

/// Why a motion ended before its profile did.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Ending {
    /// The lever came no nearer to where it was wanted, with all the push that there is.
    Obstructed,
    /// An open-loop ramp was spent, or no current flowed, and the lever had not moved.
    NoMotion,
    /// The winding could not take what the motion asked for.
    HeatLimit,
    /// The supply left its range.
    SupplyRange,
    /// The position reading left its range, jumped or stood still.
    SensorFault,
}

/// What a tick of a motion came to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Seen {
    /// Raw position reading.
    pub position: Counts,
    /// Supply.
    pub supply: Volt,
    /// Duty that was put on the motor.
    pub duty: Duty,
    /// Opening that the position loop follows, where it runs.
    pub target: Option<Opening>,
    /// Measured opening, where position and calibration are known.
    pub opening: Option<Opening>,
    /// Faults present.
    pub faults: FaultSet,
    /// Limits that acted.
    pub limits: LimitSet,
}

/// How long something has been so, less how long it has not.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Lasting(pub(super) u16);

impl Lasting {
    /// True once it has been so for `ticks`.
    pub(super) fn tick(&mut self, is_so: bool, ticks: u16) -> bool {
        self.0 = if is_so { self.0.saturating_add(1) } else { self.0.saturating_sub(1) };
        self.0 >= ticks
    }
}
