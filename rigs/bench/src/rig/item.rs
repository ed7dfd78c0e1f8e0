//! What comes out of the stream, in the order in which the rig sent it.

use firmware_core::faults::LimitSet;
use firmware_core::learn::LearnEvent;
use firmware_core::link::state::{MotionEvent, ReleaseReason};
use firmware_core::link::{Point, StreamState};
use firmware_core::store::StoreResult;
use firmware_core::units::{Celsius, Counts, Tick, Volt};

/// One tick.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StreamSample {
    /// Number of the tick.
    pub tick: Tick,
    /// Position, duty, current and target.
    pub point: Point,
    /// Who drives in which quantity, guard stage, faults.
    pub state: StreamState,
    /// Limits that acted around this tick (within its batch).
    pub limits: LimitSet,
    /// Lowest supply around this tick (within its batch).
    pub supply: Option<Volt>,
    /// Housing temperature, where it is measured.
    pub temperature: Option<Celsius>,
}

/// Why samples are missing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum GapCause {
    /// The line had no room; the board says so.
    NoRoom,
    /// Frames were lost or damaged on the line.
    LostOnLine,
}

/// One thing that the rig has to say.
#[derive(Debug, Clone, PartialEq)]
pub enum StreamItem {
    /// A tick's sample.
    Sample(StreamSample),
    /// Ticks without samples.
    Gap {
        /// First tick without a sample.
        first: Tick,
        /// Number of ticks.
        ticks: u32,
        /// Why.
        cause: GapCause,
    },
    /// State has changed while samples are not streamed.
    State {
        /// Tick of the change.
        tick: Tick,
        /// The new state.
        state: StreamState,
    },
    /// A motion profile reached a segment or its end.
    Motion {
        /// Tick of the event.
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
    /// A phase, a touch or the outcome of a learn.
    Learn {
        /// Number of the event in its learn, from 0.
        number: u16,
        /// Tick of the event.
        tick: Tick,
        /// What happened.
        event: LearnEvent,
    },
    /// Events of a learn that were lost on the line.
    LostEvents {
        /// Tick of the first event after them.
        tick: Tick,
        /// How many.
        count: u32,
    },
    /// A save has ended.
    Stored {
        /// Number of the save in this talk, from 0.
        number: u16,
        /// How it ended.
        result: StoreResult,
    },
}
