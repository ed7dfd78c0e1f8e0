//! What a record does not hold: ticks without samples, marked or not.
//!
//! In: rows in order. Out: [`Loss`], each hole once, and its share of the ticks that the record covers.

use firmware_core::units::Tick;

use super::{Mark, Row};
use crate::span::Span;

/// Ticks of a record without samples.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Loss {
    holes: Vec<Span>,
    samples: u64,
    learn_events: u64,
}

impl Loss {
    /// What these rows do not hold: what is marked as lost, and what is missing without a mark.
    #[must_use]
    pub fn of(rows: &[Row]) -> Self {
        let mut loss = Self::default();
        let mut expected: Option<Tick> = None;
        for row in rows {
            match row {
                Row::Sample(sample) => {
                    loss.samples += 1;
                    loss.add(expected.unwrap_or(sample.tick), sample.tick);
                    expected = Some(sample.tick.after(1));
                }
                Row::Mark(first, Mark::Gap { lost }) => {
                    let (from, end) = (expected.unwrap_or(*first), first.after(*lost));
                    loss.add(from, end);
                    expected = Some(if end.has_reached(from) { end } else { from });
                }
                // Between two strokes that are kept whole only summaries stand.
                Row::Mark(_, Mark::Stroke(_)) => expected = None,
                Row::Mark(_, Mark::LostEvents { count }) => loss.learn_events += u64::from(*count),
                Row::Mark(_, Mark::Touch { .. } | Mark::Note(_)) => {}
            }
        }
        loss
    }

    /// A hole from `first` up to `end`, unless there is none.
    fn add(&mut self, first: Tick, end: Tick) {
        if end == first || !end.has_reached(first) {
            return;
        }
        let last = first.after(end.since(first) - 1);
        match self.holes.last_mut() {
            Some(hole) if hole.last.after(1) == first => hole.last = last,
            Some(_) | None => self.holes.push(Span { first, last }),
        }
    }

    /// The holes, in order.
    #[must_use]
    pub fn holes(&self) -> &[Span] {
        &self.holes
    }

    /// Ticks without a sample.
    #[must_use]
    pub fn ticks(&self) -> u64 {
        self.holes.iter().map(|hole| u64::from(hole.ticks())).sum()
    }

    /// Their share of the ticks that the record covers.
    #[must_use]
    pub fn share(&self) -> f64 {
        let covered = self.samples + self.ticks();
        if covered == 0 { 0.0 } else { self.ticks() as f64 / covered as f64 }
    }

    /// The first hole that meets this span.
    #[must_use]
    pub fn in_span(&self, span: Span) -> Option<Span> {
        self.holes.iter().copied().find(|hole| hole.meets(span))
    }

    /// True when everything is there.
    #[must_use]
    pub fn is_none(&self) -> bool {
        self.holes.is_empty() && self.learn_events == 0
    }

    /// In words; nothing where nothing is missing.
    #[must_use]
    pub fn text(&self) -> Option<String> {
        let mut parts = Vec::new();
        if !self.holes.is_empty() {
            let (ticks, percent, holes) = (self.ticks(), 100.0 * self.share(), self.holes.len());
            parts.push(format!("{ticks} ticks without samples ({percent:.2} %) in {holes} holes"));
        }
        if self.learn_events > 0 {
            parts.push(format!("{} learn events", self.learn_events));
        }
        (!parts.is_empty()).then(|| format!("lost on the line: {}", parts.join(", ")))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::RecordedSample;
    use firmware_core::command::Command;
    use firmware_core::units::Counts;
    use proptest::prelude::*;

    fn sample(tick: u32) -> Row {
        Row::Sample(RecordedSample {
            tick: Tick(tick),
            position: Counts(0),
            opening: None,
            command: Command::Release,
            duty: 0.0,
            motor_current: None,
            supply: None,
            state: String::new(),
        })
    }

    fn gap(tick: u32, lost: u32) -> Row {
        Row::Mark(Tick(tick), Mark::Gap { lost })
    }

    fn span(first: u32, last: u32) -> Span {
        Span { first: Tick(first), last: Tick(last) }
    }

    #[test]
    fn marked_and_unmarked_holes_are_found_once_at_start_middle_and_end() {
        let rows = [gap(10, 32), sample(42), gap(43, 2), sample(45), sample(49), gap(50, 5)];
        let loss = Loss::of(&rows);
        assert_eq!(loss.holes(), [span(10, 41), span(43, 44), span(46, 48), span(50, 54)]);
        assert_eq!(loss.ticks(), 32 + 2 + 3 + 5);
        assert!((loss.share() - 42.0 / 45.0).abs() < 1e-12);
        let text = loss.text().unwrap();
        assert!(text.contains("42 ticks") && text.contains("93.33 %") && text.contains("4 holes"), "{text}");
    }

    #[test]
    fn a_whole_record_has_no_loss_across_the_wrap_of_the_tick() {
        let rows: Vec<Row> = (0..6).map(|i| sample((u32::MAX - 2).wrapping_add(i))).collect();
        assert!(Loss::of(&rows).is_none());
        assert_eq!(Loss::of(&rows).text(), None);
    }

    proptest! {
        /// Whatever was kept and marked: samples and holes together are every tick of the record, once.
        #[test]
        fn every_tick_is_a_sample_or_in_a_hole(kept in prop::collection::vec(any::<bool>(), 2..200), marked in any::<bool>()) {
            let mut rows = vec![sample(0)];
            for (tick, kept) in (1..).zip(&kept) {
                match (*kept, marked) {
                    (true, _) => rows.push(sample(tick)),
                    (false, true) => rows.push(gap(tick, 1)),
                    (false, false) => {}
                }
            }
            rows.push(sample(kept.len() as u32 + 1));
            let lost = kept.iter().filter(|kept| !**kept).count() as u64;
            prop_assert_eq!(Loss::of(&rows).ticks(), lost);
        }
    }
}
