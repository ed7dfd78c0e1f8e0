//! Why a run ended before its end.

use std::path::PathBuf;

use super::contradiction::Contradiction;
use super::ended::UnitEnd;
use super::passed_limit::PassedLimit;
use crate::exit::{Exit, Failure};
use crate::judge::FaultOf;
use crate::record::{LIMIT_PASSED, RecordError, RunRefusal, RunStatus};
use crate::rig::{Measurand, RigError};
use firmware_core::link::state::ReleaseReason;

/// What cut a run short.
#[derive(Debug, thiserror::Error)]
pub enum RunStop {
    /// The rig, or the line to it.
    #[error(transparent)]
    Rig(RigError),
    /// The rig cannot show what this needs.
    #[error(
        "{what} needs {measurand}, and this rig does not measure it: {why}. Nothing moved. Use a rig that measures it"
    )]
    NotMeasured {
        /// What was asked for.
        what: &'static str,
        /// What it needs to see.
        measurand: Measurand,
        /// Why the rig cannot show it, in words.
        why: String,
    },
    /// The disk.
    #[error(transparent)]
    Record(#[from] RecordError),
    /// Something speaks against profile or history.
    #[error("STOPPED IN DOUBT: {0}. {advice}", advice = .0.advice().trim_end_matches('.'))]
    Doubted(#[from] Contradiction),
    /// The user.
    #[error("stopped by the user; the drive was released")]
    Interrupted,
    /// The board let go of the drive.
    #[error("the board released the drive ({reason}). Remove the cause, then run again")]
    Released {
        /// Its reason, in words.
        reason: &'static str,
    },
    /// The motion could not go on.
    #[error("{0}")]
    EndedByUnit(UnitEnd),
    /// An endurance came to a limit.
    #[error("{0}")]
    PastLimit(PassedLimit),
    /// Whatever it was, what was recorded until then is kept.
    #[error("{stop}. The record, marked {}: {}", .stop.mark(), .dir.display())]
    Kept {
        /// What cut the run short.
        stop: Box<RunStop>,
        /// The run's folder.
        dir: PathBuf,
    },
    /// A person did not let the unit move again.
    #[error("{0}")]
    NotResumed(Failure),
    /// The procedure did not come to its end in the time that it takes.
    #[error("{what} did not end within {limit_ms} ms of rig time. The record shows what it was doing")]
    Overdue {
        /// What was going on.
        what: &'static str,
        /// Time allowed, ms.
        limit_ms: u32,
    },
}

impl RunStop {
    /// How a run that ended so stands in its record.
    #[must_use]
    pub fn status(&self) -> RunStatus {
        match self {
            Self::EndedByUnit(end) => end.status(),
            Self::Kept { stop, .. } => stop.status(),
            Self::Rig(_)
            | Self::NotMeasured { .. }
            | Self::Record(_)
            | Self::Doubted(_)
            | Self::Interrupted
            | Self::Released { .. }
            | Self::PastLimit(_)
            | Self::NotResumed(_)
            | Self::Overdue { .. } => RunStatus::Incomplete { reason: self.to_string() },
        }
    }

    fn mark(&self) -> &'static str {
        match self.status() {
            RunStatus::Complete => "complete",
            RunStatus::EndedByUnit { .. } => "ended by the unit",
            RunStatus::Incomplete { .. } => "incomplete",
        }
    }

    /// The end that the unit put to it, where it did.
    #[must_use]
    pub fn unit_end(&self) -> Option<&UnitEnd> {
        match self {
            Self::EndedByUnit(end) => Some(end),
            Self::Kept { stop, .. } => stop.unit_end(),
            Self::Rig(_)
            | Self::NotMeasured { .. }
            | Self::Record(_)
            | Self::Doubted(_)
            | Self::Interrupted
            | Self::Released { .. }
            | Self::PastLimit(_)
            | Self::NotResumed(_)
            | Self::Overdue { .. } => None,
        }
    }

    /// What the record says of the unit for it: where the unit ended the run, or an endurance came to a limit.
    #[must_use]
    pub(super) fn refusal(&self) -> Option<RunRefusal> {
        match self {
            Self::PastLimit(passed) => Some(passed.refusal()),
            Self::Kept { stop, .. } => stop.refusal(),
            Self::EndedByUnit(end) => Some(end.refusal()),
            Self::Rig(_)
            | Self::NotMeasured { .. }
            | Self::Record(_)
            | Self::Doubted(_)
            | Self::Interrupted
            | Self::Released { .. }
            | Self::NotResumed(_)
            | Self::Overdue { .. } => None,
        }
    }

    fn is_past_limit(&self) -> bool {
        self.refusal().is_some_and(|refusal| refusal.reason == LIMIT_PASSED)
    }

    fn is_interrupt(&self) -> bool {
        match self {
            Self::Interrupted => true,
            Self::Kept { stop, .. } => stop.is_interrupt(),
            Self::NotResumed(failure) => failure.exit == Exit::Interrupted,
            Self::Rig(_)
            | Self::NotMeasured { .. }
            | Self::Record(_)
            | Self::Doubted(_)
            | Self::Released { .. }
            | Self::EndedByUnit(_)
            | Self::PastLimit(_)
            | Self::Overdue { .. } => false,
        }
    }

    /// A release that no procedure asked for.
    #[must_use]
    pub fn released(reason: ReleaseReason) -> Self {
        Self::Released {
            reason: match reason {
                ReleaseReason::HostSilent => {
                    "it heard nothing from this tool for too long: the line is slow or stalls, or this computer is busy"
                }
                ReleaseReason::NewHost => "another host said hello to it",
                ReleaseReason::Stopped => "it was told to stop",
                ReleaseReason::NotStarted => "it has restarted",
                ReleaseReason::MotionEnded
                | ReleaseReason::LearnEnded
                | ReleaseReason::ProbeMoved
                | ReleaseReason::ProbeReached
                | ReleaseReason::ProbeHeld
                | ReleaseReason::ProbeTimeSpent => "it ended early",
                ReleaseReason::OverCurrent => "the motor drew more current than allowed",
                ReleaseReason::Obstructed => "something holds the lever",
                ReleaseReason::NoMotion => "the lever did not move",
                ReleaseReason::HeatLimit => "the winding reached its heat limit",
                ReleaseReason::SupplyRange => "the supply left its range",
                ReleaseReason::SensorFault => "a sensor's reading could not be believed",
                ReleaseReason::TickFault => "its clock jumped",
                ReleaseReason::NotStored => {
                    "it could not save what it must keep: switch it off and on, then start again; if that \
                     does not help, its memory is worn, so replace the board"
                }
                ReleaseReason::MemoryChanged => "its memory has changed by itself",
                ReleaseReason::BridgeFault => {
                    "its bridge reports a fault: look for a short in motor and leads, heat, a supply that dips at the bridge"
                }
                ReleaseReason::ConverterFrozen => {
                    "its converter has stopped, so its readings are old: switch its supply off and on; if it comes \
                     back, replace the board"
                }
            },
        }
    }
}

impl From<RigError> for RunStop {
    fn from(error: RigError) -> Self {
        match error {
            RigError::Interrupted => Self::Interrupted,
            RigError::Refused(_) | RigError::Lost(_) => Self::Rig(error),
        }
    }
}

impl From<RunStop> for Failure {
    fn from(stop: RunStop) -> Self {
        if let RunStop::NotResumed(failure) = stop {
            return failure;
        }
        let message = stop.to_string();
        let exit = match stop.unit_end().map(UnitEnd::fault_of) {
            Some(FaultOf::Unit) => Exit::OutOfLimits,
            Some(FaultOf::Rig) => Exit::Undetermined,
            None if stop.is_past_limit() => Exit::OutOfLimits,
            None if stop.is_interrupt() => Exit::Interrupted,
            None => Exit::Undetermined,
        };
        Self { exit, message }
    }
}
