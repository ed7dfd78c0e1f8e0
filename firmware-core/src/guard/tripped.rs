//! Which quantities forced the vanes open, and whether they can still be seen.

use super::GuardCause;
use crate::plausibility::Air;

/// Quantities that passed their trip level.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Tripped {
    boost: bool,
    turbo_speed: bool,
    exhaust: bool,
}

impl Tripped {
    pub(super) fn by(cause: GuardCause) -> Self {
        let mut tripped = Self::default();
        tripped.insert(cause);
        tripped
    }

    pub(super) fn insert(&mut self, cause: GuardCause) {
        match cause {
            GuardCause::TurboSpeed => self.turbo_speed = true,
            GuardCause::Exhaust => self.exhaust = true,
            // Speed is estimated from boost.
            GuardCause::TurboSpeedEstimated
            | GuardCause::Boost
            | GuardCause::BoostOverTarget
            | GuardCause::BoostSaturated
            | GuardCause::Short
            | GuardCause::NoTravel
            | GuardCause::Travelled
            | GuardCause::TooLong
            | GuardCause::TooOften
            | GuardCause::Calm
            | GuardCause::Cleared => self.boost = true,
        }
    }

    /// True while each of them has a sound reading: the absence of a reading proves no calm.
    pub(super) fn is_seen(self, air: &Air) -> bool {
        (!self.boost || air.boost.is_some())
            && (!self.turbo_speed || air.turbo_speed.is_some())
            && (!self.exhaust || air.exhaust.is_some())
    }
}
