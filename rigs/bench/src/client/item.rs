//! What comes out of the stream, in the order in which the board sent it.

use firmware_core::faults::LimitSet;
use firmware_core::learn::LearnEvent;
use firmware_core::link::state::{MotionEvent, ReleaseReason};
use firmware_core::link::{Batch, Point, StreamState};
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

/// One thing that the board told.
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

/// Turns batches into samples and finds what is missing between them, and before the first of them.
#[derive(Debug, Default)]
pub(super) struct Reassembly {
    /// Next tick after what was heard last.
    expected: Option<Tick>,
    /// First tick that was asked for, where nothing has been heard yet.
    due: Option<Tick>,
}

impl Reassembly {
    /// Forgets where the stream stood: the next batch starts anew.
    pub(super) fn restart(&mut self) {
        *self = Self::default();
    }

    /// Ticks from this one on were asked for: what is missing of them is a gap, be it before the first batch.
    pub(super) fn due(&mut self, first: Tick) {
        self.due.get_or_insert(first);
    }

    /// The samples of a batch, after the gap before them; `None` when its parts do not fit together. Ticks that
    /// were heard before are left out.
    pub(super) fn batch(&mut self, batch: &Batch) -> Option<Vec<StreamItem>> {
        let points = batch.points().ok()?;
        let mut items = Vec::with_capacity(points.len() + 1);
        items.extend(self.lost_before(batch.first));
        let (limits, supply, temperature) = (batch.limits, batch.supply(), batch.temperature());
        let is_new = |tick: Tick| self.expected.is_none_or(|expected| tick.has_reached(expected));
        for (offset, point) in (0..).zip(points) {
            let tick = batch.first.after(offset);
            let state = batch.state;
            if is_new(tick) {
                items.push(StreamItem::Sample(StreamSample {
                    tick,
                    point,
                    state,
                    limits,
                    supply,
                    temperature,
                }));
            }
        }
        self.reach(batch.first.after(batch.ticks()));
        Some(items)
    }

    /// The gap that the board tells, after one that it does not know of.
    pub(super) fn gap(&mut self, first: Tick, ticks: u32) -> Vec<StreamItem> {
        let mut items: Vec<StreamItem> = self.lost_before(first).into_iter().collect();
        items.push(StreamItem::Gap { first, ticks, cause: GapCause::NoRoom });
        self.reach(first.after(ticks));
        items
    }

    fn reach(&mut self, next: Tick) {
        if self.expected.is_none_or(|expected| next.has_reached(expected)) {
            self.expected = Some(next);
        }
    }

    fn lost_before(&self, first: Tick) -> Option<StreamItem> {
        let expected = self.expected.or(self.due)?;
        let is_lost = expected != first && first.has_reached(expected);
        let ticks = first.since(expected);
        is_lost.then_some(StreamItem::Gap { first: expected, ticks, cause: GapCause::LostOnLine })
    }
}
