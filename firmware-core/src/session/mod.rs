//! The board's end of the talk. In: any bytes at any time, and one sample per tick. Out: what the drive
//! does in that tick, what is to be stored, and bytes for the line. Refused: everything that
//! [`crate::link::Refusal`] names; nothing moves unarmed, and nothing keeps moving once the host is silent.
//!
//! Board image and virtual rig only move bytes and samples; every decision is here.
//!
//! ```text
//! bytes ─ receive ─▶ commands ─▶ activity ┐
//!                                         ├─ tick ─▶ duty
//! sample ─────────────────────────────────┘    └─▶ notes, points ─ transmit ─▶ bytes
//! ```

mod activity;
mod bank;
mod commands;
mod given;
mod keep;
mod keeping;
mod lease;
mod moving;
mod port;
mod starting;
mod stream;

use crate::calibration::Setup;
use crate::command::Command;
use crate::controller::{Controller, TickOutput};
use crate::faults::Fault;
use crate::held::Origin;
use crate::learn::{LearnEvent, LearnOutcome, LearnTick};
use crate::link::batch::Around;
use crate::link::note::{LearnNote, Note};
use crate::link::point::{Point, current_steps, duty_steps, opening_steps};
use crate::link::self_test::SelfTest;
use crate::link::state::{
    Arming, Drive, Identity, LearnedIn, Pacing, Release, ReleaseReason, Source, Status, StreamState,
};
use crate::motion::{Footing, Motion};
use crate::sample::{Request, Sample};
use crate::settings::Settings;
use crate::units::{Counts, Duty, Tick};

use activity::Activity;
use bank::Bank;
use given::Given;
use keep::Keep;
use lease::Lease;
use port::Port;
use stream::Stream;

/// One board's talk with one host, and the controller that it talks about.
#[derive(Debug)]
pub struct Session {
    identity: Identity,
    self_test: SelfTest,
    controller: Controller,
    motion: Motion,
    activity: Activity,
    released: Release,
    state: StreamState,
    told: StreamState,
    lease: Lease,
    port: Port,
    stream: Stream,
    /// The outcome of the last learn.
    learned: Option<LearnNote>,
    given: Given,
    bank: Bank,
    /// The setup whose calibration is in use, if it is in force.
    in_use: Option<Setup>,
    keep: Keep,
    /// Raw position of the last tick.
    position: Counts,
    is_at_rest: bool,
    /// The last granted tick has run and nobody has been told.
    is_out_of_grant: bool,
    next: Tick,
    /// A tick has run: the next one follows it.
    has_begun: bool,
}

impl Session {
    /// A session that nobody has greeted yet: disarmed, released, silent, without settings of its own. One expression,
    /// so that a board can build it in place: it is larger than a small stack.
    #[must_use]
    #[inline]
    pub fn new(identity: Identity, self_test: SelfTest) -> Self {
        Self {
            identity,
            self_test,
            controller: Controller::new(Settings::BLANK),
            motion: Motion::new(),
            activity: Activity::Released,
            released: Release::NONE,
            state: StreamState::default(),
            told: StreamState::default(),
            lease: Lease::new(),
            port: Port::new(),
            stream: Stream::new(),
            learned: None,
            given: Given::nothing(),
            bank: Bank::empty(),
            in_use: None,
            keep: Keep::new(),
            position: Counts(0),
            is_at_rest: true,
            is_out_of_grant: false,
            next: Tick(0),
            has_begun: false,
        }
    }

    /// Takes bytes from the line: any bytes, at any time between ticks.
    #[inline]
    pub fn receive(&mut self, bytes: &[u8]) {
        self.wait_for_grant();
        for byte in bytes {
            if let Some(content) = self.port.hear(*byte) {
                self.handle(&content);
            }
        }
    }

    /// True when the tick `next` may run: always where time paces itself, up to the grant where the host does.
    #[must_use]
    pub fn may_advance(&self, next: Tick) -> bool {
        match self.identity.pacing {
            Pacing::Paced => true,
            Pacing::Stepped => !next.has_reached(self.lease.granted),
        }
    }

    /// Runs one tick. What it has to say is only noted; packing and framing are [`Session::transmit`]'s, so that a
    /// tick's cost does not depend on the link.
    ///
    /// The first tick may have any number, every other one is one more than the last: else the drive is let go, for
    /// time is the only thing that ends a push.
    pub fn tick(&mut self, sample: &Sample) -> TickOutput {
        let is_out_of_step = self.has_begun && sample.tick != self.next;
        (self.next, self.has_begun) = (sample.tick.after(1), true);
        if is_out_of_step {
            self.let_go_out_of_step(sample.tick);
        }
        if self.lease.runs_out(sample.tick) {
            self.let_go_in_silence(sample.tick);
        }
        let request = self.request(sample);
        let mut output = self.controller.tick(sample, &request);
        output.faults.assign(Fault::TickJump, is_out_of_step);
        self.watch_motion(sample, &output);
        self.record(sample, &request, &output);
        self.is_out_of_grant = !self.may_advance(self.next);
        self.is_at_rest = output.duty == Duty::ZERO;
        self.position = sample.position;
        output
    }

    /// Fills `out` with bytes for the line; gives how many. For the time between ticks, at least once in
    /// [`WAITING_POINTS`](crate::link::batch::WAITING_POINTS) ticks; its cost grows with the bytes asked for.
    #[inline]
    pub fn transmit(&mut self, out: &mut [u8]) -> usize {
        self.wait_for_grant();
        self.port.transmit(out, self.stream.batches())
    }

    fn request(&mut self, sample: &Sample) -> Request {
        let now = sample.tick;
        match &mut self.activity {
            Activity::Released => Request::Release,
            Activity::Engine(demand) => Request::Engine(*demand),
            Activity::Motion { start_at, .. } | Activity::Learn { start_at, .. }
                if !now.has_reached(*start_at) =>
            {
                Request::Release
            }
            Activity::Learn { .. } if self.keep.is_pending() => Request::Release,
            Activity::Motion { place, .. } => {
                let place = *place;
                self.motion_tick(sample, place)
            }
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
                self.learned = Some(note);
                self.finish_learn(now, outcome);
                return Request::Release;
            }
        }
        Request::Bench(tick.command)
    }

    /// What was learned comes into use with its standing, and is kept.
    fn finish_learn(&mut self, now: Tick, outcome: LearnOutcome) {
        if let &Activity::Learn { ref learner, tag, settings, .. } = &self.activity {
            let origin = Origin { tag, settings, tick: now };
            let found = if learner.is_relearn() {
                self.bank.relearned(&outcome, origin)
            } else {
                self.bank.learned(&outcome, origin)
            };
            if let Some(held) = found {
                self.hold(held);
                self.keep.ask();
            }
        }
        self.release(now, ReleaseReason::LearnEnded);
    }

    /// Tells the host what the learner has to say.
    fn note_learn(&mut self, tick: Tick, event: LearnEvent) -> LearnNote {
        let note = LearnNote { number: self.activity.number_event(), tick, event };
        self.port.note_learn(note);
        note
    }

    fn let_go_in_silence(&mut self, now: Tick) {
        if let Activity::Learn { learner, .. } = &mut self.activity {
            let event = learner.abandon().event;
            if let Some(event) = event {
                self.learned = Some(self.note_learn(now, event));
            }
        }
        self.release(now, ReleaseReason::HostSilent);
    }

    /// A tick that does not follow the last one: nothing that counts ticks can be trusted.
    fn let_go_out_of_step(&mut self, now: Tick) {
        if self.is_armed() || self.activity.source() != Source::Released {
            self.release(now, ReleaseReason::TickFault);
        }
    }

    /// Lets the drive go, says why, and disarms where only an explicit command may arm again.
    fn release(&mut self, tick: Tick, reason: ReleaseReason) {
        if is_disarming(reason) {
            self.lease.disarm();
        }
        self.activity = Activity::Released;
        self.controller.stand_on(Footing::Accepted);
        let position = self.position;
        self.released = Release { tick, reason, position };
        self.port.note(Note::Released { tick, reason, position });
    }

    fn record(&mut self, sample: &Sample, request: &Request, output: &TickOutput) {
        let command = match request {
            Request::Release => Command::Release,
            Request::Bench(command) => *command,
            Request::Engine(_) => followed(output),
        };
        let state = StreamState {
            source: self.activity.source(),
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
        self.stream.record(sample.tick, &around, point, &mut self.port);
        self.state = state;
        self.tell_state(sample.tick);
    }

    /// Without batches a change of state is told on its own; one that finds no room is told later.
    fn tell_state(&mut self, tick: Tick) {
        let known = self.stream.is_on() || !self.port.is_greeted() || self.told == self.state;
        if known || self.port.try_note(Note::State { tick, state: self.state }).is_ok() {
            self.told = self.state;
        }
    }

    /// After the last granted tick: sends what is in the making, and says that the rig waits.
    #[inline]
    fn wait_for_grant(&mut self) {
        if core::mem::take(&mut self.is_out_of_grant) {
            self.stream.flush(&mut self.port);
            self.port.note(Note::Waiting { next: self.next });
        }
    }

    #[inline]
    fn status(&self) -> Status {
        Status {
            next: self.next,
            state: self.state,
            arming: self.lease.arming(),
            released: self.released,
            counters: self.port.counters(),
            dropped: self.port.dropped(),
        }
    }

    #[inline]
    fn learned_in(&self) -> Option<LearnedIn> {
        let held = self.in_use.and_then(|setup| self.bank.get(setup))?;
        Some(LearnedIn {
            setup: held.calibration.setup,
            warmth: held.calibration.warmth,
            standing: held.standing,
        })
    }

    fn is_armed(&self) -> bool {
        self.lease.arming() == Arming::Armed
    }
}

/// After these only a person, who looks again, may arm.
fn is_disarming(reason: ReleaseReason) -> bool {
    match reason {
        ReleaseReason::HostSilent | ReleaseReason::NewHost | ReleaseReason::TickFault => true,
        ReleaseReason::NotStarted
        | ReleaseReason::Stopped
        | ReleaseReason::MotionEnded
        | ReleaseReason::LearnEnded
        | ReleaseReason::Obstructed
        | ReleaseReason::NoMotion
        | ReleaseReason::HeatLimit
        | ReleaseReason::SupplyRange
        | ReleaseReason::SensorFault
        | ReleaseReason::NotStored => false,
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

#[cfg(test)]
#[allow(clippy::indexing_slicing, clippy::arithmetic_side_effects)]
mod tests;
