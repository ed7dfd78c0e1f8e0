//! Where a lever stands that may have met its stop: on new ground, or where it has just been.
//!
//! In: the plan, and the current that running needed. Out: for how long, and with how much current, it must be pushed
//! there before something is said to hold it.

use super::plan::LearnPlan;
use crate::units::larger;

/// Current must have risen by this share of the small push above running.
const RISEN: f32 = 0.6;
/// Or have reached this share of the effort limit (no running current is known).
const FULL_EFFORT: f32 = 0.6;
/// Where the lever has been, it must be pushed longer by this factor before something new is said to hold it.
const SURELY_HELD: u16 = 10;

/// Where the lever stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum ContactPlace {
    /// It has just been further on, before it swung back or was backed off, or it has not left its place: friction may
    /// hold it.
    Been,
    /// A stop may be here.
    New,
}

impl ContactPlace {
    /// Ticks that pushing current must last.
    pub(super) fn contact_ticks(self, plan: &LearnPlan) -> u16 {
        match self {
            Self::Been => plan.contact_ticks.saturating_mul(SURELY_HELD),
            Self::New => plan.contact_ticks,
        }
    }

    /// Current from which the drive pushes against something.
    pub(super) fn pushing_current(self, plan: &LearnPlan, running: Option<f32>) -> f32 {
        let effort = FULL_EFFORT * plan.learn.motion.approach_current.0;
        match (running.map(|running| running + RISEN * plan.learn.motion.small_push.0), self) {
            (Some(risen), Self::New) => risen,
            (Some(risen), Self::Been) => larger(risen, effort),
            (None, Self::New | Self::Been) => effort,
        }
    }
}
