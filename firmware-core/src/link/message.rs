//! The vocabulary of the link: what the host asks, what the board says, and why it refuses.
//!
//! Every host message gets exactly one [`ToHost::Reply`]; data that was asked for comes just before it.

use heapless::Vec;
use serde::{Deserialize, Serialize};

use super::batch::Batch;
pub use super::codec::Message;
use super::refusal::Outcome;
use super::state::{MotionEvent, ReleaseReason, Status, StreamState, Streaming, Welcome};
use super::talk::End;
use crate::calibration::{Setup, Warmth};
use crate::held::{Held, OriginTag};
use crate::learn::{LearnEvent, LearnOrder};
use crate::motion::{Footing, Segment};
use crate::probe::ProbeSegment;
use crate::sample::EngineDemand;
use crate::settings::{SettingsHash, SettingsSection};
use crate::store::StoreResult;
use crate::units::{Counts, Tick};

/// Most segments in one message.
pub const SEGMENTS_PER_MESSAGE: usize = 16;

/// What the host says.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum ToBoard {
    /// Opens the talk whose number its frame carries: the board answers with [`ToHost::Welcome`], disarms,
    /// releases the drive and starts its counters anew.
    Hello,
    /// Nothing but a sign of life; like every message of this talk that is not stale it extends the drive lease.
    KeepAlive,
    /// Stepped rigs: ticks before this one may run.
    Grant {
        /// First tick that may not run.
        until: Tick,
    },
    /// The host vouches that hands are clear: the drive may be used until the lease runs out.
    Arm {
        /// Settings that the host has handed over: refused when the board has others.
        settings: SettingsHash,
    },
    /// Releases the drive and ends what was running, whatever the talk and sequence number of its frame.
    Stop,
    /// Leaves the over-boost latch.
    ClearLatch,
    /// Turns sample batches on or off.
    Stream(Streaming),
    /// Takes one section of the settings into use, or refuses it as a whole.
    Settings(SettingsSection),
    /// Puts a calibration into use, with its standing and origin.
    SetCalibration(Held),
    /// Asks for the calibration in use; refused when it is another setup's.
    GetCalibration {
        /// Setup that it must have been learned in.
        setup: Setup,
    },
    /// Stores the calibration in use so that it survives power-off; [`ToHost::Stored`] says how that ended.
    Store,
    /// Removes all motion segments.
    MotionClear,
    /// Adds motion segments at the end: all of them, or none.
    MotionAppend(Vec<Segment, SEGMENTS_PER_MESSAGE>),
    /// Runs the motion profile.
    StartMotion {
        /// First tick of the motion.
        start_at: Tick,
        /// How the actuator is mounted now; openings need a calibration learned that way.
        setup: Setup,
        /// Cold or hot; likewise.
        warmth: Warmth,
        /// On what footing it may run.
        footing: Footing,
    },
    /// Hands the vanes to the engine controller with this demand; sent again to change the demand.
    Engine(EngineDemand),
    /// Asks for [`ToHost::Status`].
    GetStatus,
    /// Learns the end stops.
    StartLearn {
        /// First tick of the learn.
        start_at: Tick,
        /// What to learn, and what a person has confirmed.
        order: LearnOrder,
        /// The host's mark of unit and run, kept with the calibration.
        tag: OriginTag,
    },
    /// Asks for the outcome of the last learn again, as a [`ToHost::Learn`].
    GetLearnOutcome,
    /// Runs one segment of a probe: of an actuator whose settings say no more than supply and continuous current. A board
    /// that cannot answers [`Refusal::UnknownKind`](super::Refusal::UnknownKind).
    StartProbe {
        /// First tick of the segment.
        start_at: Tick,
        /// What to do.
        segment: ProbeSegment,
    },
}

impl ToBoard {
    /// True for messages that may be carried out twice: when their reply was lost, what they ask for comes
    /// again. All others are carried out once, and only their reply is repeated.
    #[must_use]
    pub fn may_be_repeated(&self) -> bool {
        matches!(
            self,
            Self::Hello
                | Self::KeepAlive
                | Self::Grant { .. }
                | Self::GetCalibration { .. }
                | Self::GetStatus
                | Self::GetLearnOutcome
        )
    }
}

impl Message for ToBoard {
    const KINDS: u8 = 19;
    const SENDER: End = End::Host;
}

/// What the board says.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum ToHost {
    /// Answer to the hello.
    Welcome(Welcome),
    /// Answer to every host message.
    Reply {
        /// Sequence number of the message.
        to: u16,
        /// Done, or why not.
        outcome: Outcome,
    },
    /// Samples of consecutive ticks.
    Samples(Batch),
    /// Samples that the line had no room for.
    Gap {
        /// First tick without a sample.
        first: Tick,
        /// Number of ticks without a sample.
        ticks: u32,
    },
    /// State has changed while samples are not streamed.
    State {
        /// Tick of the change.
        tick: Tick,
        /// The new state.
        state: StreamState,
    },
    /// A stepped rig has used up its grant.
    Waiting {
        /// Next tick to run, once granted.
        next: Tick,
    },
    /// A motion profile reached a segment or its end.
    Motion {
        /// Tick in which the segment began.
        tick: Tick,
        /// What was reached.
        event: MotionEvent,
    },
    /// The drive was let go.
    Released {
        /// Tick of the release.
        tick: Tick,
        /// Why.
        reason: ReleaseReason,
        /// Raw position in the last tick before it.
        position: Counts,
    },
    /// The calibration in use, with its standing and origin.
    Calibration(Held),
    /// Answer to [`ToBoard::GetStatus`].
    Status(Status),
    /// A phase, a touch or the outcome of a learn.
    Learn {
        /// Number of the event in its learn, from 0; the outcome asked for again keeps its own.
        number: u16,
        /// Tick of the event.
        tick: Tick,
        /// What happened.
        event: LearnEvent,
    },
    /// A save has ended.
    Stored {
        /// Number of the save since the hello, from 0.
        number: u16,
        /// How it ended.
        result: StoreResult,
    },
}

impl Message for ToHost {
    const KINDS: u8 = 12;
    const SENDER: End = End::Board;
}
