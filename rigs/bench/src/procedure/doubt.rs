//! The end of a motion or a learn whose word was lost: samples show that nothing drives any more, and nobody
//! has said why.

use firmware_core::link::Source;
use firmware_core::units::Tick;

use crate::rig::StreamSample;

/// Ticks without the drive and without a word before the board is asked, and between two questions.
const ASK_AFTER: u32 = 200;

/// Watches the samples of one motion or learn.
#[derive(Debug)]
pub(super) struct UnsaidEnd {
    start: Tick,
    driving: Source,
    since: Option<Tick>,
}

impl UnsaidEnd {
    /// Watches what `driving` began at `start`.
    pub(super) fn new(start: Tick, driving: Source) -> Self {
        Self { start, driving, since: None }
    }

    /// True when the board is to be asked how it ended; again after as long, for an answer can be lost as well.
    pub(super) fn is_due(&mut self, sample: &StreamSample) -> bool {
        if !sample.tick.has_reached(self.start) || sample.state.source == self.driving {
            return false;
        }
        let since = *self.since.get_or_insert(sample.tick);
        let is_due = sample.tick.since(since) >= ASK_AFTER;
        if is_due {
            self.since = Some(sample.tick);
        }
        is_due
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use firmware_core::faults::LimitSet;
    use firmware_core::link::{Point, StreamState};

    fn sample(tick: u32, source: Source) -> StreamSample {
        StreamSample {
            tick: Tick(tick),
            point: Point::default(),
            state: StreamState { source, ..StreamState::default() },
            limits: LimitSet::default(),
            supply: None,
            temperature: None,
        }
    }

    #[test]
    fn the_board_is_asked_200_ms_after_the_drive_went_off_without_a_word_and_again() {
        let mut doubt = UnsaidEnd::new(Tick(100), Source::Learn);
        let asked: Vec<u32> = (0..1000)
            .filter(|tick| {
                let source = if (100..300).contains(tick) { Source::Learn } else { Source::Released };
                doubt.is_due(&sample(*tick, source))
            })
            .collect();
        assert_eq!(asked, [500, 700, 900]);
    }
}
