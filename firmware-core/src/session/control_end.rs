//! The control end: the tick and everything that decides. In: a sample per tick, and the commands of the link end. Out:
//! what the drive does in that tick, what is to be stored, and what is to be told. Refused: everything that
//! [`crate::link::Refusal`] names; nothing moves unarmed, and nothing keeps moving once the host is silent.

mod letting_go;

use super::activity::Activity;
use super::bank::Bank;
use super::exchange::{Answer, ControlSide, ControlStatus, ToLink};
use super::given::Given;
use super::keep::Saves;
use super::lease::Lease;
use super::stream::Stream;
use crate::calibration::Setup;
use crate::command::Command;
use crate::controller::{Controller, TickOutput};
use crate::faults::{Fault, FaultSet};
use crate::held::Origin;
use crate::learn::{LearnEvent, LearnOutcome, LearnTick};
use crate::link::batch::Around;
use crate::link::note::{LearnNote, Note};
use crate::link::point::{Point, current_steps, duty_steps, opening_steps};
use crate::link::self_test::SelfTest;
use crate::link::state::{Arming, Drive, LearnedIn, Pacing, Release, ReleaseReason, StreamState};
use crate::motion::Motion;
use crate::sample::{Request, Sample};
use crate::settings::Settings;
use crate::units::{Counts, Duty, Tick};

/// What the control end remembers.
#[derive(Debug)]
pub(super) struct ControlMemory {
    pub(super) pacing: Pacing,
    pub(super) self_test: SelfTest,
    pub(super) controller: Controller,
    pub(super) motion: Motion,
    pub(super) activity: Activity,
    pub(super) released: Release,
    pub(super) state: StreamState,
    told: StreamState,
    pub(super) lease: Lease,
    pub(super) stream: Stream,
    /// The outcome of the last learn.
    pub(super) learned: Option<LearnNote>,
    pub(super) given: Given,
    pub(super) bank: Bank,
    /// The setup whose calibration is in use, if it is in force.
    pub(super) in_use: Option<Setup>,
    pub(super) keep: Saves,
    /// Stops that have been heeded.
    pub(super) stops: u32,
    /// Raw position of the last tick.
    position: Counts,
    pub(super) is_at_rest: bool,
    /// The last granted tick has run and nobody has been told.
    is_out_of_grant: bool,
    pub(super) next: Tick,
    /// A tick has run: the next one follows it.
    has_begun: bool,
}

impl ControlMemory {
    #[inline]
    pub(super) fn new(pacing: Pacing, self_test: SelfTest) -> Self {
        Self {
            pacing,
            self_test,
            controller: Controller::new(Settings::BLANK),
            motion: Motion::new(),
            activity: Activity::Released,
            released: Release::NONE,
            state: StreamState::default(),
            told: StreamState::default(),
            lease: Lease::new(),
            stream: Stream::new(),
            learned: None,
            given: Given::nothing(),
            bank: Bank::empty(),
            in_use: None,
            keep: Saves::new(),
            stops: 0,
            position: Counts(0),
            is_at_rest: true,
            is_out_of_grant: false,
            next: Tick(0),
            has_begun: false,
        }
    }

    pub(super) fn may_advance(&self, next: Tick) -> bool {
        match self.pacing {
            Pacing::Paced => true,
            Pacing::Stepped => !next.has_reached(self.lease.granted),
        }
    }
}

/// One of the two ends of a [`Session`](super::Session): for a timer's interrupt, or wherever samples come and duty goes.
pub struct ControlEnd<'a> {
    pub(super) own: &'a mut ControlMemory,
    pub(super) side: ControlSide<'a>,
}

impl<'a> ControlEnd<'a> {
    pub(super) fn new(own: &'a mut ControlMemory, side: ControlSide<'a>) -> Self {
        Self { own, side }
    }

    /// True when the tick `next` may run: always where time paces itself, up to the grant where the host does.
    #[must_use]
    pub fn may_advance(&self, next: Tick) -> bool {
        self.own.may_advance(next)
    }

    /// Whether the drive may be used: what the bridge's enable goes by.
    #[must_use]
    pub fn arming(&self) -> Arming {
        self.own.lease.arming()
    }

    /// Runs one tick. What it has to say is only noted; packing and framing are the link end's, so that a
    /// tick's cost does not depend on the link.
    ///
    /// The first tick may have any number, every other one is one more than the last: else the drive is let go, for
    /// time is the only thing that ends a push.
    pub fn tick(&mut self, sample: &Sample) -> TickOutput {
        self.heed_stop();
        let is_out_of_step = self.own.has_begun && sample.tick != self.own.next;
        (self.own.next, self.own.has_begun) = (sample.tick.after(1), true);
        if is_out_of_step {
            // Nothing that counts ticks can be trusted.
            self.let_go(sample.tick, ReleaseReason::TickFault);
        }
        if self.own.lease.runs_out(sample.tick) {
            self.let_go_in_silence(sample.tick);
        }
        let request = self.request(sample);
        let mut output = self.own.controller.tick(sample, &request);
        output.faults.assign(Fault::TickJump, is_out_of_step);
        if output.faults.meets(FaultSet::ENDING) {
            self.let_go_of_faults(sample.tick, output.faults);
        }
        self.watch_motion(sample, &output);
        self.watch_probe(sample, &output);
        self.record(sample, &request, &output);
        self.own.is_out_of_grant = !self.may_advance(self.own.next);
        self.own.is_at_rest = output.duty == Duty::ZERO;
        self.own.position = sample.position;
        output
    }

    fn request(&mut self, sample: &Sample) -> Request {
        let now = sample.tick;
        match &mut self.own.activity {
            Activity::Released => Request::Release,
            Activity::Engine(demand) => Request::Engine(*demand),
            Activity::Motion { start_at, .. }
            | Activity::Learn { start_at, .. }
            | Activity::Probe { start_at, .. }
                if !now.has_reached(*start_at) =>
            {
                Request::Release
            }
            Activity::Learn { .. } if self.own.keep.is_pending() => Request::Release,
            Activity::Motion { place, .. } => {
                let place = *place;
                self.motion_tick(sample, place)
            }
            Activity::Probe { .. } => self.probe_tick(sample),
            Activity::Learn { learner, .. } => {
                let tick = learner.tick(sample);
                self.follow_learner(now, tick)
            }
        }
    }

    fn follow_learner(&mut self, now: Tick, tick: LearnTick) -> Request {
        if let Some(event) = tick.event {
            let note = self.note_learn(now, event);
            if let LearnEvent::Outcome(outcome) = event {
                self.own.learned = Some(note);
                self.finish_learn(now, outcome);
                return Request::Release;
            }
        }
        Request::Bench(tick.command)
    }

    /// What was learned comes into use with its standing, and is kept.
    pub(super) fn finish_learn(&mut self, now: Tick, outcome: LearnOutcome) {
        if let &Activity::Learn { ref learner, tag, settings, .. } = &self.own.activity {
            let origin = Origin { tag, settings, tick: now };
            let found = if learner.is_relearn() {
                self.own.bank.relearned(&outcome, origin)
            } else {
                self.own.bank.learned(&outcome, origin)
            };
            if let Some(held) = found {
                self.hold(held);
                self.own.keep.ask();
            }
        }
        self.release(now, ReleaseReason::LearnEnded);
    }

    /// Tells the host what the learner has to say.
    fn note_learn(&mut self, tick: Tick, event: LearnEvent) -> LearnNote {
        let note = LearnNote { number: self.own.activity.number_event(), tick, event };
        self.side.outbox.answer(Answer::Learn(note));
        note
    }

    fn record(&mut self, sample: &Sample, request: &Request, output: &TickOutput) {
        let command = match request {
            Request::Release => Command::Release,
            Request::Bench(command) => *command,
            Request::Engine(_) => followed(output),
        };
        let state = StreamState {
            source: self.own.activity.source(),
            drive: Drive::from(command),
            stage: output.stage,
            faults: output.faults,
        };
        let target = match command {
            Command::Release => 0,
            Command::Duty(duty) => duty_steps(duty),
            Command::Current(current) => current_steps(current),
            Command::Opening(opening) => opening_steps(opening),
        };
        let point = Point {
            position: sample.position.0,
            duty: duty_steps(output.duty),
            current: current_steps(sample.motor_current),
            target,
        };
        let around =
            Around { state, limits: output.limits, supply: sample.supply, temperature: sample.temperature };
        self.own.stream.record(sample.tick, &around, point, &mut self.side.outbox);
        self.own.state = state;
        self.tell_state(sample.tick);
    }

    /// Without batches a change of state is told on its own; one that finds no room is told later.
    fn tell_state(&mut self, tick: Tick) {
        let known =
            self.own.stream.is_on() || !self.side.outbox.is_greeted() || self.own.told == self.own.state;
        if known || self.side.outbox.try_tell(Note::State { tick, state: self.own.state }).is_ok() {
            self.own.told = self.own.state;
        }
    }

    /// After the last granted tick: sends what is in the making, and says that the rig waits.
    #[inline]
    pub(super) fn wait_for_grant(&mut self) {
        if core::mem::take(&mut self.own.is_out_of_grant) {
            self.own.stream.flush(&mut self.side.outbox);
            self.side.outbox.tell(ToLink::Note(Note::Waiting { next: self.own.next }));
        }
    }

    #[inline]
    pub(super) fn status(&self) -> ControlStatus {
        ControlStatus {
            next: self.own.next,
            state: self.own.state,
            arming: self.own.lease.arming(),
            released: self.own.released,
            dropped: self.side.outbox.dropped(),
        }
    }

    #[inline]
    pub(super) fn learned_in(&self) -> Option<LearnedIn> {
        let held = self.own.in_use.and_then(|setup| self.own.bank.get(setup))?;
        Some(LearnedIn {
            setup: held.calibration.setup,
            warmth: held.calibration.warmth,
            standing: held.standing,
        })
    }

    pub(super) fn is_armed(&self) -> bool {
        self.arming() == Arming::Armed
    }
}

/// What an engine's demand came to; without a known position the vanes are driven by plain duty.
fn followed(output: &TickOutput) -> Command {
    match output.target {
        Some(opening) => Command::Opening(opening),
        None if output.duty == Duty::ZERO => Command::Release,
        None => Command::Duty(output.duty),
    }
}
