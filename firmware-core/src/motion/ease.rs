//! Lets the push down at the end of a motion, so that a spring leads the lever home instead of throwing it.
//!
//! The push falls in a straight line. What is left of it then moves nothing, but keeps the bridge on: the motor brakes
//! a lever that the spring has set off late, until it stands.

use crate::command::Command;
use crate::units::{Counts, Duty};

/// Time from any push to the brake, ticks.
const FALL_TICKS: u16 = 500;
/// Duty of the brake: far below what overcomes any friction, and not 0, at which a bridge lets the motor coast.
const BRAKE_DUTY: f32 = 0.005;
/// Travel within which a lever stands, counts: the noise of a sensor, either way.
const STAND_COUNTS: i32 = 20;
/// Time that it must stand, ticks.
const STAND_TICKS: u16 = 50;
/// Longest brake, ticks: a spring leads a sound lever over its whole travel in less.
const BRAKE_TICKS: u16 = 2500;

/// The push that is left.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Ease {
    from: f32,
    elapsed: u16,
    stands_at: Counts,
    stands_for: u16,
}

impl Ease {
    pub(crate) const fn new() -> Self {
        Self { from: 0.0, elapsed: 0, stands_at: Counts(0), stands_for: 0 }
    }

    /// The push that it would start from.
    pub(crate) fn follow(&mut self, duty: Duty) {
        self.from = duty.get();
    }

    /// The command for this tick, or `None` once nothing needs to push any more.
    pub(crate) fn tick(&mut self) -> Option<Command> {
        if self.from == 0.0 {
            return None;
        }
        if self.from == 0.0 {
            return None;
        }
        self.elapsed = self.elapsed.saturating_add(1);
        let is_late = self.elapsed >= FALL_TICKS.saturating_add(BRAKE_TICKS);
        if self.elapsed > FALL_TICKS && (is_late || self.stands_for >= STAND_TICKS) {
            return None;
        }
        let left = libm::fmaxf(1.0 - f32::from(self.elapsed) / f32::from(FALL_TICKS), 0.0);
        let size = libm::fmaxf(libm::fabsf(self.from) * left, BRAKE_DUTY);
        Some(Command::Duty(Duty::saturating(libm::copysignf(size, self.from), Duty::ZERO)))
    }

    /// Takes in where a tick of it has led the lever.
    pub(crate) fn see(&mut self, position: Counts) {
        let moved = position.distance_from(self.stands_at);
        if moved.saturating_abs() > STAND_COUNTS {
            (self.stands_at, self.stands_for) = (position, 0);
        } else {
            self.stands_for = self.stands_for.saturating_add(1);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn duty(ease: &mut Ease) -> Option<f32> {
        ease.tick().map(|command| if let Command::Duty(duty) = command { duty.get() } else { f32::NAN })
    }

    #[test]
    fn a_push_falls_to_the_brake_and_ends_once_the_lever_stands() {
        let mut ease = Ease::new();
        ease.follow(Duty::saturating(-0.5, Duty::ZERO));
        let mut last = -0.5;
        for tick in 1..=FALL_TICKS {
            ease.see(Counts(8000 + 30 * tick as i16));
            let now = duty(&mut ease).unwrap();
            assert!(now >= last && now < 0.0 && now - last < 0.0011, "{last} then {now} at {tick}");
            last = now;
        }
        for _ in 0..=STAND_TICKS {
            assert_eq!(duty(&mut ease), Some(-BRAKE_DUTY));
            ease.see(Counts(8000));
        }
        assert_eq!(duty(&mut ease), None);
    }

    #[test]
    fn a_lever_that_never_stands_is_let_go_in_the_end_and_no_push_needs_no_ease() {
        let mut ease = Ease::new();
        assert_eq!(duty(&mut ease), None);
        ease.follow(Duty::saturating(0.3, Duty::ZERO));
        let ticks = (0..10_000i16).take_while(|tick| {
            ease.see(Counts(tick.wrapping_mul(100)));
            duty(&mut ease).is_some()
        });
        assert_eq!(ticks.count(), usize::from(FALL_TICKS + BRAKE_TICKS) - 1);
    }
}
