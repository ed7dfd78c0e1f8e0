//! Why a run ended before its end.

use crate::client::ClientError;
use crate::exit::{Exit, Failure};
use crate::record::{RecordError, Status};
use firmware_core::link::state::ReleaseReason;

/// What cut a run short.
#[derive(Debug, thiserror::Error)]
pub enum RunStop {
    /// The link.
    #[error(transparent)]
    Link(#[from] ClientError),
    /// The disk.
    #[error(transparent)]
    Record(#[from] RecordError),
    /// The user.
    #[error("stopped by the user")]
    Interrupted,
    /// The board let go of the drive.
    #[error(
        "the board released the drive ({reason}). Look at supply, connector and host load, then run again"
    )]
    Released {
        /// Its reason, in words.
        reason: &'static str,
    },
    /// The procedure did not come to its end in the time that it takes.
    #[error("{what} did not end within {limit_ms} ms of rig time. Look at the record for what it was doing")]
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
    pub fn status(&self) -> Status {
        Status::Incomplete { reason: self.to_string() }
    }

    /// A release that no procedure asked for.
    #[must_use]
    pub fn released(reason: ReleaseReason) -> Self {
        Self::Released {
            reason: match reason {
                ReleaseReason::HostSilent => "it heard nothing from the host for too long",
                ReleaseReason::NewHost => "another host greeted it",
                ReleaseReason::Stopped => "it was told to stop",
                ReleaseReason::NotStarted => "it has restarted",
                ReleaseReason::MotionEnded | ReleaseReason::LearnEnded => "it ended early",
            },
        }
    }
}

impl From<RunStop> for Failure {
    fn from(stop: RunStop) -> Self {
        match stop {
            RunStop::Interrupted => Self::interrupted(),
            other => Self { exit: Exit::Undetermined, message: other.to_string() },
        }
    }
}
