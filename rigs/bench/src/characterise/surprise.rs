//! What ends a characterising before its end: each in words that say what was seen, what was allowed, what to try.

use firmware_core::link::state::ReleaseReason;

use crate::exit::{Exit, Failure};
use crate::procedure::RunStop;
use crate::rig::GapCause;

/// Why it stopped. The drive is off.
#[derive(Debug, thiserror::Error)]
pub enum Surprise {
    /// A reading at its end.
    #[error(
        "the position reads {seen:.0} counts: the end of the sensor's range, or not a sound reading. \
         Allowed: a sound reading inside the range. Look for a broken wire, a short or the wrong sensor \
         supply."
    )]
    SensorAtItsEnd {
        /// Reading.
        seen: f64,
    },
    /// The lever moves although nothing drives it.
    #[error(
        "the lever moved {counts:.0} counts in a second with the drive off. Allowed: a lever at rest. Wait \
         until it rests, block what moves it, look for a bridge that is on."
    )]
    MovesByItself {
        /// How far.
        counts: f64,
    },
    /// The supply is not what was said.
    #[error("the supply reads {seen:.1} V; the actuator is rated {rated:.0} V. Allowed: {:.1} to {:.1} V. Check the supply and the rated voltage on the tag.", 0.75 * rated, 1.35 * rated)]
    WrongSupply {
        /// Reading, V.
        seen: f64,
        /// As said, V.
        rated: f64,
    },
    /// Nothing moved at the largest push.
    #[error(
        "the lever did not move at {amps:.2} A either way. It should move at 2.5 times the stated \
         continuous current or less. Check motor leads and connector, free a seized ring, compare the \
         continuous current with the tag."
    )]
    NoMotion {
        /// Largest push, A.
        amps: f64,
    },
    /// The person saw nothing although counts went by.
    #[error(
        "the reading moved {counts:.0} counts, and you saw the vanes do nothing. The lever does not carry \
         the ring, or you watched the wrong vanes. Check rod, joint and pin, then start again."
    )]
    VanesDoNotFollow {
        /// How far.
        counts: f64,
    },
    /// Two answers that cannot both be true.
    #[error(
        "the two answers contradict each other: first the reading moved {first:.0} counts and the vanes \
         {one}, then it moved {second:.0} counts and the vanes {other}. No conclusion was drawn. Start \
         again and watch the same vanes both times."
    )]
    AnswersContradict {
        /// Counts of the first nudge.
        first: f64,
        /// First answer.
        one: &'static str,
        /// Counts of the second nudge.
        second: f64,
        /// Second answer.
        other: &'static str,
    },
    /// Positive volts close the vanes.
    #[error(
        "positive drive closes the vanes; this controller needs it to open them. Swap the two motor leads, then start again."
    )]
    LeadsSwapped,
    /// An end or a stroke that was not as the ones before.
    #[error("{what}. No conclusion was drawn. Free the ring, clamp the unit, then start again.")]
    NotRepeatable {
        /// What was seen, in words.
        what: String,
    },
    /// A step with a hole in its record.
    #[error(
        "{ticks} samples in a row are missing from a step: {}, then start again. Allowed: none, since every \
         value rests on whole steps.", why_missing(*cause)
    )]
    SamplesLost {
        /// How many.
        ticks: u32,
        /// Why.
        cause: GapCause,
    },
    /// A segment was ended by the board.
    #[error("the board released the drive: {0}")]
    Board(&'static str),
    /// The rig refused or was lost.
    #[error(transparent)]
    Rig(#[from] RunStop),
    /// A question had no answer.
    #[error("{0}")]
    Asked(Failure),
}

fn why_missing(cause: GapCause) -> &'static str {
    match cause {
        GapCause::LostOnLine => "they were lost or damaged on the line. Check cable, adapter and ground",
        GapCause::NoRoom => "the line was too slow for them. Try another adapter, or another port",
    }
}

impl From<Failure> for Surprise {
    fn from(failure: Failure) -> Self {
        Self::Asked(failure)
    }
}

impl Surprise {
    /// The surprise that a release stands for; none where the segment ended as one may.
    pub(super) fn of(end: ReleaseReason) -> Option<Self> {
        Some(Self::Board(match end {
            ReleaseReason::ProbeMoved
            | ReleaseReason::ProbeReached
            | ReleaseReason::ProbeHeld
            | ReleaseReason::ProbeTimeSpent => return None,
            ReleaseReason::OverCurrent => {
                "the motor drew more current than allowed even after the voltage was cut back. Look for a \
                 short in winding or cable."
            }
            ReleaseReason::HeatLimit => {
                "the winding reached the heat of its continuous current. Let it cool for a minute, then \
                 start again."
            }
            ReleaseReason::SupplyRange => {
                "the supply left its range. Check supply, leads and emergency stop."
            }
            ReleaseReason::SensorFault => {
                "position or current cannot be believed: at the end of its range, jumping or lost. Check \
                 sensor, connector and shield."
            }
            ReleaseReason::BridgeFault => {
                "its bridge reports a fault. Look for a short in motor and leads, heat, and a supply that dips at the bridge."
            }
            ReleaseReason::ConverterFrozen => {
                "its converter has stopped. Switch its supply off and on; if it comes back, replace the board."
            }
            ReleaseReason::HostSilent => "it heard nothing from this tool. Check the line, then start again.",
            ReleaseReason::NotStarted
            | ReleaseReason::Stopped
            | ReleaseReason::NewHost
            | ReleaseReason::MotionEnded
            | ReleaseReason::LearnEnded
            | ReleaseReason::Obstructed
            | ReleaseReason::NoMotion
            | ReleaseReason::TickFault
            | ReleaseReason::NotStored
            | ReleaseReason::MemoryChanged => "it was stopped or restarted. Find out why, then start again.",
        }))
    }
}

impl From<Surprise> for Failure {
    fn from(surprise: Surprise) -> Self {
        let exit = match surprise {
            Surprise::Rig(stop) => return stop.into(),
            Surprise::Asked(failure) => return failure,
            Surprise::WrongSupply { .. } | Surprise::SamplesLost { .. } | Surprise::Board(_) => {
                Exit::Undetermined
            }
            Surprise::SensorAtItsEnd { .. }
            | Surprise::MovesByItself { .. }
            | Surprise::NoMotion { .. }
            | Surprise::VanesDoNotFollow { .. }
            | Surprise::AnswersContradict { .. }
            | Surprise::LeadsSwapped
            | Surprise::NotRepeatable { .. } => Exit::OutOfLimits,
        };
        Self { exit, message: format!("stopped, drive off: {surprise}") }
    }
}
