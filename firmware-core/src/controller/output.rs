//! What a tick decides: on the way to the drive, and at its end.

use crate::command::Command;
use crate::faults::{FaultSet, LimitSet};
use crate::guard::{FuelRequest, GuardEvent, GuardStage};
use crate::limits::Push;
use crate::units::{Duty, Opening, Tick};

/// What one tick decided.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct TickOutput {
    /// Number of the tick.
    pub tick: Tick,
    /// Duty for the drive.
    pub duty: Duty,
    /// Opening that the position loop follows, where it runs.
    pub target: Option<Opening>,
    /// Measured opening, where position and calibration are known.
    pub opening: Option<Opening>,
    /// Where the guard stands.
    pub stage: GuardStage,
    /// Change of the guard's stage in this tick, with its cause.
    pub event: Option<GuardEvent>,
    /// Faults present.
    pub faults: FaultSet,
    /// Request to the fuel system.
    pub fuel: FuelRequest,
    /// Limits that acted.
    pub limits: LimitSet,
}

/// What the stages before the drive decided.
pub(super) struct Decision {
    pub(super) command: Command,
    pub(super) push: Push,
    pub(super) fuel: FuelRequest,
    pub(super) event: Option<GuardEvent>,
    pub(super) faults: FaultSet,
    pub(super) limits: LimitSet,
}

impl Decision {
    /// A command that bypasses the guard; what its stage asks of the fuel stands.
    pub(super) fn of(command: Command, fuel: FuelRequest) -> Self {
        Self {
            command,
            push: Push::Normal,
            fuel,
            event: None,
            faults: FaultSet::NONE,
            limits: LimitSet::NONE,
        }
    }
}
