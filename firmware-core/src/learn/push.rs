//! One current-controlled push against a contact: ramp up, wait, read.
//!
//! In: the push wanted. Out: the current to ask for, then the settled reading under it. Both pushes are
//! reached from below, so friction opposes each of them the same way and drops out of their difference.

use super::approach::Ahead;
use super::plan::LearnPlan;
use super::settle::{Settle, SettleTimes, Settling};

/// Rise of the push, A per tick (20 A/s): slow against the bounce (43 Hz), quick against the learn.
const RAMP_PER_TICK: f32 = 0.02;
/// Waiting and averaging at a stop.
const TIMES: SettleTimes = SettleTimes { wait: 45, window: 24, tries: 6 };

/// How a push stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum PushStep {
    /// Not yet at rest.
    Going,
    /// Reading, measured current and spread of the reading under the push.
    Held { progress: f32, current: f32, range: f32 },
    /// The reading never came to rest: spread of the last window, mean current.
    Restless { range: f32, current: f32 },
}

/// A push under way.
#[derive(Debug, Clone, Copy)]
pub(super) struct PushUnderWay {
    asked: f32,
    target: f32,
    settle: Settle,
}

impl PushUnderWay {
    pub(super) fn new(plan: &LearnPlan, from: f32, target: f32) -> Self {
        Self { asked: from, target: plan.capped(target), settle: Settle::new(TIMES, plan.settled_range) }
    }

    /// Current asked for at the end of the ramp, A.
    pub(super) fn target(&self) -> f32 {
        self.target
    }

    /// One tick: the current to ask for and how the push stands.
    pub(super) fn tick(&mut self, heading: Ahead) -> (f32, PushStep) {
        if self.asked < self.target - RAMP_PER_TICK {
            self.asked += RAMP_PER_TICK;
            return (self.asked, PushStep::Going);
        }
        self.asked = self.target;
        let step = match self.settle.tick(heading.progress, heading.current) {
            Settling::Waiting => PushStep::Going,
            Settling::Settled { reading, current, range } => {
                PushStep::Held { progress: reading, current, range }
            }
            Settling::Restless { range, current, .. } => PushStep::Restless { range, current },
        };
        (self.asked, step)
    }
}
