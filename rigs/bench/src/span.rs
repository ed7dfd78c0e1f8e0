//! A stretch of a record, in ticks.

use firmware_core::units::Tick;

/// Consecutive ticks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Span {
    /// First tick.
    pub first: Tick,
    /// Last tick.
    pub last: Tick,
}

impl Span {
    /// Ticks in it.
    #[must_use]
    pub fn ticks(self) -> u32 {
        self.last.since(self.first).saturating_add(1)
    }

    /// True when they share a tick.
    #[must_use]
    pub fn meets(self, other: Self) -> bool {
        self.holds(other.first) || other.holds(self.first)
    }

    fn holds(self, tick: Tick) -> bool {
        tick.since(self.first) < self.ticks()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spans_meet_where_they_share_a_tick_across_the_wrap() {
        let span = |first, last| Span { first: Tick(first), last: Tick(last) };
        let across = span(u32::MAX, 1);
        assert!(across.meets(span(0, 0)) && across.meets(span(u32::MAX - 5, u32::MAX)));
        assert!(!across.meets(span(2, 9)) && !across.meets(span(5, u32::MAX - 1)));
        assert_eq!(across.ticks(), 3);
    }
}
