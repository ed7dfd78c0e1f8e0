//! The stages that push against a contact, and what two pushes make of it.
//!
//! In: a contact and a tick's readings. Out: the next push, at last a touch, or why it is no stop.

use super::{Learner, Move, Stage, StageNext};
use crate::command::Command;
use crate::learn::approach::{Ahead, ContactFound};
use crate::learn::plan::Leg;
use crate::learn::push::{PushStep, PushUnderWay};
use crate::learn::refusal::LearnRefusal;
use crate::learn::{Stop, Touch};
use crate::units::Ampere;

/// A reading that moves by so many settled ranges under a push is a lever that slides, not a stop that gives.
const LEFT: f32 = 3.0;
/// Touches that may be repeated at half the speed because the stop's yield did not show.
const MAX_HIDDEN_YIELDS: u8 = 2;

impl Learner {
    pub(super) fn begin_push(&mut self, contact: ContactFound, leg: Leg) -> StageNext {
        let known = match leg.stop {
            Stop::Closed => &mut self.running.0,
            Stop::Open => &mut self.running.1,
        };
        *known = contact.running;
        let running = contact.running.unwrap_or(0.0);
        let resistance = self.plan.actuator.winding_resistance_ohm;
        self.drive(leg.stop).settle_at(running * resistance);
        let push =
            PushUnderWay::new(&self.plan, contact.current, running + self.plan.learn.motion.small_push.0);
        let command = self.plan.expected(leg.stop).axis.current(contact.current);
        StageNext::Go(Stage::SmallPush { push, contact }, command)
    }

    pub(super) fn small_push(
        &mut self,
        mut push: PushUnderWay,
        contact: ContactFound,
        leg: Leg,
        heading: Ahead,
    ) -> Result<StageNext, LearnRefusal> {
        let axis = self.plan.expected(leg.stop).axis;
        let (asked, step) = push.tick(heading);
        match step {
            PushStep::Going => {
                self.stage = Stage::SmallPush { push, contact };
                Ok(StageNext::Stay(axis.current(asked)))
            }
            PushStep::Held { progress, current, range } => {
                self.followed(&push, current, axis.counts(progress), range)?;
                let rise = self.plan.learn.motion.large_push.0 - self.plan.learn.motion.small_push.0;
                let large = PushUnderWay::new(&self.plan, push.target(), push.target() + rise);
                let small = (progress, current);
                Ok(StageNext::Go(Stage::LargePush { push: large, contact, small }, axis.current(asked)))
            }
            PushStep::Restless { range, current } => {
                self.followed(&push, current, axis.counts(contact.at), range)?;
                Err(self.restless(leg.stop, contact, range))
            }
        }
    }

    pub(super) fn large_push(
        &mut self,
        mut push: PushUnderWay,
        contact: ContactFound,
        small: (f32, f32),
        leg: Leg,
        heading: Ahead,
    ) -> Result<StageNext, LearnRefusal> {
        let axis = self.plan.expected(leg.stop).axis;
        let (asked, step) = push.tick(heading);
        match step {
            PushStep::Going => {
                self.stage = Stage::LargePush { push, contact, small };
                Ok(StageNext::Stay(axis.current(asked)))
            }
            PushStep::Held { progress, current, range } => {
                self.followed(&push, current, axis.counts(progress), range)?;
                match self.touch(contact, small, (progress, current, range), leg)? {
                    Some(touch) => Ok(StageNext::Touched(touch)),
                    None => self.touch_gentler(contact, leg, heading),
                }
            }
            PushStep::Restless { range, current } => {
                self.followed(&push, current, axis.counts(contact.at), range)?;
                Err(self.restless(leg.stop, contact, range))
            }
        }
    }

    /// Two readings → one touch, if the contact yields like a stop and lies where one may be; nothing where no yield
    /// shows, though the sensor lives.
    pub(super) fn touch(
        &self,
        contact: ContactFound,
        small: (f32, f32),
        large: (f32, f32, f32),
        leg: Leg,
    ) -> Result<Option<Touch>, LearnRefusal> {
        let limits = &self.plan.learn.limits;
        let expected = self.plan.expected(leg.stop);
        let axis = expected.axis;
        let yielded = (large.0 - small.0) / (large.1 - small.1);
        let (min, max) = (limits.compliance_min * self.plan.travel, limits.compliance_max * self.plan.travel);
        // The lever left the place under the larger push: friction had held it there, not a stop.
        if small.0 - large.0 > LEFT * self.plan.settled_range {
            let (at, max) = (axis.counts(contact.at), limits.friction.0);
            return Err(LearnRefusal::TightTravel { at, friction: contact.current, max });
        }
        // A live reading flickers: one that held a single count under both pushes is stuck.
        if large.2 <= 0.0 && libm::fabsf(large.0 - small.0) <= 0.0 {
            return Err(LearnRefusal::SensorStuck { at: axis.counts(large.0), yielded, min });
        }
        if contact.at < expected.obstructed_before {
            let edge = axis.counts(expected.obstructed_before);
            return Err(LearnRefusal::Obstructed {
                toward: leg.stop,
                at: axis.counts(contact.at),
                expected: edge,
            });
        }
        if yielded < -min {
            let (range, max) = (libm::fabsf(large.0 - small.0), self.plan.settled_range);
            return Err(LearnRefusal::StopNotSettled { stop: leg.stop, range, max });
        }
        if yielded < min || yielded.is_nan() {
            return Ok(None);
        }
        if yielded > max {
            return Err(LearnRefusal::SoftStop { stop: leg.stop, yielded, max });
        }
        let Some(running) = contact.running else {
            let at = axis.counts(contact.at);
            return Err(LearnRefusal::TightTravel { at, friction: contact.current, max: limits.friction.0 });
        };
        Ok(Some(Touch {
            stop: leg.stop,
            number: self.touches(leg.stop).next_number(),
            pressed_counts: axis.counts(large.0),
            released_counts: axis.counts(small.0),
            zero_push_counts: axis.counts(small.0 - yielded * (small.1 - running)),
            pressed_current: Ampere(large.1),
            released_current: Ampere(small.1),
            running_current: Ampere(running),
            impact_speed: contact.speed,
        }))
    }

    /// A gear that locks itself, or friction, holds what the hit wound up, and the pushes show no yield. A gentler hit
    /// winds up less; where that does not help, friction keeps the push from the stop.
    fn touch_gentler(
        &mut self,
        contact: ContactFound,
        leg: Leg,
        heading: Ahead,
    ) -> Result<StageNext, LearnRefusal> {
        self.hidden_yields = self.hidden_yields.saturating_add(1);
        if self.hidden_yields > MAX_HIDDEN_YIELDS {
            let at = self.plan.expected(leg.stop).axis.counts(contact.at);
            let max = self.plan.learn.limits.friction.0;
            return Err(LearnRefusal::TightTravel { at, friction: contact.current, max });
        }
        self.plan.go_gentler();
        Ok(StageNext::Go(Stage::Retreat(Move { from: heading.progress, ticks: 0 }), Command::Release))
    }

    /// The push arrived in the winding. When it did not and the reading held one single count, the sensor is
    /// stuck and the lever may be moving unseen.
    pub(super) fn followed(
        &self,
        push: &PushUnderWay,
        seen: f32,
        at: f32,
        range: f32,
    ) -> Result<(), LearnRefusal> {
        let (asked, allowed) = (push.target(), self.plan.learn.limits.push_error.0);
        if libm::fabsf(asked - seen) <= allowed {
            Ok(())
        } else if range <= 0.0 {
            let min = self.plan.learn.limits.compliance_min * self.plan.travel;
            Err(LearnRefusal::SensorStuck { at, yielded: 0.0, min })
        } else {
            Err(LearnRefusal::CurrentNotFollowed { asked, seen, allowed })
        }
    }

    pub(super) fn restless(&self, stop: Stop, contact: ContactFound, range: f32) -> LearnRefusal {
        if range > LEFT * self.plan.settled_range {
            let at = self.plan.expected(stop).axis.counts(contact.at);
            let max = self.plan.learn.limits.friction.0;
            return LearnRefusal::TightTravel { at, friction: contact.current, max };
        }
        LearnRefusal::StopNotSettled { stop, range, max: self.plan.settled_range }
    }
}
