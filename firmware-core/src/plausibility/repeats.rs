//! Watches for boost that repeats itself to the bit although vanes or load have moved: a frozen sensor.

use super::channel::Channel;
use crate::settings::PlausibilitySettings;
use crate::units::Counts;

/// What boost follows.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct BoostMovers {
    /// Position, where it is known.
    pub(super) vanes: Counts,
    /// Fuelling, fraction of full.
    pub(super) load: f32,
}

/// Memory of equal readings.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Repeats {
    last: f32,
    /// Where vanes and load stood at the first of the equal readings.
    since: BoostMovers,
    /// Equal readings in a row.
    unchanged: u16,
    /// Of these, since vanes or load moved.
    overdue: u16,
    verdict: Channel,
}

/// Change of load that must move the boost, fraction of full.
const LOAD_CHANGE: f32 = 0.1;
/// Below this load vanes hardly move the boost; it may stand still on a coarse sensor, fraction of full.
const LEAST_LOAD: f32 = 0.2;

impl Repeats {
    /// True while the reading is frozen.
    #[inline(always)]
    pub(super) fn is_frozen(
        &mut self,
        boost: f32,
        now: BoostMovers,
        settings: &PlausibilitySettings,
    ) -> bool {
        if boost == self.last {
            return self.repeat(now, settings);
        }
        (self.last, self.since, self.unchanged, self.overdue) = (boost, now, 0, 0);
        // What a sound sensor's noise comes to in most ticks.
        self.verdict.is_fault() && self.heal(settings)
    }

    #[inline(never)]
    fn repeat(&mut self, now: BoostMovers, settings: &PlausibilitySettings) -> bool {
        self.unchanged = self.unchanged.saturating_add(1);
        if now.load >= LEAST_LOAD && (self.overdue > 0 || self.since.have_moved(&now, settings)) {
            self.overdue = self.overdue.saturating_add(1);
        }
        if self.overdue >= settings.boost_frozen_ticks {
            self.verdict.condemn();
        }
        self.verdict.is_fault() && self.heal(settings)
    }

    /// A sound sensor's noise changes the reading now and then, not in every tick.
    #[inline(never)]
    fn heal(&mut self, settings: &PlausibilitySettings) -> bool {
        self.verdict.judge_slowly(self.unchanged < settings.boost_frozen_ticks, settings.heal_ticks);
        self.verdict.is_fault()
    }
}

impl BoostMovers {
    fn have_moved(&self, now: &Self, settings: &PlausibilitySettings) -> bool {
        libm::fabsf(now.vanes.as_f32() - self.vanes.as_f32()) >= settings.boost_frozen_travel_counts
            || libm::fabsf(now.load - self.load) >= LOAD_CHANGE
    }
}
