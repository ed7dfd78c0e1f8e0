//! The stages that move the lever freely: rest, approach, backing off, probing.
//!
//! In: a stage and a tick's readings. Out: the next command or stage, or what kept the lever from its stop.

use super::{Learner, Move, Stage, StageNext};
use crate::command::Command;
use crate::learn::approach::{Ahead, Approach, ApproachEnd, ContactFound};
use crate::learn::plan::Leg;
use crate::learn::refusal::LearnRefusal;
use crate::learn::settle::{Settle, Settling};
use crate::learn::speed::SpeedError;
use crate::learn::{LearnKind, Stop};
use crate::sample::Sample;
use crate::units::Volt;

/// Backing off is brisker than touching, by this factor.
const RETREAT_PACE: f32 = 2.0;
/// Run-ups that may be repeated because the lever never ran steadily.
const MAX_RUN_UPS: u8 = 3;
/// A standing motor that takes this share of the approach current is sound: something holds the lever.
const FIRM: f32 = 0.6;

impl Learner {
    pub(super) fn rest(
        &mut self,
        mut settle: Settle,
        leg: Leg,
        heading: Ahead,
        sample: &Sample,
    ) -> Result<StageNext, LearnRefusal> {
        if let LearnKind::Relearn { previous } = &self.plan.order.kind
            && previous.setup != self.plan.order.setup
        {
            return Err(LearnRefusal::OtherSetup { learned: previous.setup, wanted: self.plan.order.setup });
        }
        let max = self.plan.learn.limits.rest_noise * self.plan.travel;
        match settle.tick(heading.progress, sample.motor_current.0) {
            Settling::Waiting => {
                self.stage = Stage::Rest(settle);
                Ok(StageNext::Stay(Command::Release))
            }
            Settling::Settled { current, .. } => {
                let (seen, limit) = (libm::fabsf(current), self.plan.learn.limits.rest_current.0);
                if seen > limit {
                    return Err(LearnRefusal::CurrentAtRest { seen, max: limit });
                }
                Ok(self.start_leg(leg, heading))
            }
            Settling::Restless { range, crept, .. } if crept > max / 2.0 => {
                Err(LearnRefusal::MovesAtRest { range, max })
            }
            Settling::Restless { range, .. } => Err(LearnRefusal::SensorNoisy { range, max }),
        }
    }

    /// Goes for the leg's stop; from near it, backs off first so that there is a run-up.
    pub(super) fn start_leg(&mut self, leg: Leg, heading: Ahead) -> StageNext {
        self.touches_in_leg = 0;
        let expected = self.plan.expected(leg.stop);
        let stage = if heading.progress > expected.soft_from {
            Stage::Retreat(Move { from: heading.progress, ticks: 0 })
        } else {
            self.brisk(leg.stop, heading.progress)
        };
        StageNext::Go(stage, Command::Release)
    }

    /// Goes for a stop from afar.
    pub(super) fn brisk(&self, stop: Stop, progress: f32) -> Stage {
        Stage::Approach(Approach::brisk(progress, self.known(stop)))
    }

    fn known(&self, stop: Stop) -> Option<f32> {
        match stop {
            Stop::Closed => self.running.0,
            Stop::Open => self.running.1,
        }
    }

    pub(super) fn approach(
        &mut self,
        mut approach: Approach,
        leg: Leg,
        heading: Ahead,
        sample: &Sample,
    ) -> Result<StageNext, LearnRefusal> {
        let expected = *self.plan.expected(leg.stop);
        let axis = expected.axis;
        let plan = self.plan;
        let (volts, arrival) = approach.tick(&plan, &expected, self.drive(leg.stop), heading);
        if self.touches_in_leg == 0 {
            self.friction.take(&self.plan, axis, sample.position.as_f32(), heading.current);
        }
        let moved = approach.moved(heading);
        self.has_moved |= moved > self.plan.motion;
        match arrival {
            ApproachEnd::Going => {
                self.stage = Stage::Approach(approach);
                Ok(StageNext::Stay(axis.voltage(volts, self.supply(sample))))
            }
            ApproachEnd::WrongWay { moved, allowed } => Err(LearnRefusal::WrongDirection { moved, allowed }),
            ApproachEnd::Missing => Err(LearnRefusal::StopMissing {
                stop: leg.stop,
                reached: sample.position.as_f32(),
                limit: axis.counts(expected.missing_after),
            }),
            ApproachEnd::Standing { .. } if !self.has_moved => {
                Ok(self.start_probe(leg.stop.opposite(), sample))
            }
            ApproachEnd::Standing { current } => Err(self.held(current, sample)),
            ApproachEnd::Contact(contact) if !self.has_moved && contact.at < expected.obstructed_before => {
                Ok(self.start_probe(leg.stop.opposite(), sample))
            }
            ApproachEnd::Contact(contact) if contact.running.is_none() => {
                self.run_up_again(contact, leg, heading)
            }
            ApproachEnd::Contact(contact) => Ok(self.begin_push(contact, leg)),
        }
    }

    /// A contact before the lever ran steadily gives no running current: back off for a longer run-up, and forget what
    /// the drive wound up against the stop, or it would throw the lever there again.
    fn run_up_again(
        &mut self,
        contact: ContactFound,
        leg: Leg,
        heading: Ahead,
    ) -> Result<StageNext, LearnRefusal> {
        self.run_ups = self.run_ups.saturating_add(1);
        if self.run_ups > MAX_RUN_UPS {
            let (at, max) = (libm::fabsf(contact.at), self.plan.learn.limits.friction.0);
            return Err(LearnRefusal::TightTravel { at, friction: contact.current, max });
        }
        self.drive(leg.stop).settle_at(0.0);
        Ok(StageNext::Go(Stage::Retreat(Move { from: heading.progress, ticks: 0 }), Command::Release))
    }

    /// The lever stands without the signs of a stop: held by friction, or by a drive without strength.
    pub(super) fn held(&self, current: f32, sample: &Sample) -> LearnRefusal {
        let limits = &self.plan.learn.limits;
        let asked = self.plan.learn.motion.approach_current.0;
        if current > FIRM * asked {
            LearnRefusal::TightTravel {
                at: sample.position.as_f32(),
                friction: current,
                max: limits.friction.0,
            }
        } else {
            LearnRefusal::CurrentNotFollowed { asked, seen: current, allowed: limits.push_error.0 }
        }
    }

    pub(super) fn retreat(
        &mut self,
        retreat: Move,
        leg: Leg,
        heading: Ahead,
        sample: &Sample,
    ) -> Result<StageNext, LearnRefusal> {
        let backed = retreat.from - heading.progress;
        let run_up = (1.0 + f32::from(self.run_ups)) * self.plan.learn.motion.retreat * self.plan.travel;
        if backed > run_up {
            self.has_moved = true;
            let soft = Approach::soft(heading.progress, backed, self.known(leg.stop));
            return Ok(StageNext::Go(Stage::Approach(soft), Command::Release));
        }
        if backed < -self.plan.wrong_way {
            return Err(LearnRefusal::WrongDirection { moved: backed, allowed: -self.plan.wrong_way });
        }
        if retreat.ticks > self.plan.stall_ticks() {
            return Ok(self.start_probe(leg.stop, sample));
        }
        let away = leg.stop.opposite();
        let speed = RETREAT_PACE * self.plan.learn.motion.approach_speed * self.plan.travel;
        let command = self.drive_at(away, speed, -heading.speed, sample);
        self.stage = Stage::Retreat(Move { ticks: retreat.ticks.saturating_add(1), ..retreat });
        Ok(StageNext::Stay(command))
    }

    pub(super) fn start_probe(&self, toward: Stop, sample: &Sample) -> StageNext {
        let from = self.plan.expected(toward).axis.progress(sample.position.as_f32());
        StageNext::Go(Stage::Probe { from: Move { from, ticks: 0 }, toward }, Command::Release)
    }

    /// Nothing moved one way: one try the other way tells a reversed motor, an obstruction and a dead
    /// drive apart.
    pub(super) fn probe(
        &mut self,
        probe: Move,
        toward: Stop,
        heading: Ahead,
        sample: &Sample,
    ) -> Result<StageNext, LearnRefusal> {
        let moved = heading.progress - probe.from;
        let axis = self.plan.expected(toward).axis;
        if moved < -self.plan.motion {
            return Err(LearnRefusal::WrongDirection { moved, allowed: -self.plan.motion });
        }
        if moved > self.plan.motion {
            let blocked = self.plan.expected(toward.opposite());
            return Err(LearnRefusal::Obstructed {
                toward: toward.opposite(),
                at: axis.counts(probe.from),
                expected: blocked.axis.counts(blocked.obstructed_before),
            });
        }
        if probe.ticks > self.plan.stall_ticks() {
            return Err(self.no_motion(moved, heading.current));
        }
        let speed = self.plan.learn.motion.approach_speed * self.plan.travel;
        let command = self.drive_at(toward, speed, heading.speed, sample);
        self.stage = Stage::Probe { from: Move { ticks: probe.ticks.saturating_add(1), ..probe }, toward };
        Ok(StageNext::Stay(command))
    }

    pub(super) fn drive_at(&mut self, toward: Stop, wanted: f32, seen: f32, sample: &Sample) -> Command {
        let back_emf = self.plan.actuator.back_emf_v_per_count_per_s;
        let (trim_gain, trim_limit) = (self.plan.trim_gain, self.plan.trim_limit);
        let error = SpeedError { wanted, seen, back_emf, trim_gain, trim_limit };
        let volts = self.drive(toward).tick(error);
        self.plan.expected(toward).axis.voltage(volts, self.supply(sample))
    }

    /// The supply to turn volts into duty with: a dip to nothing in its reading must not become full duty.
    fn supply(&self, sample: &Sample) -> Volt {
        Volt(libm::fmaxf(sample.supply.0, self.plan.learn.limits.supply_min.0))
    }

    pub(super) fn no_motion(&self, moved: f32, current: f32) -> LearnRefusal {
        let (asked, needed) = (self.plan.learn.motion.approach_current.0, self.plan.motion);
        if self.watch.never_flickered() && current > asked / 2.0 {
            let min = self.plan.learn.limits.compliance_min * self.plan.travel;
            return LearnRefusal::SensorStuck { at: self.watch.low(), yielded: 0.0, min };
        }
        LearnRefusal::NoMotion { moved, needed, current, asked }
    }
}
