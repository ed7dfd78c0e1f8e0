//! The session from outside: frames in, ticks, frames out.

extern crate std;

use proptest::prelude::*;
use std::string::ToString;
use std::vec::Vec as List;

use super::*;
use crate::calibration::{Calibration, Contact, LearnedStop, Setup, Warmth};
use crate::faults::Fault;
use crate::guard::GuardStage;
use crate::held::{Held, Origin, OriginTag, Standing};
use crate::learn::{Check, CheckSet, LearnEvent, LearnOrder, LearnOutcome, LearnRefusal};
use crate::link::codec::{MAX_MESSAGE, body, frame};
use crate::link::message::{Message, ToBoard, ToHost};
use crate::link::refusal::{Outcome, Refusal};
use crate::link::state::{
    Drive, Identity, Pacing, Release, ReleaseReason, Source, StartReason, Status, Streaming,
};
use crate::link::talk::{End, Head, Talk};
use crate::link::{DRIVE_LEASE_TICKS, Decoder, PROTOCOL_VERSION, SequenceCheck, encode};
use crate::motion::{Footing, Goal, Segment};
use crate::sample::{BridgeLine, Conversions, EngineDemand, Mode};
use crate::settings::{CountsDirection, Settings, SettingsHash, SettingsSection};
use crate::store::{Kept, StoreFault, StoreResult};
use crate::units::{Ampere, Counts, Duty, Kilopascal, Load, Opening, Rpm, Tick, Volt};
use activity::Activity;

mod board;
mod books;
mod clock;
mod drive;
mod ends;
mod footing;
mod force;
mod keeping;
mod probe;
mod random;
mod strangers;
mod talk;

/// Ticks of the profile that the tests run.
const MOTION_TICKS: u32 = 3000;

/// An engine under load.
const DEMAND: EngineDemand = EngineDemand {
    mode: Mode::Boost,
    boost_target: Kilopascal(180.0),
    engine_speed: Rpm(2000.0),
    load: Load::MAX,
};

fn calibration(setup: Setup) -> Calibration {
    let stop = |at: f32| LearnedStop {
        zero_push_counts: at,
        pressed_counts: at,
        released_counts: at,
        compliance_counts_per_a: 20.0,
        repeat_range_counts: 1.0,
        contact: Contact::ActuatorInternal,
    };
    Calibration {
        closed: stop(13_000.0),
        open: stop(2300.0),
        setup,
        warmth: Warmth::Cold,
        supply: Volt(12.0),
        temperature: None,
        clearance: Opening::CLOSED,
    }
}

/// Where the calibrations of these tests came from.
fn origin() -> Origin {
    Origin { tag: OriginTag(0xD15E_A5ED), settings: Settings::default().hash(), tick: Tick(9000) }
}

fn held(setup: Setup) -> Held {
    Held::of_full_learn(calibration(setup), Standing::Accepted, origin())
}

/// The talk that the tests' host opens.
const TALK: Talk = Talk::FIRST;

/// A host's frame of that talk.
fn said(version: u8, sequence: u16, body: &[u8]) -> List<u8> {
    let head = Head { version, talk: Some(TALK), sender: End::Host, sequence };
    frame(head, body).unwrap().to_vec()
}

/// A host at one end and a session at the other.
struct Bench {
    session: Session,
    sequence: u16,
    tick: Tick,
    decoder: Decoder,
    boost: Kilopascal,
    turbo_speed: Option<Rpm>,
    position: Counts,
    /// What the rig's converter has counted; each group goes on by its step.
    conversions: Conversions,
    converting: Conversions,
    bridge: BridgeLine,
    /// How the rig's store answers; nothing while it is busy.
    store: Option<StoreResult>,
    /// What the rig's store holds.
    kept: Option<Kept>,
}

impl Bench {
    /// Just switched on, with settings and at most one calibration in its store.
    fn new(pacing: Pacing, stored: Option<Held>) -> Self {
        let mut bench = Self::of(pacing);
        bench.session.restore(&kept(stored));
        bench
    }

    /// Just switched on, with nothing in its store.
    fn blank() -> Self {
        Self::of(Pacing::Paced)
    }

    fn of(pacing: Pacing) -> Self {
        let text = |text: &str| text.parse().unwrap();
        let identity = Identity {
            model: text("test rig"),
            software: text("test 1"),
            build: 0,
            layout: 1,
            board: "test board".parse().unwrap(),
            serial: "1".parse().unwrap(),
            pacing,
            started: StartReason::PowerOn,
        };
        Self {
            session: Session::new(identity, SelfTest::NOT_FITTED),
            sequence: 0,
            tick: Tick(0),
            decoder: Decoder::new(),
            boost: Kilopascal(101.0),
            turbo_speed: None,
            position: Counts(8000),
            conversions: Conversions::default(),
            converting: Conversions::all(1),
            bridge: BridgeLine::Quiet,
            store: Some(StoreResult::Written),
            kept: None,
        }
    }

    /// Greeted and armed.
    fn ready(stored: Option<Held>) -> Self {
        let mut bench = Self::new(Pacing::Paced, stored);
        assert_eq!(bench.ask(&ToBoard::Hello), Outcome::Done);
        assert_eq!(bench.arm(), Outcome::Done);
        bench
    }

    fn arm(&mut self) -> Outcome {
        let settings = self.session.control.controller.settings().hash();
        self.ask(&ToBoard::Arm { settings })
    }

    fn say(&mut self, message: &ToBoard) -> List<ToHost> {
        let frame = encode(TALK, self.sequence, message).unwrap();
        self.sequence = self.sequence.wrapping_add(1);
        self.session.receive(&frame);
        self.hear()
    }

    fn ask(&mut self, message: &ToBoard) -> Outcome {
        let answers = self.say(message);
        match answers.last() {
            Some(ToHost::Reply { to, outcome }) => {
                assert_eq!(to.wrapping_add(1), self.sequence);
                outcome.clone()
            }
            other => panic!("no reply but {other:?}"),
        }
    }

    /// A program of another talk says something.
    fn overhear(&mut self, talk: Talk, sequence: u16, message: &ToBoard) -> List<ToHost> {
        self.session.receive(&encode(talk, sequence, message).unwrap());
        self.hear()
    }

    fn status(&mut self) -> Status {
        let answers = self.say(&ToBoard::GetStatus);
        let status = answers.iter().find_map(|answer| match answer {
            ToHost::Status(status) => Some(*status),
            _ => None,
        });
        status.unwrap()
    }

    fn hear(&mut self) -> List<ToHost> {
        let mut bytes = [0; 4096];
        let count = self.session.transmit(&mut bytes);
        let frames = bytes[..count].iter().filter_map(|byte| self.decoder.push(*byte));
        frames.map(|frame| frame.unwrap().message().unwrap()).collect()
    }

    /// What a rig does before each tick.
    fn keep(&mut self) {
        if let Some(result) = self.store
            && let Some(kept) = self.session.take_save()
        {
            match result {
                StoreResult::Written => self.kept = Some(kept),
                // A board without a store holds nothing from before either.
                StoreResult::Failed(StoreFault::None) => self.kept = None,
                StoreResult::Failed(StoreFault::Full | StoreFault::Flash | StoreFault::ReadBack) => {}
            }
            self.session.saved(result);
        }
    }

    fn convert(&mut self) {
        let (count, step) = (&mut self.conversions, &self.converting);
        count.position = count.position.wrapping_add(step.position);
        count.current = count.current.wrapping_add(step.current);
        count.supply = count.supply.wrapping_add(step.supply);
        count.engine = count.engine.wrapping_add(step.engine);
    }

    fn tick(&mut self) -> TickOutput {
        self.keep();
        self.convert();
        let sample = Sample {
            tick: self.tick,
            position: self.position,
            motor_current: Ampere(0.0),
            supply: Volt(12.0),
            temperature: None,
            boost: self.boost,
            barometer: Kilopascal(101.0),
            exhaust: None,
            turbo_speed: self.turbo_speed,
            conversions: self.conversions,
            bridge: self.bridge,
        };
        self.tick = self.tick.after(1);
        self.session.tick(&sample)
    }

    fn ticks(&mut self, count: u32) -> TickOutput {
        (0..count).map(|_| self.tick()).last().unwrap()
    }

    fn load(&mut self, goal: Goal) {
        let segments = [Segment { goal, ticks: MOTION_TICKS }].into_iter().collect();
        assert_eq!(self.ask(&ToBoard::MotionAppend(segments)), Outcome::Done);
    }

    fn start(&mut self, setup: Setup) -> Outcome {
        self.start_on(setup, Footing::Accepted)
    }

    fn start_on(&mut self, setup: Setup, footing: Footing) -> Outcome {
        let start_at = self.tick;
        self.ask(&ToBoard::StartMotion { start_at, setup, warmth: Warmth::Cold, footing })
    }

    fn start_learn(&mut self) {
        assert_eq!(self.learn(full(Setup::Free)), Outcome::Done);
    }

    fn learn(&mut self, order: LearnOrder) -> Outcome {
        let start_at = self.tick;
        self.ask(&ToBoard::StartLearn { start_at, order, tag: TAG })
    }

    /// The learn that runs ends like this.
    fn end_learn(&mut self, outcome: LearnOutcome) {
        assert_eq!(self.session.control.activity.source(), Source::Learn);
        self.session.split().1.finish_learn(self.tick, outcome);
    }

    fn standing(&self, setup: Setup) -> Option<Standing> {
        self.session.control.bank.get(setup).map(|held| held.standing)
    }

    /// The engine's demand, kept up for so many ticks.
    fn drive_engine(&mut self, ticks: u32) {
        for _ in 0..ticks.div_ceil(100) {
            assert_eq!(self.ask(&ToBoard::Engine(DEMAND)), Outcome::Done);
            self.ticks(100);
        }
    }
}

/// The tests' mark of unit and run.
const TAG: OriginTag = OriginTag(7);

fn full(setup: Setup) -> LearnOrder {
    LearnOrder::full(setup, Warmth::Cold, CheckSet::ALL)
}

/// A store with settings and at most one calibration.
fn kept(held: Option<Held>) -> Kept {
    let of = |setup| held.filter(|held| held.calibration.setup == setup);
    Kept {
        settings: Some(Settings::default()),
        held: [Setup::Free, Setup::Attached, Setup::OnEngine].map(of),
    }
}

fn duty(value: f32) -> Goal {
    Goal::Duty(Duty::try_new(value).unwrap())
}

fn refused(refusal: Refusal) -> Outcome {
    Outcome::Refused(refusal)
}
