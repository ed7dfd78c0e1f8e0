//! Samples on their way out. In: a point per tick. Out: batches in the port's queue, or a counted gap
//! where the line had no room: never silence.

use super::port::Port;
use crate::link::batch::{Around, BatchBuilder, NoRoom};
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
    builder: BatchBuilder,
    missed: Option<Missed>,
}

impl Stream {
    pub(super) fn new() -> Self {
        Self { streaming: Streaming::Off, builder: BatchBuilder::default(), missed: None }
    }

    /// As new.
    #[inline]
    pub(super) fn reset(&mut self) {
        self.streaming = Streaming::Off;
        self.builder.clear();
        self.missed = None;
    }

    /// The batches that wait.
    pub(super) fn batches(&mut self) -> &mut BatchBuilder {
        &mut self.builder
    }

    pub(super) fn is_on(&self) -> bool {
        self.streaming == Streaming::On
    }

    /// Turns batches on or off; what is in the making goes out first.
    #[inline]
    pub(super) fn set(&mut self, streaming: Streaming, port: &mut Port) {
        self.flush(port);
        self.streaming = streaming;
    }

    pub(super) fn record(&mut self, tick: Tick, around: &Around, point: Point, port: &mut Port) {
        if !self.is_on() {
            return;
        }
        if !self.builder.accepts(tick, around.state) {
            self.flush(port);
        }
        if self.builder.push(tick, around, point).is_err() {
            if self.builder.open().1 > 0 {
                self.flush(port);
            }
            self.miss(tick, 1);
        } else if self.builder.is_full() {
            self.flush(port);
        }
    }

    /// Sends what is in the making, after the gap that came before it.
    pub(super) fn flush(&mut self, port: &mut Port) {
        if let Some(Missed { first, ticks }) = self.missed
            && port.try_note(Note::Gap { first, ticks }).is_ok()
        {
            self.missed = None;
        }
        let (first, ticks) = self.builder.open();
        if ticks > 0 && (self.missed.is_some() || self.close(port).is_err()) {
            self.builder.discard();
            self.miss(first, ticks);
        }
    }

    fn close(&mut self, port: &mut Port) -> Result<(), NoRoom> {
        if self.builder.has_room() {
            port.mark_batch().map_err(|_| NoRoom)?;
        }
        self.builder.close()
    }

    fn miss(&mut self, first: Tick, ticks: u32) {
        let missed = self.missed.get_or_insert(Missed { first, ticks: 0 });
        missed.ticks = missed.ticks.saturating_add(ticks);
    }
}
