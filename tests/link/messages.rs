//! One example of every message, as the wire page shows them.
#![allow(clippy::unwrap_used)] // a helper that cannot go on fails its test

use firmware_core::calibration::{Calibration, Contact, LearnedStop, Setup, Warmth};
use firmware_core::held::{Held, Origin, OriginTag, Standing};
use firmware_core::learn::{Check, CheckSet, LearnEvent, LearnOrder, LearnPhase, Stop};
use firmware_core::link::batch::{Around, Packing};
use firmware_core::link::message::{ToBoard, ToHost};
use firmware_core::link::state::{
    Arming, Capabilities, MotionEvent, Release, ReleaseReason, StartReason, Status, Streaming,
};
use firmware_core::link::{
    Drive, Identity, LinkCounters, Outcome, Pacing, Point, Refusal, SelfCheck, SelfTest, Source, StreamState,
    Talk, Welcome,
};
use firmware_core::motion::{Footing, Goal, Segment};
use firmware_core::probe::{ProbeSegment, ProbeUntil};
use firmware_core::sample::{EngineDemand, Mode};
use firmware_core::settings::{CountsDirection, Settings, SettingsSection, SlewSettings};
use firmware_core::store::{StoreFault, StoreResult};
use firmware_core::units::{Ampere, Celsius, Counts, Kilopascal, Load, Opening, Rpm, Tick, Volt};

/// The talk of the page's examples.
pub(crate) const TALK: Talk = Talk::try_new(0x1234).unwrap();
/// The host's mark in them.
const TAG: OriginTag = OriginTag(0x00C0_FFEE);

fn stop(at: f32) -> LearnedStop {
    LearnedStop {
        zero_push_counts: at,
        pressed_counts: at,
        released_counts: at,
        compliance_counts_per_a: 20.0,
        repeat_range_counts: 1.5,
        contact: Contact::RingContact,
    }
}

fn calibration() -> Calibration {
    Calibration {
        closed: stop(13_000.0),
        open: stop(2900.0),
        setup: Setup::Attached,
        warmth: Warmth::Cold,
        supply: Volt(12.0),
        temperature: Some(Celsius(25.0)),
        clearance: Opening::try_new(0.01).unwrap(),
    }
}

fn held() -> Held {
    let origin = Origin { tag: TAG, settings: Settings::default().hash(), tick: Tick(9000) };
    Held::of_full_learn(calibration(), Standing::NotProven { open: CheckSet::ALL }, origin)
}

pub(crate) fn to_board() -> Vec<ToBoard> {
    let opening = Goal::Opening(Opening::try_new(0.5).unwrap());
    let segments = [Segment { goal: opening, ticks: 0 }, Segment { goal: Goal::Release, ticks: 1000 }];
    vec![
        ToBoard::Hello,
        ToBoard::KeepAlive,
        ToBoard::Grant { until: Tick(256) },
        ToBoard::Arm { settings: Settings::default().hash() },
        ToBoard::Stop,
        ToBoard::ClearLatch,
        ToBoard::Stream(Streaming::On),
        ToBoard::Settings(SettingsSection::Slew(SlewSettings::default())),
        ToBoard::SetCalibration(held()),
        ToBoard::GetCalibration { setup: Setup::Attached },
        ToBoard::Store,
        ToBoard::MotionClear,
        ToBoard::MotionAppend(segments.into_iter().collect()),
        ToBoard::StartMotion {
            start_at: Tick(300),
            setup: Setup::Attached,
            warmth: Warmth::Cold,
            footing: Footing::Accepted,
        },
        ToBoard::Engine(EngineDemand {
            mode: Mode::Boost,
            boost_target: Kilopascal(180.0),
            engine_speed: Rpm(2000.0),
            load: Load::try_new(0.5).unwrap(),
        }),
        ToBoard::GetStatus,
        ToBoard::StartLearn {
            start_at: Tick(300),
            order: LearnOrder::full(Setup::Attached, Warmth::Cold, CheckSet::default().with(Check::Indexing)),
            tag: TAG,
        },
        ToBoard::GetLearnOutcome,
        ToBoard::StartProbe {
            start_at: Tick(300),
            segment: ProbeSegment {
                volts: Volt(-6.0),
                volts_per_s: 2.0,
                cap: Ampere(0.5),
                counts_per_s: 1000.0,
                speed_by_way: 0.35,
                direction: Some(CountsDirection::OpeningLowers),
                second_cap: Some(Ampere(0.75)),
                until: ProbeUntil {
                    moved: None,
                    reached: Some(Counts(2000)),
                    held_ticks: Some(300),
                    still_counts: 10,
                    ticks: 20_000,
                },
            },
        },
    ]
}

pub(crate) fn batch() -> ToHost {
    let state = StreamState { source: Source::Motion, drive: Drive::Duty, ..StreamState::default() };
    let around =
        Around { state, limits: Default::default(), supply: Volt(11.9), temperature: Some(Celsius(24.5)) };
    let points = [(8000, 250), (8003, 250), (8001, 250)].map(|(position, current)| Point {
        position,
        duty: 1000,
        current,
        target: 1000,
    });
    let mut packing = Packing::of(Tick(1000), &around, &points);
    let (Some(batch), None) = (packing.next(), packing.next()) else { panic!("one batch") };
    ToHost::Samples(batch)
}

pub(crate) fn to_host() -> Vec<ToHost> {
    let state = StreamState { source: Source::Motion, drive: Drive::Opening, ..StreamState::default() };
    let welcome = Welcome {
        identity: Identity {
            model: "rig".parse().unwrap(),
            software: "core 0.1".parse().unwrap(),
            build: 0xC0DE,
            layout: 2,
            board: "pcb 7".parse().unwrap(),
            serial: "42".parse().unwrap(),
            pacing: Pacing::Stepped,
            started: StartReason::PowerOn,
        },
        capabilities: Capabilities { ticks_per_second: 1000, lease_ticks: 500, motion_segments: 48 },
        self_test: SelfTest { image_crc: SelfCheck::Passed, ..SelfTest::NOT_FITTED },
        settings: None,
        next: Tick(0),
        calibration: None,
    };
    let status = Status {
        next: Tick(256),
        state,
        arming: Arming::Armed,
        released: Release::NONE,
        counters: LinkCounters { frames: 12, lost: 1, ..LinkCounters::NONE },
        dropped: 0,
    };
    vec![
        ToHost::Welcome(welcome),
        ToHost::Reply { to: 5, outcome: Outcome::Refused(Refusal::NotArmed) },
        batch(),
        ToHost::Gap { first: Tick(1003), ticks: 64 },
        ToHost::State { tick: Tick(2000), state },
        ToHost::Waiting { next: Tick(256) },
        ToHost::Motion { tick: Tick(300), event: MotionEvent::Segment(0) },
        ToHost::Released { tick: Tick(801), reason: ReleaseReason::HostSilent, position: Counts(8001) },
        ToHost::Calibration(held()),
        ToHost::Status(status),
        ToHost::Learn {
            number: 4,
            tick: Tick(512),
            event: LearnEvent::Phase(LearnPhase::Pressing(Stop::Closed)),
        },
        ToHost::Stored { number: 0, result: StoreResult::Failed(StoreFault::ReadBack) },
    ]
}
