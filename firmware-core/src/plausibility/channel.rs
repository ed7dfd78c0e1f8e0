//! Debounce and healing of one reading, and the watch for a boost signal that does not move.

use super::LoopState;
use crate::settings::PlausibilitySettings;
use crate::units::{Counts, larger, smaller};

/// One reading's memory.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Channel {
    /// Last sound reading.
    held: Option<f32>,
    /// Ticks in a row that speak against the verdict that stands.
    against: u16,
    verdict: ReadingState,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) enum ReadingState {
    #[default]
    Sound,
    /// Outside the sensor's range.
    OutOfRange,
    /// Further from the last sound reading than it can have moved.
    Jumped,
}

/// What came of one reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct ReadingJudged {
    /// The reading, or the last sound one while a wrong one is debounced; `None` at fault.
    pub(super) value: Option<f32>,
    pub(super) verdict: ReadingState,
}

impl ReadingJudged {
    pub(super) fn is_fault(self) -> bool {
        self.verdict != ReadingState::Sound
    }
}

impl Channel {
    /// Judges a reading by its sensor's range alone; what is in range is finite.
    #[inline(always)]
    pub(super) fn judge_range(
        &mut self,
        reading: f32,
        in_range: bool,
        settings: &PlausibilitySettings,
    ) -> ReadingJudged {
        if in_range && self.is_calm() {
            self.take(reading)
        } else {
            self.weigh(reading, in_range, f32::MAX, settings)
        }
    }

    /// Judges a reading: `in_range` by its sensor's range, and within `step` for each tick since the
    /// last sound reading.
    #[inline(always)]
    pub(super) fn judge(
        &mut self,
        reading: f32,
        in_range: bool,
        step: f32,
        settings: &PlausibilitySettings,
    ) -> ReadingJudged {
        let lies_near = self.held.is_some_and(|held| libm::fabsf(reading - held) <= step);
        if in_range && lies_near && self.is_calm() {
            self.take(reading)
        } else {
            self.weigh(reading, in_range, step, settings)
        }
    }

    /// Nothing speaks against the sensor.
    #[inline(always)]
    pub(super) fn is_calm(&self) -> bool {
        self.verdict == ReadingState::Sound && self.against == 0
    }

    /// What a sound sensor comes to in nearly every tick; the whole judgement would come to the same.
    #[inline(always)]
    fn take(&mut self, reading: f32) -> ReadingJudged {
        self.held = Some(reading);
        ReadingJudged { value: Some(reading), verdict: ReadingState::Sound }
    }

    /// The whole judgement.
    #[inline(never)]
    fn weigh(
        &mut self,
        reading: f32,
        in_range: bool,
        step: f32,
        settings: &PlausibilitySettings,
    ) -> ReadingJudged {
        let evidence = self.evidence(reading, in_range, step);
        match (self.verdict, evidence) {
            (ReadingState::Sound, ReadingState::Sound) => self.against = 0,
            (ReadingState::Sound, wrong) => self.count(settings.debounce_ticks, wrong),
            (_, ReadingState::Sound) => self.count(settings.heal_ticks, ReadingState::Sound),
            (_, wrong) => {
                self.against = 0;
                self.verdict = wrong;
            }
        }
        if evidence == ReadingState::Sound || (in_range && self.verdict != ReadingState::Sound) {
            self.held = Some(reading);
        }
        ReadingJudged {
            value: self.held.filter(|_| self.verdict == ReadingState::Sound),
            verdict: self.verdict,
        }
    }

    /// The last sound reading, kept through a fault: for what changes slowly.
    pub(super) fn last_sound(&self) -> Option<f32> {
        self.held
    }

    fn evidence(&self, reading: f32, in_range: bool, step: f32) -> ReadingState {
        if !in_range || !reading.is_finite() {
            return ReadingState::OutOfRange;
        }
        let ticks = if self.verdict == ReadingState::Sound { f32::from(self.against) + 1.0 } else { 1.0 };
        match self.held {
            Some(held) if libm::fabsf(reading - held) > step * ticks => ReadingState::Jumped,
            _ => ReadingState::Sound,
        }
    }

    fn count(&mut self, needed: u16, verdict: ReadingState) {
        self.against = self.against.saturating_add(1);
        if self.against >= needed {
            self.against = 0;
            self.verdict = verdict;
        }
    }

    /// Judges a yes-or-no check that takes `ticks` in a row to change its verdict either way.
    pub(super) fn judge_slowly(&mut self, is_sound: bool, ticks: u16) {
        let evidence = if is_sound { ReadingState::Sound } else { ReadingState::OutOfRange };
        if evidence == self.verdict {
            self.against = 0;
        } else {
            self.count(ticks, evidence);
        }
    }

    /// At fault without further debounce.
    pub(super) fn condemn(&mut self) {
        self.verdict = ReadingState::OutOfRange;
        self.against = 0;
    }

    pub(super) fn is_fault(&self) -> bool {
        self.verdict != ReadingState::Sound
    }
}

/// Least and most of boost and load since boost last moved.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Window {
    span: Option<SpanSeen>,
    /// Ticks since load changed enough to move the boost.
    overdue: u16,
}

#[derive(Debug, Clone, Copy)]
struct SpanSeen {
    boost_low: f32,
    boost_high: f32,
    load_low: f32,
    load_high: f32,
}

impl Window {
    /// True while boost has not moved although load did, long enough ago.
    pub(super) fn is_stuck(&mut self, boost: f32, load: f32, settings: &PlausibilitySettings) -> bool {
        let span = match self.span {
            Some(span) => span.with(boost, load),
            None => SpanSeen { boost_low: boost, boost_high: boost, load_low: load, load_high: load },
        };
        if span.boost_high - span.boost_low > settings.boost_stuck_span.0 {
            *self = Self::default();
            return false;
        }
        self.span = Some(span);
        if span.load_high - span.load_low >= settings.boost_stuck_load_change {
            self.overdue = self.overdue.saturating_add(1);
        }
        self.overdue >= settings.boost_stuck_ticks
    }
}

impl SpanSeen {
    fn with(self, boost: f32, load: f32) -> Self {
        Self {
            boost_low: smaller(self.boost_low, boost),
            boost_high: larger(self.boost_high, boost),
            load_low: smaller(self.load_low, load),
            load_high: larger(self.load_high, load),
        }
    }
}

/// Watches for a position that does not change by a count although the vanes are under way.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Frozen {
    last: Option<Counts>,
    /// Ticks without any change.
    unchanged: u16,
    /// Ticks under way without any change.
    still: u16,
    verdict: Channel,
}

impl Frozen {
    pub(super) fn is_frozen(
        &mut self,
        position: Counts,
        errand: LoopState,
        settings: &PlausibilitySettings,
    ) -> bool {
        let has_changed = self.last != Some(position);
        self.last = Some(position);
        self.unchanged = if has_changed { 0 } else { self.unchanged.saturating_add(1) };
        self.still = match (has_changed, errand) {
            (true, _) | (_, LoopState::OnTarget) => 0,
            (false, LoopState::UnderWay) => self.still.saturating_add(1),
        };
        if self.still >= settings.position_frozen_ticks {
            self.verdict.condemn();
        } else {
            // A sound sensor's noise changes the reading now and then, not in every tick.
            let lives = self.unchanged < settings.position_frozen_ticks;
            self.verdict.judge_slowly(lives || !self.verdict.is_fault(), settings.heal_ticks);
        }
        self.verdict.is_fault()
    }
}
