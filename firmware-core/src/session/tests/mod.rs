//! The session from outside: frames in, ticks, frames out.

extern crate std;

use proptest::prelude::*;
use std::vec::Vec as List;

use super::*;
use crate::calibration::{Calibration, Contact, LearnedStop, Setup, Warmth};
use crate::guard::GuardStage;
use crate::held::OriginTag;
use crate::learn::{Check, CheckSet, LearnOrder, LearnRefusal};
use crate::link::codec::frame;
use crate::link::message::{Message, ToBoard, ToHost};
use crate::link::refusal::{Outcome, Refusal};
use crate::link::state::{Source, StartReason, Streaming};
use crate::link::talk::{End, Head, Talk};
use crate::link::{DRIVE_LEASE_TICKS, Decoder, PROTOCOL_VERSION, SequenceCheck, encode};
use crate::motion::{Footing, Goal, Segment};
use crate::sample::{EngineDemand, Mode};
use crate::settings::{CountsDirection, SettingsSection};
use crate::units::{Ampere, Counts, Kilopascal, Load, Rpm, Volt};

mod drive;
mod keeping;
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
    position: Counts,
}

impl Bench {
    fn new(pacing: Pacing, stored: Option<Held>) -> Self {
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
        let mut session = Session::new(identity, SelfTest::NOT_FITTED, Settings::default());
        if let Some(held) = stored {
            session.restore(held);
        }
        Self {
            session,
            sequence: 0,
            tick: Tick(0),
            decoder: Decoder::new(),
            boost: Kilopascal(101.0),
            position: Counts(8000),
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
        let settings = self.session.controller.settings().hash();
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

    fn hear(&mut self) -> List<ToHost> {
        let mut bytes = [0; 4096];
        let count = self.session.transmit(&mut bytes);
        let frames = bytes[..count].iter().filter_map(|byte| self.decoder.push(*byte));
        frames.map(|frame| frame.unwrap().message().unwrap()).collect()
    }

    fn tick(&mut self) -> TickOutput {
        let sample = Sample {
            tick: self.tick,
            position: self.position,
            motor_current: Ampere(0.0),
            supply: Volt(12.0),
            temperature: None,
            boost: self.boost,
            barometer: Kilopascal(101.0),
            exhaust: None,
            turbo_speed: None,
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
        let start_at = self.tick;
        self.ask(&ToBoard::StartMotion { start_at, setup, warmth: Warmth::Cold, footing: Footing::Accepted })
    }

    fn start_learn(&mut self) {
        let order = LearnOrder::full(Setup::Free, Warmth::Cold, CheckSet::default());
        let start_at = self.tick;
        assert_eq!(self.ask(&ToBoard::StartLearn { start_at, order, tag: OriginTag(7) }), Outcome::Done);
    }

    /// The engine's demand, kept up for so many ticks.
    fn drive_engine(&mut self, ticks: u32) {
        for _ in 0..ticks.div_ceil(100) {
            assert_eq!(self.ask(&ToBoard::Engine(DEMAND)), Outcome::Done);
            self.ticks(100);
        }
    }
}

fn duty(value: f32) -> Goal {
    Goal::Duty(Duty::try_new(value).unwrap())
}

fn refused(refusal: Refusal) -> Outcome {
    Outcome::Refused(refusal)
}
