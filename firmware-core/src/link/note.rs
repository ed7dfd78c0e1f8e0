//! What a tick has to say, as it stands in memory. In: what happened. Out: the message, once the line asks for it: a
//! tick puts nothing into words.

use super::message::ToHost;
use super::state::{MotionEvent, ReleaseReason, StreamState};
use crate::learn::LearnEvent;
use crate::store::StoreResult;
use crate::units::{Counts, Tick};

/// Something that happened in a tick.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Note {
    /// As [`ToHost::Gap`].
    Gap {
        /// First tick without a sample.
        first: Tick,
        /// Number of ticks without a sample.
        ticks: u32,
    },
    /// As [`ToHost::State`].
    State {
        /// Tick of the change.
        tick: Tick,
        /// The new state.
        state: StreamState,
    },
    /// As [`ToHost::Waiting`].
    Waiting {
        /// Next tick to run, once granted.
        next: Tick,
    },
    /// As [`ToHost::Motion`].
    Motion {
        /// Tick in which the segment began.
        tick: Tick,
        /// What was reached.
        event: MotionEvent,
    },
    /// As [`ToHost::Released`].
    Released {
        /// Tick of the release.
        tick: Tick,
        /// Why.
        reason: ReleaseReason,
        /// Raw position in the last tick before it.
        position: Counts,
    },
    /// As [`ToHost::Stored`].
    Stored {
        /// Number of the save since the hello.
        number: u16,
        /// How it ended.
        result: StoreResult,
    },
}

/// What happened in a tick of the learner: rare, and large beside any other note.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct LearnNote {
    /// Number of the event in its learn.
    pub number: u16,
    /// Tick of the event.
    pub tick: Tick,
    /// What happened.
    pub event: LearnEvent,
}

impl From<LearnNote> for ToHost {
    #[inline]
    fn from(LearnNote { number, tick, event }: LearnNote) -> Self {
        Self::Learn { number, tick, event }
    }
}

impl From<Note> for ToHost {
    #[inline]
    fn from(note: Note) -> Self {
        match note {
            Note::Gap { first, ticks } => Self::Gap { first, ticks },
            Note::State { tick, state } => Self::State { tick, state },
            Note::Waiting { next } => Self::Waiting { next },
            Note::Motion { tick, event } => Self::Motion { tick, event },
            Note::Released { tick, reason, position } => Self::Released { tick, reason, position },
            Note::Stored { number, result } => Self::Stored { number, result },
        }
    }
}
