//! From batches and the board's own gaps to samples, each hole marked once.

use firmware_core::link::Batch;
use firmware_core::units::Tick;

use crate::rig::{GapCause, StreamItem, StreamSample};

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

#[cfg(test)]
mod tests {
    use super::*;
    use firmware_core::faults::LimitSet;
    use firmware_core::link::batch::{Around, Packing};
    use firmware_core::link::{Point, StreamState};
    use firmware_core::units::Volt;

    fn batch(first: u32, ticks: u32) -> Batch {
        let around = Around {
            state: StreamState::default(),
            limits: LimitSet::NONE,
            supply: Volt(12.0),
            temperature: None,
        };
        let points = vec![Point::default(); ticks as usize];
        Packing::of(Tick(first), &around, &points).next().unwrap()
    }

    fn lost(items: &[StreamItem]) -> Vec<(u32, u32)> {
        let gaps = items.iter().filter_map(|item| match item {
            StreamItem::Gap { first, ticks, cause: GapCause::LostOnLine } => Some((first.0, *ticks)),
            _ => None,
        });
        gaps.collect()
    }

    #[test]
    fn batches_lost_before_the_first_one_are_a_gap() {
        let mut stream = Reassembly::default();
        stream.due(Tick(100));
        assert_eq!(lost(&stream.batch(&batch(196, 8)).unwrap()), [(100, 96)]);
        assert_eq!(lost(&stream.batch(&batch(204, 8)).unwrap()), []);
    }

    #[test]
    fn a_batch_that_came_before_the_word_when_the_stream_began_is_not_lost() {
        let mut stream = Reassembly::default();
        assert_eq!(lost(&stream.batch(&batch(90, 8)).unwrap()), []);
        stream.due(Tick(110));
        assert_eq!(lost(&stream.batch(&batch(226, 8)).unwrap()), [(98, 128)]);
        let mut early = Reassembly::default();
        early.due(Tick(95));
        assert_eq!(lost(&early.batch(&batch(90, 8)).unwrap()), []);
    }
}
