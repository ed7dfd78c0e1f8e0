//! The state machine: rest → for each leg: approach, push twice, back off, again → verdict.
//!
//! In: samples. Out: commands and events. Each stage is a type in its own file; this one only says what
//! follows what, and which refusal an ending means.

use super::approach::{Approach, Arrival, Contact, Heading, Pace};
use super::friction::FrictionMap;
use super::judge;
use super::plan::{Leg, Plan};
use super::push::{Push, PushStep};
use super::refusal::LearnRefusal;
use super::settle::{Settle, SettleTimes, Settling};
use super::speed::{SpeedError, SpeedLoop, Speedometer};
use super::stop::Touches;
use super::watch::Watch;
use super::{LearnEvent, LearnKind, LearnOrder, LearnOutcome, LearnPhase, LearnTick, Stop, Touch};
use crate::command::Command;
use crate::sample::Sample;
use crate::settings::Settings;
use crate::units::Ampere;

/// At rest: 40 ticks for currents to die down, then windows of 60; a lever that falls back on its spring
/// may take up to 3 s to lie still.
const REST: SettleTimes = SettleTimes { wait: 40, window: 60, tries: 50 };
/// Backing off is brisker than touching, by this factor.
const RETREAT_PACE: f32 = 2.0;
/// Ticks within which backing off or probing must show motion.
const MOTION_TICKS: u16 = 800;
/// Run-ups that may be repeated because the lever never ran steadily.
const MAX_RUN_UPS: u8 = 3;
/// A standing motor that takes this share of the approach current is sound: something holds the lever.
const FIRM: f32 = 0.6;

/// A short move away from a stop.
#[derive(Debug, Clone, Copy)]
struct Move {
    from: f32,
    ticks: u16,
}

#[derive(Debug, Clone)]
enum Stage {
    Rest(Settle),
    Approach(Approach),
    SmallPush {
        push: Push,
        contact: Contact,
    },
    LargePush {
        push: Push,
        contact: Contact,
        small: (f32, f32),
    },
    Retreat(Move),
    /// Pushing toward a stop after the other direction gave no motion.
    Probe {
        from: Move,
        toward: Stop,
    },
    Judge,
    Done,
}

/// What a stage asks for at the end of a tick.
enum Next {
    Stay(Command),
    Go(Stage, Command),
    Touched(Touch),
    Finish(LearnOutcome),
}

/// Learns both stops, one tick at a time.
#[derive(Debug, Clone)]
pub struct Learner {
    plan: Plan,
    stage: Stage,
    leg: usize,
    touches_in_leg: u8,
    has_moved: bool,
    run_ups: u8,
    meter: Speedometer,
    watch: Watch,
    to_closed: SpeedLoop,
    to_open: SpeedLoop,
    running: (Option<f32>, Option<f32>),
    closed: Touches,
    open: Touches,
    friction: FrictionMap,
    announced: Option<LearnPhase>,
    last: Command,
}

impl Learner {
    /// Prepares a learn. Settings are trusted to be validated.
    #[must_use]
    pub fn new(settings: &Settings, order: LearnOrder) -> Self {
        let plan = Plan::new(settings, order);
        Self {
            stage: Stage::Rest(Settle::new(REST, settings.learn.limits.rest_noise * plan.travel)),
            plan,
            leg: 0,
            touches_in_leg: 0,
            has_moved: false,
            run_ups: 0,
            meter: Speedometer::default(),
            watch: Watch::new(),
            to_closed: SpeedLoop::default(),
            to_open: SpeedLoop::default(),
            running: (None, None),
            closed: Touches::default(),
            open: Touches::default(),
            friction: FrictionMap::default(),
            announced: None,
            last: Command::Release,
        }
    }

    /// True once the outcome was given.
    #[must_use]
    pub fn is_finished(&self) -> bool {
        matches!(self.stage, Stage::Done)
    }

    /// Ends the learn because the host's drive lease ran out.
    pub fn abandon(&mut self) -> LearnTick {
        if self.is_finished() {
            released(None)
        } else {
            self.finish(LearnOutcome::Refused(LearnRefusal::HostLost))
        }
    }

    /// One tick.
    pub fn tick(&mut self, sample: &Sample) -> LearnTick {
        if self.is_finished() {
            return released(None);
        }
        let counts = sample.position.as_f32();
        let speed = self.meter.tick(counts);
        if let Err(refusal) = self.watch.tick(sample, &self.plan) {
            return self.finish(LearnOutcome::Refused(refusal));
        }
        if self.watch.is_blind() {
            return self.told(self.last);
        }
        match self.advance(sample, speed) {
            Ok(Next::Stay(command)) => self.told(command),
            Ok(Next::Go(stage, command)) => {
                self.stage = stage;
                self.told(command)
            }
            Ok(Next::Touched(touch)) => self.after_touch(touch, sample),
            Ok(Next::Finish(outcome)) => self.finish(outcome),
            Err(refusal) => self.finish(LearnOutcome::Refused(refusal)),
        }
    }

    fn advance(&mut self, sample: &Sample, speed: f32) -> Result<Next, LearnRefusal> {
        // Past the last leg only the verdict is left, and the machine is finished then.
        let Some(leg) = self.plan.leg(self.leg) else { return Ok(Next::Stay(Command::Release)) };
        let heading = self.heading(leg.stop, sample, speed);
        match self.stage.clone() {
            Stage::Rest(settle) => self.rest(settle, leg, heading, sample),
            Stage::Approach(approach) => self.approach(approach, leg, heading, sample),
            Stage::SmallPush { push, contact } => self.small_push(push, contact, leg, heading),
            Stage::LargePush { push, contact, small } => self.large_push(push, contact, small, leg, heading),
            Stage::Retreat(retreat) => self.retreat(retreat, leg, heading, sample),
            Stage::Probe { from, toward } => {
                let heading = self.heading(toward, sample, speed);
                self.probe(from, toward, heading, sample)
            }
            Stage::Judge => self.judge(leg, sample),
            Stage::Done => Ok(Next::Stay(Command::Release)),
        }
    }

    fn heading(&self, toward: Stop, sample: &Sample, speed: f32) -> Heading {
        let axis = self.plan.expected(toward).axis;
        Heading {
            progress: axis.progress(sample.position.as_f32()),
            speed: axis.progress(speed),
            current: axis.push(sample.motor_current),
        }
    }

    fn rest(
        &mut self,
        mut settle: Settle,
        leg: Leg,
        heading: Heading,
        sample: &Sample,
    ) -> Result<Next, LearnRefusal> {
        if let LearnKind::Relearn { previous } = &self.plan.order.kind
            && previous.setup != self.plan.order.setup
        {
            return Err(LearnRefusal::OtherSetup { learned: previous.setup, wanted: self.plan.order.setup });
        }
        let max = self.plan.learn.limits.rest_noise * self.plan.travel;
        match settle.tick(heading.progress, sample.motor_current.0) {
            Settling::Waiting => {
                self.stage = Stage::Rest(settle);
                Ok(Next::Stay(Command::Release))
            }
            Settling::Settled { current, .. } => {
                let (seen, limit) = (libm::fabsf(current), self.plan.learn.limits.rest_current.0);
                if seen > limit {
                    return Err(LearnRefusal::CurrentAtRest { seen, max: limit });
                }
                Ok(self.start_leg(leg, heading))
            }
            Settling::Restless { range, crept } if crept > max / 2.0 => {
                Err(LearnRefusal::MovesAtRest { range, max })
            }
            Settling::Restless { range, .. } => Err(LearnRefusal::SensorNoisy { range, max }),
        }
    }

    /// Goes for the leg's stop; from near it, backs off first so that there is a run-up.
    fn start_leg(&mut self, leg: Leg, heading: Heading) -> Next {
        self.touches_in_leg = 0;
        let expected = self.plan.expected(leg.stop);
        let stage = if heading.progress > expected.soft_from {
            Stage::Retreat(Move { from: heading.progress, ticks: 0 })
        } else {
            self.approach_from(leg.stop, heading.progress, Pace::Brisk)
        };
        Next::Go(stage, Command::Release)
    }

    fn approach_from(&self, stop: Stop, progress: f32, pace: Pace) -> Stage {
        let known = match stop {
            Stop::Closed => self.running.0,
            Stop::Open => self.running.1,
        };
        Stage::Approach(Approach::new(progress, pace, known))
    }

    fn approach(
        &mut self,
        mut approach: Approach,
        leg: Leg,
        heading: Heading,
        sample: &Sample,
    ) -> Result<Next, LearnRefusal> {
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
            Arrival::Going => {
                self.stage = Stage::Approach(approach);
                Ok(Next::Stay(axis.voltage(volts, sample.supply)))
            }
            Arrival::WrongWay { moved } => {
                Err(LearnRefusal::WrongDirection { moved, allowed: -self.plan.wrong_way })
            }
            Arrival::Missing => Err(LearnRefusal::StopMissing {
                stop: leg.stop,
                reached: sample.position.as_f32(),
                limit: axis.counts(expected.missing_after),
            }),
            Arrival::Standing { .. } if !self.has_moved => Ok(self.start_probe(leg.stop.opposite(), sample)),
            Arrival::Standing { current } => Err(self.held(current, sample)),
            Arrival::Contact(contact) if !self.has_moved && contact.at < expected.obstructed_before => {
                Ok(self.start_probe(leg.stop.opposite(), sample))
            }
            Arrival::Contact(contact) if contact.running.is_none() => self.run_up_again(contact, heading),
            Arrival::Contact(contact) => Ok(self.begin_push(contact, leg)),
        }
    }

    /// A contact before the lever ran steadily gives no running current: back off for a longer run-up.
    fn run_up_again(&mut self, contact: Contact, heading: Heading) -> Result<Next, LearnRefusal> {
        self.run_ups = self.run_ups.saturating_add(1);
        if self.run_ups > MAX_RUN_UPS {
            let (at, max) = (contact.at, self.plan.learn.limits.friction.0);
            return Err(LearnRefusal::TightTravel { at: libm::fabsf(at), friction: contact.current, max });
        }
        Ok(Next::Go(Stage::Retreat(Move { from: heading.progress, ticks: 0 }), Command::Release))
    }

    /// The lever stands without the signs of a stop: held by friction, or by a drive without strength.
    fn held(&self, current: f32, sample: &Sample) -> LearnRefusal {
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

    fn begin_push(&mut self, contact: Contact, leg: Leg) -> Next {
        let known = match leg.stop {
            Stop::Closed => &mut self.running.0,
            Stop::Open => &mut self.running.1,
        };
        *known = contact.running;
        let running = contact.running.unwrap_or(0.0);
        let resistance = self.plan.actuator.winding_resistance_ohm;
        self.drive(leg.stop).settle_at(running * resistance);
        let push = Push::new(&self.plan, contact.current, running + self.plan.learn.motion.small_push.0);
        let command = self.plan.expected(leg.stop).axis.current(contact.current);
        Next::Go(Stage::SmallPush { push, contact }, command)
    }

    fn small_push(
        &mut self,
        mut push: Push,
        contact: Contact,
        leg: Leg,
        heading: Heading,
    ) -> Result<Next, LearnRefusal> {
        let axis = self.plan.expected(leg.stop).axis;
        let (asked, step) = push.tick(heading);
        match step {
            PushStep::Going => {
                self.stage = Stage::SmallPush { push, contact };
                Ok(Next::Stay(axis.current(asked)))
            }
            PushStep::Held { progress, current, range } => {
                self.followed(&push, current, axis.counts(progress), range)?;
                let rise = self.plan.learn.motion.large_push.0 - self.plan.learn.motion.small_push.0;
                let large = Push::new(&self.plan, push.target(), push.target() + rise);
                let small = (progress, current);
                Ok(Next::Go(Stage::LargePush { push: large, contact, small }, axis.current(asked)))
            }
            PushStep::Restless { range } => Err(self.restless(leg.stop, range)),
        }
    }

    fn large_push(
        &mut self,
        mut push: Push,
        contact: Contact,
        small: (f32, f32),
        leg: Leg,
        heading: Heading,
    ) -> Result<Next, LearnRefusal> {
        let axis = self.plan.expected(leg.stop).axis;
        let (asked, step) = push.tick(heading);
        match step {
            PushStep::Going => {
                self.stage = Stage::LargePush { push, contact, small };
                Ok(Next::Stay(axis.current(asked)))
            }
            PushStep::Held { progress, current, range } => {
                self.followed(&push, current, axis.counts(progress), range)?;
                self.touch(contact, small, (progress, current), leg).map(Next::Touched)
            }
            PushStep::Restless { range } => Err(self.restless(leg.stop, range)),
        }
    }

    /// Two readings → one touch, if the contact yields like a stop and lies where one may be.
    fn touch(
        &self,
        contact: Contact,
        small: (f32, f32),
        large: (f32, f32),
        leg: Leg,
    ) -> Result<Touch, LearnRefusal> {
        let limits = &self.plan.learn.limits;
        let expected = self.plan.expected(leg.stop);
        let axis = expected.axis;
        let yielded = (large.0 - small.0) / (large.1 - small.1);
        let (min, max) = (limits.compliance_min * self.plan.travel, limits.compliance_max * self.plan.travel);
        if yielded < -min {
            let (range, max) = (libm::fabsf(large.0 - small.0), self.plan.settled_range);
            return Err(LearnRefusal::StopNotSettled { stop: leg.stop, range, max });
        }
        if yielded < min || yielded.is_nan() {
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
        if yielded > max {
            return Err(LearnRefusal::SoftStop { stop: leg.stop, yielded, max });
        }
        let Some(running) = contact.running else {
            let at = axis.counts(contact.at);
            return Err(LearnRefusal::TightTravel { at, friction: contact.current, max: limits.friction.0 });
        };
        Ok(Touch {
            stop: leg.stop,
            number: self.touches(leg.stop).next_number(),
            pressed_counts: axis.counts(large.0),
            released_counts: axis.counts(small.0),
            zero_push_counts: axis.counts(small.0 - yielded * (small.1 - running)),
            pressed_current: Ampere(large.1),
            released_current: Ampere(small.1),
            running_current: Ampere(running),
            impact_speed: contact.speed,
        })
    }

    fn after_touch(&mut self, touch: Touch, sample: &Sample) -> LearnTick {
        match touch.stop {
            Stop::Closed => self.closed.add(touch),
            Stop::Open => self.open.add(touch),
        }
        self.touches_in_leg = self.touches_in_leg.saturating_add(1);
        let progress = self.plan.expected(touch.stop).axis.progress(sample.position.as_f32());
        let leg_done = self.plan.leg(self.leg).is_none_or(|leg| self.touches_in_leg >= leg.touches);
        self.stage = if leg_done { Stage::Judge } else { Stage::Retreat(Move { from: progress, ticks: 0 }) };
        released(Some(LearnEvent::Touch(touch)))
    }

    /// A leg is done: believe its stop, then go on or give the verdict.
    fn judge(&mut self, leg: Leg, sample: &Sample) -> Result<Next, LearnRefusal> {
        self.touches(leg.stop).judge(&self.plan, leg.stop)?;
        self.leg = self.leg.saturating_add(1);
        let Some(next) = self.plan.leg(self.leg) else { return self.verdict(sample).map(Next::Finish) };
        self.touches_in_leg = 0;
        let start = self.plan.expected(next.stop).axis.progress(sample.position.as_f32());
        Ok(Next::Go(self.approach_from(next.stop, start, Pace::Brisk), Command::Release))
    }

    fn verdict(&self, sample: &Sample) -> Result<LearnOutcome, LearnRefusal> {
        self.friction.judge(&self.plan)?;
        self.friction.judge_spring(&self.plan)?;
        let closed = self.closed.judge(&self.plan, Stop::Closed)?;
        let open = self.open.judge(&self.plan, Stop::Open)?;
        judge::outcome(&self.plan, closed, open, sample)
    }

    fn retreat(
        &mut self,
        retreat: Move,
        leg: Leg,
        heading: Heading,
        sample: &Sample,
    ) -> Result<Next, LearnRefusal> {
        let backed = retreat.from - heading.progress;
        if backed > self.plan.learn.motion.retreat * self.plan.travel {
            self.has_moved = true;
            return Ok(Next::Go(
                self.approach_from(leg.stop, heading.progress, Pace::Soft),
                Command::Release,
            ));
        }
        if backed < -self.plan.wrong_way {
            return Err(LearnRefusal::WrongDirection { moved: backed, allowed: -self.plan.wrong_way });
        }
        if retreat.ticks > MOTION_TICKS {
            return Ok(self.start_probe(leg.stop, sample));
        }
        let away = leg.stop.opposite();
        let speed = RETREAT_PACE * self.plan.learn.motion.approach_speed * self.plan.travel;
        let command = self.drive_at(away, speed, -heading.speed, sample);
        self.stage = Stage::Retreat(Move { ticks: retreat.ticks.saturating_add(1), ..retreat });
        Ok(Next::Stay(command))
    }

    fn start_probe(&self, toward: Stop, sample: &Sample) -> Next {
        let from = self.plan.expected(toward).axis.progress(sample.position.as_f32());
        Next::Go(Stage::Probe { from: Move { from, ticks: 0 }, toward }, Command::Release)
    }

    /// Nothing moved one way: one try the other way tells a reversed motor, an obstruction and a dead
    /// drive apart.
    fn probe(
        &mut self,
        probe: Move,
        toward: Stop,
        heading: Heading,
        sample: &Sample,
    ) -> Result<Next, LearnRefusal> {
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
        if probe.ticks > MOTION_TICKS {
            return Err(self.no_motion(moved, heading.current));
        }
        let speed = self.plan.learn.motion.approach_speed * self.plan.travel;
        let command = self.drive_at(toward, speed, heading.speed, sample);
        self.stage = Stage::Probe { from: Move { ticks: probe.ticks.saturating_add(1), ..probe }, toward };
        Ok(Next::Stay(command))
    }

    fn drive_at(&mut self, toward: Stop, wanted: f32, seen: f32, sample: &Sample) -> Command {
        let back_emf = self.plan.actuator.back_emf_v_per_count_per_s;
        let trim_limit = self.plan.trim_limit;
        let volts = self.drive(toward).tick(SpeedError { wanted, seen, back_emf, trim_limit });
        self.plan.expected(toward).axis.voltage(volts, sample.supply)
    }

    fn no_motion(&self, moved: f32, current: f32) -> LearnRefusal {
        let (asked, needed) = (self.plan.learn.motion.approach_current.0, self.plan.motion);
        if self.watch.never_flickered() && current > asked / 2.0 {
            let min = self.plan.learn.limits.compliance_min * self.plan.travel;
            return LearnRefusal::SensorStuck { at: self.watch.low(), yielded: 0.0, min };
        }
        LearnRefusal::NoMotion { moved, needed, current, asked }
    }

    /// The push arrived in the winding. When it did not and the reading held one single count, the sensor is
    /// stuck and the lever may be moving unseen.
    fn followed(&self, push: &Push, seen: f32, at: f32, range: f32) -> Result<(), LearnRefusal> {
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

    fn restless(&self, stop: Stop, range: f32) -> LearnRefusal {
        LearnRefusal::StopNotSettled { stop, range, max: self.plan.settled_range }
    }

    fn drive(&mut self, toward: Stop) -> &mut SpeedLoop {
        match toward {
            Stop::Closed => &mut self.to_closed,
            Stop::Open => &mut self.to_open,
        }
    }

    fn touches(&self, stop: Stop) -> &Touches {
        match stop {
            Stop::Closed => &self.closed,
            Stop::Open => &self.open,
        }
    }

    fn phase(&self) -> LearnPhase {
        let stop = self.plan.leg(self.leg).map_or(Stop::Closed, |leg| leg.stop);
        match self.stage {
            Stage::Rest(_) => LearnPhase::AtRest,
            Stage::Approach(_) => LearnPhase::Approaching(stop),
            Stage::SmallPush { .. } | Stage::LargePush { .. } => LearnPhase::Pressing(stop),
            Stage::Retreat(_) => LearnPhase::Retreating(stop),
            Stage::Judge => LearnPhase::Pressing(stop),
            Stage::Probe { toward, .. } => LearnPhase::Probing(toward),
            Stage::Done => LearnPhase::Finished,
        }
    }

    /// The command, with the phase if it is a new one.
    fn told(&mut self, command: Command) -> LearnTick {
        let phase = self.phase();
        let event = if self.announced == Some(phase) { None } else { Some(LearnEvent::Phase(phase)) };
        self.announced = Some(phase);
        self.last = command;
        LearnTick { command, event }
    }

    fn finish(&mut self, outcome: LearnOutcome) -> LearnTick {
        self.stage = Stage::Done;
        released(Some(LearnEvent::Outcome(outcome)))
    }
}

fn released(event: Option<LearnEvent>) -> LearnTick {
    LearnTick { command: Command::Release, event }
}
