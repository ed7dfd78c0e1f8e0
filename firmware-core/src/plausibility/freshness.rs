//! Whether each group of converter channels goes on converting. In: the counts of a sample. Out: which readings are old.

use crate::sample::Conversions;

/// Ticks in a row without a conversion after which a group's readings are old. One or two that are missed are bridged;
/// the invented actuator A at full speed travels a twentieth of its way in that time.
pub const FROZEN_TICKS: u8 = 5;

/// How a group's reading stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Age {
    /// Converted within [`FROZEN_TICKS`].
    Fresh,
    /// Not any more.
    Old,
}

impl Age {
    /// A reading that may be used.
    #[inline(always)]
    pub(super) fn keep<T>(self, reading: Option<T>) -> Option<T> {
        match self {
            Self::Fresh => reading,
            Self::Old => None,
        }
    }
}

/// How the groups stand.
#[derive(Debug, Clone, Copy)]
pub(super) struct Ages {
    pub(super) position: Age,
    pub(super) current: Age,
    pub(super) supply: Age,
    pub(super) engine: Age,
}

impl Ages {
    /// True when a reading is old that a bench needs.
    #[inline(always)]
    pub(super) fn is_bench_blind(self) -> bool {
        [self.position, self.current, self.supply].contains(&Age::Old)
    }
}

/// Memory of the counts.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Freshness {
    position: Count,
    current: Count,
    supply: Count,
    engine: Count,
}

impl Freshness {
    #[inline(always)]
    pub(super) fn tick(&mut self, now: &Conversions) -> Ages {
        Ages {
            position: self.position.tick(now.position),
            current: self.current.tick(now.current),
            supply: self.supply.tick(now.supply),
            engine: self.engine.tick(now.engine),
        }
    }
}

/// One group's.
#[derive(Debug, Clone, Copy, Default)]
struct Count {
    last: u8,
    /// Ticks in a row without a conversion.
    still: u8,
}

impl Count {
    #[inline(always)]
    fn tick(&mut self, now: u8) -> Age {
        self.still = if now == self.last { self.still.saturating_add(1) } else { 0 };
        self.last = now;
        if self.still < FROZEN_TICKS { Age::Fresh } else { Age::Old }
    }
}
