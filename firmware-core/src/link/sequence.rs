//! Sees loss. In: the sequence number of each frame that arrives. Out: whether it is the next one, a
//! repeat, or how many never came. All of it is counted, nothing is guessed at.

use serde::{Deserialize, Serialize};

use super::codec::FrameError;

/// What one end has seen on the line since the hello. Counts stop at their largest value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct LinkCounters {
    /// Sound frames of this talk.
    pub frames: u32,
    /// Frames that never came, from gaps in the sequence.
    pub lost: u32,
    /// Frames that came again.
    pub repeated: u32,
    /// Frames cut short.
    pub cut: u32,
    /// Frames whose checksum does not fit, and garbage.
    pub damaged: u32,
    /// Bytes without a delimiter for longer than a frame.
    pub overlong: u32,
    /// Sound frames whose message this end does not know.
    pub not_understood: u32,
    /// Sound frames of another talk: another program uses the line.
    pub foreign: u32,
    /// Sound frames that came back to the end that sends such: the line echoes.
    pub echoed: u32,
}

impl LinkCounters {
    /// Nothing seen yet.
    pub const NONE: Self = Self {
        frames: 0,
        lost: 0,
        repeated: 0,
        cut: 0,
        damaged: 0,
        overlong: 0,
        not_understood: 0,
        foreign: 0,
        echoed: 0,
    };

    /// Counts bytes that were no frame.
    pub fn count_error(&mut self, error: FrameError) {
        let counter = match error {
            FrameError::Cut => &mut self.cut,
            FrameError::Damaged => &mut self.damaged,
            FrameError::Overlong => &mut self.overlong,
        };
        *counter = counter.saturating_add(1);
    }

    /// Counts a sound frame and what its sequence number told.
    pub fn count_arrival(&mut self, arrival: Arrival) {
        self.frames = self.frames.saturating_add(1);
        match arrival {
            Arrival::Expected => {}
            Arrival::After { lost } => self.lost = self.lost.saturating_add(u32::from(lost)),
            Arrival::Repeated => self.repeated = self.repeated.saturating_add(1),
        }
    }

    /// Counts a sound frame with a message that this end does not know.
    pub fn count_not_understood(&mut self) {
        self.not_understood = self.not_understood.saturating_add(1);
    }

    /// Counts a sound frame of another talk.
    pub fn count_foreign(&mut self) {
        self.foreign = self.foreign.saturating_add(1);
    }

    /// Counts a sound frame that came back.
    pub fn count_echoed(&mut self) {
        self.echoed = self.echoed.saturating_add(1);
    }

    /// True when nothing went wrong.
    #[must_use]
    pub fn is_clean(&self) -> bool {
        *self == Self { frames: self.frames, ..Self::NONE }
    }
}

/// How a frame fits the sequence.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Arrival {
    /// The next one, or the first at all.
    Expected,
    /// Later than the next one.
    After {
        /// Frames that never came.
        lost: u16,
    },
    /// Seen before.
    Repeated,
}

/// The last sequence number that arrived.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SequenceCheck {
    last: Option<u16>,
}

impl SequenceCheck {
    /// Nothing seen yet: the first frame is the expected one.
    #[must_use]
    pub const fn new() -> Self {
        Self { last: None }
    }

    /// Where `sequence` stands against what came before. Half the circle ahead is new, the rest is old.
    pub fn see(&mut self, sequence: u16) -> Arrival {
        let Some(last) = self.last else {
            self.last = Some(sequence);
            return Arrival::Expected;
        };
        let ahead = sequence.wrapping_sub(last);
        if ahead == 0 || ahead > u16::MAX / 2 {
            return Arrival::Repeated;
        }
        self.last = Some(sequence);
        match ahead.saturating_sub(1) {
            0 => Arrival::Expected,
            lost => Arrival::After { lost },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn count(sequence: &[u16]) -> LinkCounters {
        let (mut check, mut counters) = (SequenceCheck::new(), LinkCounters::NONE);
        for number in sequence {
            counters.count_arrival(check.see(*number));
        }
        counters
    }

    #[test]
    fn frames_in_order_are_clean_across_the_wrap() {
        assert!(count(&[65_534, 65_535, 0, 1]).is_clean());
    }

    #[test]
    fn lost_and_repeated_frames_are_counted() {
        let counters = count(&[10, 11, 15, 15, 12, 16]);
        assert_eq!((counters.frames, counters.lost, counters.repeated), (6, 3, 2));
        assert!(!counters.is_clean());
    }
}
