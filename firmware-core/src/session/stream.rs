//! Samples on their way out. In: a point per tick. Out: batches, or a counted gap where the line had no room: never
//! silence.

use super::exchange::{NoRoom, Outbox};
use crate::link::batch::{Around, BatchHead};
use crate::link::note::Note;
use crate::link::point::Point;
use crate::link::state::Streaming;
use crate::units::Tick;

/// Ticks that were not sent.
#[derive(Debug, Clone, Copy)]
struct Missed {
    first: Tick,
    ticks: u32,
}

/// The batch in the making and the gap to be told.
#[derive(Debug)]
pub(super) struct Stream {
    streaming: Streaming,
    open: BatchHead,
    missed: Option<Missed>,
}

impl Stream {
    pub(super) fn new() -> Self {
        Self { streaming: Streaming::Off, open: BatchHead::default(), missed: None }
    }

    /// As new. What is in the making goes out first, so that its points find their batch.
    #[inline]
    pub(super) fn reset(&mut self, outbox: &mut Outbox<'_>) {
        self.set(Streaming::Off, outbox);
        self.missed = None;
    }

    pub(super) fn is_on(&self) -> bool {
        self.streaming == Streaming::On
    }

    /// Turns batches on or off; what is in the making goes out first.
    #[inline]
    pub(super) fn set(&mut self, streaming: Streaming, outbox: &mut Outbox<'_>) {
        self.flush(outbox);
        self.streaming = streaming;
    }

    pub(super) fn record(&mut self, tick: Tick, around: &Around, point: Point, outbox: &mut Outbox<'_>) {
        if !self.is_on() {
            return;
        }
        if !self.open.accepts(tick, around.state) {
            self.flush(outbox);
        }
        if self.take(tick, around, point, outbox).is_err() {
            let missed = self.missed.get_or_insert(Missed { first: tick, ticks: 0 });
            missed.ticks = missed.ticks.saturating_add(1);
        } else if self.open.is_full() {
            self.flush(outbox);
        }
    }

    /// A gap is told before the next batch begins, and a batch begins only where it has room to be closed.
    fn take(
        &mut self,
        tick: Tick,
        around: &Around,
        point: Point,
        outbox: &mut Outbox<'_>,
    ) -> Result<(), NoRoom> {
        if !self.open.accepts(tick, around.state) {
            return Err(NoRoom);
        }
        if self.open.count() == 0 {
            outbox.check_room_for_batch()?;
            self.tell_gap(outbox)?;
        }
        outbox.push_point(point)?;
        self.open.join(tick, around);
        Ok(())
    }

    fn tell_gap(&mut self, outbox: &mut Outbox<'_>) -> Result<(), NoRoom> {
        if let Some(Missed { first, ticks }) = self.missed {
            outbox.try_tell(Note::Gap { first, ticks })?;
            self.missed = None;
        }
        Ok(())
    }

    /// Sends what is in the making, then the gap after it.
    pub(super) fn flush(&mut self, outbox: &mut Outbox<'_>) {
        if self.open.count() > 0 && outbox.close_batch(self.open).is_ok() {
            self.open.clear();
        }
        if self.open.count() == 0 {
            let _told_later = self.tell_gap(outbox);
        }
    }
}
