//! Lets the push down at the end of a motion, so that a spring leads the lever home instead of throwing it.

use crate::command::Command;
use crate::units::Duty;

/// Time from any push to none, ticks.
pub(super) const EASE_TICKS: u16 = 500;

/// The push that is left.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Ease {
    from: f32,
    elapsed: u16,
}

impl Ease {
    pub(super) const fn new() -> Self {
        Self { from: 0.0, elapsed: 0 }
    }

    /// The push that it would start from.
    pub(super) fn follow(&mut self, duty: Duty) {
        *self = Self { from: duty.get(), elapsed: 0 };
    }

    /// The command for this tick, or `None` once nothing pushes any more.
    pub(super) fn tick(&mut self) -> Option<Command> {
        self.elapsed = self.elapsed.saturating_add(1);
        if self.from == 0.0 || self.elapsed >= EASE_TICKS {
            return None;
        }
        let left = 1.0 - f32::from(self.elapsed) / f32::from(EASE_TICKS);
        Some(Command::Duty(Duty::saturating(self.from * left, Duty::ZERO)))
    }
}
