//! The state machine: rest → for each leg: approach, push twice, back off, again → verdict.
//!
//! In: samples. Out: commands and events. Each stage is a type in its own file; this one only says what
//! follows what; [`reaching`] and [`pressing`] say which refusal an ending means.

mod pressing;
mod reaching;

use super::approach::{Ahead, Approach, ContactFound};
use super::friction::FrictionMap;
use super::judge;
use super::plan::{LearnPlan, Leg};
use super::push::PushUnderWay;
use super::refusal::LearnRefusal;
use super::settle::{Settle, SettleTimes};
use super::speed::{SpeedLoop, Speedometer};
use super::stop::Touches;
use super::watch::LearnWatch;
use super::{LearnEvent, LearnOrder, LearnOutcome, LearnPhase, LearnTick, Stop, Touch};
use crate::calibration::LearnedStop;
use crate::command::Command;
use crate::sample::Sample;
use crate::settings::Settings;

/// At rest: 40 ticks for currents to die down, then windows of 60; a lever that falls back on its spring
/// may take up to 3 s to lie still.
const REST: SettleTimes = SettleTimes { wait: 40, window: 60, tries: 50 };
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
        push: PushUnderWay,
        contact: ContactFound,
    },
    LargePush {
        push: PushUnderWay,
        contact: ContactFound,
        small: (f32, f32),
    },
    Retreat(Move),
    /// Pushing toward a stop after the other direction gave no motion.
    Probe {
        from: Move,
        toward: Stop,
    },
    Judge,
    Verdict(LearnedStop),
    Done,
}

/// What a stage asks for at the end of a tick.
enum StageNext {
    Stay(Command),
    Go(Stage, Command),
    Touched(Touch),
    Finish(LearnOutcome),
}

/// Learns both stops, one tick at a time.
#[derive(Debug, Clone)]
pub struct Learner {
    plan: LearnPlan,
    stage: Stage,
    leg: usize,
    touches_in_leg: u8,
    has_moved: bool,
    run_ups: u8,
    hidden_yields: u8,
    meter: Speedometer,
    watch: LearnWatch,
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
        let plan = LearnPlan::new(settings, order);
        Self {
            stage: Stage::Rest(Settle::new(REST, settings.learn.limits.rest_noise * plan.travel)),
            plan,
            leg: 0,
            touches_in_leg: 0,
            has_moved: false,
            run_ups: 0,
            hidden_yields: 0,
            meter: Speedometer::default(),
            watch: LearnWatch::new(),
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

    /// True when the learn starts from a calibration and only moves its stops.
    #[must_use]
    pub fn is_relearn(&self) -> bool {
        self.plan.previous().is_some()
    }

    /// Ends the learn for a reason from outside: the host has gone silent, or a fault lets the drive go.
    pub fn abandon(&mut self, why: LearnRefusal) -> LearnTick {
        if self.is_finished() { released(None) } else { self.finish(LearnOutcome::Refused(why)) }
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
            Ok(StageNext::Stay(command)) => self.told(command),
            Ok(StageNext::Go(stage, command)) => {
                self.stage = stage;
                self.told(command)
            }
            Ok(StageNext::Touched(touch)) => self.after_touch(touch, sample),
            Ok(StageNext::Finish(outcome)) => self.finish(outcome),
            Err(refusal) => self.finish(LearnOutcome::Refused(refusal)),
        }
    }

    fn advance(&mut self, sample: &Sample, speed: f32) -> Result<StageNext, LearnRefusal> {
        // Past the last leg only the verdict is left, and the machine is finished then.
        let Some(leg) = self.plan.leg(self.leg) else { return Ok(StageNext::Stay(Command::Release)) };
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
            Stage::Verdict(learned) => self.verdict(leg.stop, learned, sample),
            Stage::Done => Ok(StageNext::Stay(Command::Release)),
        }
    }

    fn heading(&self, toward: Stop, sample: &Sample, speed: f32) -> Ahead {
        let axis = self.plan.expected(toward).axis;
        Ahead {
            progress: axis.progress(sample.position.as_f32()),
            speed: axis.progress(speed),
            current: axis.push(sample.motor_current),
        }
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

    /// A leg is done: believe its stop, then go on. After the last one the travel between the stops is judged too; the
    /// verdict takes a tick of its own, so that none is long.
    fn judge(&mut self, leg: Leg, sample: &Sample) -> Result<StageNext, LearnRefusal> {
        let learned = self.touches(leg.stop).judge(&self.plan, leg.stop)?;
        let Some(next) = self.plan.leg(self.leg.saturating_add(1)) else {
            self.friction.judge(&self.plan)?;
            return Ok(StageNext::Go(Stage::Verdict(learned), Command::Release));
        };
        self.leg = self.leg.saturating_add(1);
        self.touches_in_leg = 0;
        let start = self.plan.expected(next.stop).axis.progress(sample.position.as_f32());
        Ok(StageNext::Go(self.brisk(next.stop, start), Command::Release))
    }

    /// `learned` is the stop of the last leg.
    fn verdict(&self, stop: Stop, learned: LearnedStop, sample: &Sample) -> Result<StageNext, LearnRefusal> {
        let other = self.touches(stop.opposite()).judge(&self.plan, stop.opposite())?;
        let (closed, open) = match stop {
            Stop::Closed => (learned, other),
            Stop::Open => (other, learned),
        };
        judge::outcome(&self.plan, closed, open, sample).map(StageNext::Finish)
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
            Stage::Judge | Stage::Verdict(_) => LearnPhase::Pressing(stop),
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
