//! Whether each group of converter channels goes on converting. In: the counts of a sample. Out: which readings are old.

use crate::sample::Conversions;

/// Ticks in a row without a conversion after which a group's readings are old. One or two that are missed are bridged;
/// the invented actuator A at full speed travels a twentieth of its way in that time.
pub const FROZEN_TICKS: u8 = 5;

/// Memory of the counts.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Freshness {
    last: Conversions,
    /// Ticks in a row in which each group did not count.
    still: Conversions,
}

impl Freshness {
    /// Takes the counts of a tick; true when no reading is old.
    #[inline(always)]
    pub(super) fn is_all_fresh(&mut self, now: &Conversions) -> bool {
        let last = core::mem::replace(&mut self.last, *now);
        let have_all_counted = now.position != last.position
            && now.current != last.current
            && now.supply != last.supply
            && now.engine != last.engine;
        // What a sound converter comes to in every tick; the whole look would come to the same.
        (have_all_counted && self.still == Conversions::all(0)) || self.look(now, &last)
    }

    #[inline(never)]
    fn look(&mut self, now: &Conversions, last: &Conversions) -> bool {
        let still = self.still;
        self.still = Conversions {
            position: still_for(still.position, now.position, last.position),
            current: still_for(still.current, now.current, last.current),
            supply: still_for(still.supply, now.supply, last.supply),
            engine: still_for(still.engine, now.engine, last.engine),
        };
        !self.old().contains(&true)
    }

    /// Whether position, current, supply and the engine's sensors are old.
    pub(super) fn old(&self) -> [bool; 4] {
        let Conversions { position, current, supply, engine } = self.still;
        [position, current, supply, engine].map(|still| still >= FROZEN_TICKS)
    }
}

/// Ticks in a row without a conversion, after one more tick.
fn still_for(before: u8, now: u8, last: u8) -> u8 {
    if now == last { before.saturating_add(1) } else { 0 }
}
