//! From touches to one stop: believed only when they agree, do not creep and yield like metal.
//!
//! In: the touches of one stop. Out: the learned stop, or why it is none.

use heapless::Vec;
use serde::{Deserialize, Serialize};

use super::plan::LearnPlan;
use super::refusal::LearnRefusal;
use super::{MAX_TOUCHES, Stop};
use crate::calibration::{Contact, LearnedStop, Setup};
use crate::units::Ampere;

/// One touch of a stop: two pushes and what they extrapolate to.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Touch {
    /// Which stop.
    pub stop: Stop,
    /// Number of the touch at this stop, from 1.
    pub number: u8,
    /// Settled reading under the larger push, counts.
    pub pressed_counts: f32,
    /// Settled reading under the smaller push, counts.
    pub released_counts: f32,
    /// Reading extrapolated to the current that running needed: no push, counts.
    pub zero_push_counts: f32,
    /// Measured current of the larger push, toward the stop.
    pub pressed_current: Ampere,
    /// Measured current of the smaller push, toward the stop.
    pub released_current: Ampere,
    /// Current that running toward the stop needed just before contact.
    pub running_current: Ampere,
    /// Speed just before contact, counts/s.
    pub impact_speed: f32,
}

impl Touch {
    /// Yield of the stop, counts/A: positive when it gives way in the direction of the push.
    #[must_use]
    pub fn compliance(&self) -> f32 {
        let rise = self.pressed_current.0 - self.released_current.0;
        libm::fabsf(self.pressed_counts - self.released_counts) / rise
    }
}

/// All touches of one stop.
#[derive(Debug, Clone, Default)]
pub(super) struct Touches(Vec<Touch, MAX_TOUCHES>);

impl Touches {
    pub(super) fn next_number(&self) -> u8 {
        u8::try_from(self.0.len()).unwrap_or(u8::MAX).saturating_add(1)
    }

    /// Takes a touch; one more than the script can make is dropped.
    pub(super) fn add(&mut self, touch: Touch) {
        let _ = self.0.push(touch);
    }

    /// Judges repeatability, creep, yield and window.
    pub(super) fn judge(&self, plan: &LearnPlan, stop: Stop) -> Result<LearnedStop, LearnRefusal> {
        let learned = self.mean(stop, plan.order.setup);
        let limits = &plan.learn.limits;
        self.no_creep(stop, limits.drift * plan.travel)?;
        let max = limits.repeat * plan.travel;
        // A range that is not a number lies in no interval and is refused too.
        if !(0.0..=max).contains(&learned.repeat_range_counts) {
            return Err(LearnRefusal::StopNotRepeatable { stop, range: learned.repeat_range_counts, max });
        }
        let window = plan.expected(stop).window;
        if !window.contains(learned.zero_push_counts) {
            let (min, max) = (window.min.as_f32(), window.max.as_f32());
            return Err(LearnRefusal::StopOutsideWindow { stop, seen: learned.zero_push_counts, min, max });
        }
        Ok(learned)
    }

    fn no_creep(&self, stop: Stop, max: f32) -> Result<(), LearnRefusal> {
        let (Some(first), Some(last)) = (self.0.first(), self.0.last()) else { return Ok(()) };
        let moved = last.zero_push_counts - first.zero_push_counts;
        let is_far = libm::fabsf(moved) > max;
        let mut steps = self.0.iter().zip(self.0.iter().skip(1));
        let is_one_way = |(earlier, later): (&Touch, &Touch)| {
            (later.zero_push_counts - earlier.zero_push_counts) * moved > 0.0
        };
        if is_far && self.0.len() > 2 && steps.all(is_one_way) {
            return Err(LearnRefusal::StopDrifting { stop, moved, max });
        }
        Ok(())
    }

    fn mean(&self, stop: Stop, setup: Setup) -> LearnedStop {
        let mut sum = (0.0, 0.0, 0.0, 0.0);
        let (mut low, mut high) = (f32::INFINITY, f32::NEG_INFINITY);
        let mut count = 0.0;
        for touch in &self.0 {
            let zero = touch.zero_push_counts;
            sum.0 += zero;
            sum.1 += touch.pressed_counts;
            sum.2 += touch.released_counts;
            sum.3 += touch.compliance();
            low = if zero < low { zero } else { low };
            high = if zero > high { zero } else { high };
            count += 1.0;
        }
        LearnedStop {
            zero_push_counts: sum.0 / count,
            pressed_counts: sum.1 / count,
            released_counts: sum.2 / count,
            compliance_counts_per_a: sum.3 / count,
            repeat_range_counts: high - low,
            contact: contact(stop, setup),
        }
    }
}

/// What is met at a stop in a setup.
fn contact(stop: Stop, setup: Setup) -> Contact {
    match (setup, stop) {
        (Setup::Free, _) => Contact::ActuatorInternal,
        (Setup::Attached | Setup::OnEngine, Stop::Closed) => Contact::MinimumFlow,
        (Setup::Attached | Setup::OnEngine, Stop::Open) => Contact::RingContact,
    }
}
