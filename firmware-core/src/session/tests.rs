//! The session from outside: frames in, ticks, frames out.

extern crate std;

use proptest::prelude::*;
use std::vec::Vec as List;

use super::*;
use crate::calibration::{Calibration, Contact, LearnedStop, Setup, Warmth};
use crate::guard::GuardStage;
use crate::learn::{Check, CheckSet, LearnOrder, LearnRefusal};
use crate::link::codec::frame;
use crate::link::message::{Message, ToBoard, ToHost};
use crate::link::refusal::{Outcome, Refusal};
use crate::link::state::{Source, StartReason, Streaming};
use crate::link::{DRIVE_LEASE_TICKS, Decoder, PROTOCOL_VERSION, SequenceCheck, encode};
use crate::motion::{Goal, Segment};
use crate::sample::{EngineDemand, Mode};
use crate::settings::{CountsDirection, SettingsSection};
use crate::units::{Ampere, Counts, Kilopascal, Load, Rpm, Volt};

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

fn record(setup: Setup) -> Record {
    Record::of_full_learn(calibration(setup), CheckSet::NONE)
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
    fn new(pacing: Pacing, stored: Option<Record>) -> Self {
        let text = |text: &str| text.parse().unwrap();
        let identity = Identity {
            model: text("test rig"),
            software: text("test 1"),
            pacing,
            started: StartReason::PowerOn,
        };
        let mut session = Session::new(identity, Settings::default());
        if let Some(record) = stored {
            session.restore(record);
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
    fn ready(stored: Option<Record>) -> Self {
        let mut bench = Self::new(Pacing::Paced, stored);
        assert_eq!(bench.ask(&ToBoard::Hello), Outcome::Done);
        assert_eq!(bench.ask(&ToBoard::Arm), Outcome::Done);
        bench
    }

    fn say(&mut self, message: &ToBoard) -> List<ToHost> {
        let frame = encode(self.sequence, message).unwrap();
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
        self.ask(&ToBoard::StartMotion { start_at, setup })
    }

    fn start_learn(&mut self) {
        let order = LearnOrder::full(Setup::Free, Warmth::Cold, CheckSet::default());
        let start_at = self.tick;
        assert_eq!(self.ask(&ToBoard::StartLearn { start_at, order }), Outcome::Done);
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

#[test]
fn a_board_that_nobody_greeted_says_nothing() {
    let mut bench = Bench::new(Pacing::Paced, None);
    bench.ticks(2000);
    assert_eq!(bench.hear(), []);
}

#[test]
fn a_command_before_the_hello_is_refused() {
    let mut bench = Bench::new(Pacing::Paced, None);
    assert_eq!(bench.ask(&ToBoard::Arm), refused(Refusal::NoHello));
}

#[test]
fn the_hello_is_answered_by_what_the_board_is() {
    let mut bench = Bench::new(Pacing::Stepped, Some(record(Setup::Free)));
    let answers = bench.say(&ToBoard::Hello);
    let [ToHost::Welcome(welcome), ToHost::Reply { to: 0, outcome: Outcome::Done }] = answers.as_slice()
    else {
        panic!("{answers:?}");
    };
    assert_eq!(welcome.identity.model, "test rig");
    assert_eq!(welcome.calibration.unwrap().setup, Setup::Free);
}

#[test]
fn nothing_moves_before_it_is_armed() {
    let mut bench = Bench::new(Pacing::Paced, None);
    bench.ask(&ToBoard::Hello);
    bench.load(duty(0.5));
    assert_eq!(bench.start(Setup::Free), refused(Refusal::NotArmed));
    assert_eq!(bench.ticks(100).duty, Duty::ZERO);
}

#[test]
fn openings_need_a_calibration_of_the_same_setup() {
    let opening = Goal::Opening(Opening::OPEN);
    let mut bench = Bench::ready(None);
    bench.load(opening);
    assert_eq!(bench.start(Setup::Free), refused(Refusal::NotCalibrated));
    let mut bench = Bench::ready(Some(record(Setup::Free)));
    bench.load(opening);
    let other = Refusal::OtherSetup { learned: Setup::Free, wanted: Setup::Attached };
    assert_eq!(bench.start(Setup::Attached), refused(other.clone()));
    assert_eq!(bench.ask(&ToBoard::GetCalibration { setup: Setup::Attached }), refused(other));
    assert_eq!(bench.start(Setup::Free), Outcome::Done);
}

#[test]
fn a_silent_host_loses_the_drive_until_it_arms_again() {
    let mut bench = Bench::ready(None);
    bench.load(duty(0.5));
    assert_eq!(bench.start(Setup::Free), Outcome::Done);
    assert_ne!(bench.ticks(DRIVE_LEASE_TICKS - 1).duty, Duty::ZERO);
    bench.ticks(2);
    assert_eq!(bench.tick().duty, Duty::ZERO);
    let told = bench.hear();
    assert!(
        told.iter().any(|m| matches!(m, ToHost::Released { reason: ReleaseReason::HostSilent, .. })),
        "{told:?}"
    );
    assert_eq!(bench.start(Setup::Free), refused(Refusal::NotArmed));
    assert_eq!(bench.ask(&ToBoard::Arm), Outcome::Done);
    assert_eq!(bench.start(Setup::Free), Outcome::Done);
}

#[test]
fn a_line_that_echoes_the_board_does_not_stand_in_for_a_silent_host() {
    let mut bench = Bench::ready(None);
    bench.ask(&ToBoard::Stream(Streaming::On));
    bench.load(duty(0.5));
    assert_eq!(bench.start(Setup::Free), Outcome::Done);
    let mut told = List::new();
    for _ in 0..2000 {
        bench.tick();
        let mut bytes = [0; 1024];
        let count = bench.session.transmit(&mut bytes);
        let frames = bytes[..count].iter().filter_map(|byte| bench.decoder.push(*byte));
        told.extend(frames.map(|frame| frame.unwrap().message::<ToHost>().unwrap()));
        bench.session.receive(&bytes[..count]);
    }
    let released = told.iter().find_map(|m| match m {
        ToHost::Released { tick, reason } => Some((*tick, *reason)),
        _ => None,
    });
    assert_eq!(released, Some((Tick(DRIVE_LEASE_TICKS), ReleaseReason::HostSilent)));
    assert_eq!(bench.tick().duty, Duty::ZERO);
}

#[test]
fn a_command_that_is_asked_again_is_a_sign_of_life_and_a_stale_one_is_not() {
    for (behind, reason) in [(1, ReleaseReason::NotStarted), (2, ReleaseReason::HostSilent)] {
        let mut bench = Bench::ready(None);
        bench.load(duty(0.5));
        assert_eq!(bench.start(Setup::Free), Outcome::Done);
        let last = bench.sequence;
        for _ in 0..8 {
            bench.ticks(100);
            bench.sequence = last.wrapping_sub(behind);
            bench.say(&ToBoard::ClearLatch);
        }
        assert_eq!(bench.session.released, reason, "{behind} behind");
    }
}

#[test]
fn a_stop_releases_the_drive_even_when_it_comes_late() {
    let mut bench = Bench::ready(None);
    bench.load(duty(0.5));
    assert_eq!(bench.start(Setup::Free), Outcome::Done);
    bench.ticks(50);
    bench.sequence = 0;
    assert_eq!(bench.ask(&ToBoard::Stop), Outcome::Done);
    assert_eq!(bench.tick().duty, Duty::ZERO);
    assert_eq!(bench.session.released, ReleaseReason::Stopped);
}

#[test]
fn signs_of_life_hold_the_drive_to_the_end_of_the_motion() {
    let mut bench = Bench::ready(None);
    bench.load(duty(0.5));
    bench.start(Setup::Free);
    let mut told = List::new();
    for _ in 0..=MOTION_TICKS / 100 {
        bench.ticks(100);
        told.extend(bench.say(&ToBoard::KeepAlive));
    }
    let released = told.iter().find_map(|m| match m {
        ToHost::Released { tick, reason } => Some((*tick, *reason)),
        _ => None,
    });
    assert_eq!(released, Some((Tick(MOTION_TICKS), ReleaseReason::MotionEnded)));
}

#[test]
fn a_stop_and_a_new_hello_release_the_drive() {
    for (message, reason) in
        [(ToBoard::Stop, ReleaseReason::Stopped), (ToBoard::Hello, ReleaseReason::NewHost)]
    {
        let mut bench = Bench::ready(None);
        bench.load(duty(0.5));
        bench.start(Setup::Free);
        assert_ne!(bench.ticks(50).duty, Duty::ZERO);
        let told = bench.say(&message);
        assert!(told.iter().any(|m| matches!(m, ToHost::Released { reason: r, .. } if *r == reason)));
        assert_eq!(bench.tick().duty, Duty::ZERO);
    }
}

#[test]
fn a_repeated_command_is_carried_out_once_and_answered_again() {
    let mut bench = Bench::ready(None);
    bench.load(duty(0.5));
    bench.sequence = bench.sequence.wrapping_sub(1);
    bench.load(duty(0.5));
    assert_eq!(bench.session.motion.segments().len(), 1);
    bench.sequence = 0;
    let last = 2;
    assert_eq!(bench.ask(&ToBoard::MotionClear), refused(Refusal::Stale { last }));
    assert_eq!(bench.session.motion.segments().len(), 1);
    bench.sequence = last + 1;
    let answers = bench.say(&ToBoard::GetStatus);
    let Some(ToHost::Status(status)) = answers.first() else { panic!("{answers:?}") };
    assert_eq!(status.counters.repeated, 2);
}

#[test]
fn lost_and_damaged_host_frames_are_counted() {
    let mut bench = Bench::ready(None);
    bench.sequence += 3;
    bench.session.receive(&[0, 7, 7, 7, 0, 0x02, 0x41, 0]);
    let answers = bench.say(&ToBoard::GetStatus);
    let Some(ToHost::Status(status)) = answers.first() else { panic!("{answers:?}") };
    assert_eq!((status.counters.lost, status.counters.cut), (3, 2));
}

#[test]
fn another_version_and_an_unknown_command_are_refused_by_name() {
    let mut bench = Bench::ready(None);
    let other = frame(9, 3, &[1]).unwrap();
    bench.session.receive(&other);
    assert_eq!(
        bench.hear(),
        [ToHost::Reply { to: 3, outcome: refused(Refusal::OtherVersion { board: PROTOCOL_VERSION }) }]
    );
    let unknown = frame(PROTOCOL_VERSION, 4, &[99]).unwrap();
    bench.session.receive(&unknown);
    assert_eq!(bench.hear(), [ToHost::Reply { to: 4, outcome: refused(Refusal::UnknownKind) }]);
}

#[test]
fn a_setting_out_of_range_is_refused_by_name_and_changes_nothing() {
    let mut bench = Bench::ready(None);
    let mut actuator = Settings::default().actuator;
    actuator.winding_resistance_ohm = 900.0;
    let outcome = bench.ask(&ToBoard::Settings(SettingsSection::Actuator(actuator)));
    let Outcome::Refused(Refusal::Setting { field, value, max, .. }) = outcome else { panic!("{outcome:?}") };
    assert_eq!((field.as_str(), value, max), ("actuator.winding_resistance_ohm", 900.0, 50.0));
    assert_eq!(bench.session.controller.settings(), &Settings::default());
}

#[test]
fn all_settings_arrive_section_by_section() {
    let mut bench = Bench::ready(None);
    let mut wanted = Settings::default();
    wanted.actuator.max_current = Ampere(2.5);
    wanted.limits.heat_time_s = 21.0;
    for section in wanted.sections() {
        assert_eq!(bench.ask(&ToBoard::Settings(section)), Outcome::Done);
    }
    assert_eq!(bench.session.controller.settings(), &wanted);
}

#[test]
fn new_settings_and_a_new_host_do_not_leave_the_over_boost_latch() {
    let mut bench = Bench::ready(Some(record(Setup::OnEngine)));
    bench.boost = Kilopascal(330.0);
    bench.drive_engine(5000);
    assert_eq!(bench.session.state.stage, GuardStage::Latched);
    bench.ask(&ToBoard::Hello);
    for section in Settings::default().sections() {
        assert_eq!(bench.ask(&ToBoard::Settings(section)), Outcome::Done);
    }
    bench.boost = Kilopascal(101.0);
    bench.ask(&ToBoard::Arm);
    bench.drive_engine(3000);
    assert_eq!(bench.session.state.stage, GuardStage::Latched);
    bench.ask(&ToBoard::ClearLatch);
    bench.drive_engine(100);
    assert_ne!(bench.session.state.stage, GuardStage::Latched);
}

#[test]
fn an_engine_is_followed_only_by_a_calibration_learned_on_it() {
    let mut bench = Bench::ready(Some(record(Setup::Free)));
    let other = Refusal::OtherSetup { learned: Setup::Free, wanted: Setup::OnEngine };
    assert_eq!(bench.ask(&ToBoard::Engine(DEMAND)), refused(other));
    assert_eq!(bench.session.activity.source(), Source::Released);
}

#[test]
fn an_engine_is_not_followed_while_a_sensor_ends_below_its_limit() {
    let mut bench = Bench::ready(Some(record(Setup::OnEngine)));
    let mut plausibility = Settings::default().plausibility;
    plausibility.exhaust_max = Kilopascal(400.0);
    let section = SettingsSection::Plausibility(plausibility);
    assert_eq!(bench.ask(&ToBoard::Settings(section)), Outcome::Done);
    let outcome = bench.ask(&ToBoard::Engine(DEMAND));
    assert!(matches!(outcome, Outcome::Refused(Refusal::Setting { .. })), "{outcome:?}");
    assert_eq!(bench.session.activity.source(), Source::Released);
}

#[test]
fn vanes_driven_open_blind_are_told_as_driven() {
    let mut bench = Bench::ready(Some(record(Setup::OnEngine)));
    bench.position = Counts(0);
    bench.drive_engine(1000);
    let duty = bench.tick().duty;
    assert!(duty > Duty::ZERO, "{duty:?}");
    assert_eq!(bench.session.state.drive, Drive::Duty);
}

#[test]
fn the_session_fits_the_boards_memory() {
    // The whole image keeps its static data within 12 KiB; the session, a quarter of a second of samples in it, is
    // most of it.
    let (own, learner) = (size_of::<Session>(), size_of::<Activity>());
    let (port, stream) = (size_of::<Port>(), size_of::<Stream>());
    assert!(own <= 17 * 512, "{own} bytes, of them port {port}, stream {stream}, learner {learner}");
}

#[test]
fn a_stepped_rig_advances_to_its_grant_and_says_that_it_waits() {
    let mut bench = Bench::new(Pacing::Stepped, None);
    bench.ask(&ToBoard::Hello);
    bench.ask(&ToBoard::Stream(Streaming::On));
    assert!(!bench.session.may_advance(Tick(0)));
    bench.ask(&ToBoard::Grant { until: Tick(40) });
    assert!(bench.session.may_advance(Tick(39)) && !bench.session.may_advance(Tick(40)));
    bench.ticks(40);
    let told = bench.hear();
    let ticks: u32 =
        told.iter().map(|m| if let ToHost::Samples(batch) = m { batch.ticks() } else { 0 }).sum();
    assert_eq!(ticks, 40, "all samples are out before it waits");
    assert_eq!(told.last(), Some(&ToHost::Waiting { next: Tick(40) }));
}

#[test]
fn a_line_without_room_leaves_a_counted_gap_and_no_lost_frame() {
    let mut bench = Bench::ready(None);
    bench.ask(&ToBoard::Stream(Streaming::On));
    let first = bench.tick;
    let mut covered = 0;
    let mut gaps = 0;
    let mut check = SequenceCheck::new();
    for _ in 0..4 {
        // The queue fills, samples are missed, then the line is free again.
        bench.ticks(2000);
        let mut bytes = [0; 4096];
        let count = bench.session.transmit(&mut bytes);
        for byte in &bytes[..count] {
            let Some(content) = bench.decoder.push(*byte) else { continue };
            let content = content.unwrap();
            assert_eq!(check.see(content.sequence), crate::link::sequence::Arrival::Expected);
            match content.message().unwrap() {
                ToHost::Samples(batch) => {
                    assert_eq!(batch.first, first.after(covered));
                    covered += batch.ticks();
                }
                ToHost::Gap { first: from, ticks } => {
                    assert_eq!(from, first.after(covered));
                    covered += ticks;
                    gaps += 1;
                }
                _ => {}
            }
        }
    }
    assert!(gaps >= 3 && covered > 6000, "{gaps} gaps, {covered} ticks");
}

#[test]
fn a_learn_in_silence_ends_as_host_lost_and_can_be_asked_for() {
    let mut bench = Bench::ready(None);
    bench.start_learn();
    bench.ticks(10);
    assert_eq!(bench.session.activity.source(), Source::Learn);
    bench.ticks(DRIVE_LEASE_TICKS);
    bench.hear();
    let answers = bench.say(&ToBoard::GetLearnOutcome);
    let Some(ToHost::Learn { event, .. }) = answers.first() else { panic!("{answers:?}") };
    assert_eq!(*event, LearnEvent::Outcome(LearnOutcome::Refused(LearnRefusal::HostLost)));
}

#[test]
fn a_learn_does_not_answer_with_the_outcome_of_the_one_before() {
    for message in [None, Some(ToBoard::Hello)] {
        let mut bench = Bench::ready(None);
        bench.start_learn();
        bench.ticks(DRIVE_LEASE_TICKS + 1);
        assert!(bench.session.learned.is_some());
        match message {
            Some(message) => assert_eq!(bench.ask(&message), Outcome::Done),
            None => {
                bench.ask(&ToBoard::Arm);
                bench.start_learn();
            }
        }
        assert_eq!(bench.ask(&ToBoard::GetLearnOutcome), refused(Refusal::NothingLearned));
    }
}

#[test]
fn a_new_host_does_not_inherit_the_motion_of_the_one_before() {
    let mut bench = Bench::ready(None);
    bench.load(duty(0.5));
    assert_eq!(bench.ask(&ToBoard::Hello), Outcome::Done);
    assert_eq!(bench.ask(&ToBoard::Arm), Outcome::Done);
    assert_eq!(bench.start(Setup::Free), refused(Refusal::MotionEmpty));
}

#[test]
fn a_calibration_whose_span_runs_the_other_way_is_not_used_until_the_settings_agree() {
    let mut turned = calibration(Setup::Free);
    core::mem::swap(&mut turned.closed, &mut turned.open);
    let mut bench = Bench::ready(Some(Record::of_full_learn(turned, CheckSet::NONE)));
    bench.load(Goal::Opening(Opening::OPEN));
    assert_eq!(bench.start(Setup::Free), refused(Refusal::NotCalibrated));
    let mut actuator = Settings::default().actuator;
    actuator.counts_direction = CountsDirection::OpeningRaises;
    assert_eq!(bench.ask(&ToBoard::Settings(SettingsSection::Actuator(actuator))), Outcome::Done);
    assert_eq!(bench.start(Setup::Free), Outcome::Done);
}

#[test]
fn a_calibration_is_stored_on_request_and_only_at_duty_zero() {
    let mut bench = Bench::ready(None);
    assert_eq!(bench.ask(&ToBoard::Store), refused(Refusal::NotCalibrated));
    let wanted = Record::of_full_learn(calibration(Setup::Attached), CheckSet::ALL);
    let set = ToBoard::SetCalibration { calibration: wanted.calibration, unproven: wanted.unproven };
    assert_eq!(bench.ask(&set), Outcome::Done);
    bench.load(duty(0.5));
    bench.start(Setup::Attached);
    bench.ticks(50);
    assert_eq!(bench.ask(&ToBoard::Store), Outcome::Done);
    bench.tick();
    assert_eq!(bench.session.take_record(), None);
    bench.ask(&ToBoard::Stop);
    bench.tick();
    assert_eq!(bench.session.take_record(), Some(wanted));
    assert_eq!(bench.session.take_record(), None);
}

#[test]
fn what_is_unproven_of_a_stored_calibration_is_still_unproven_after_a_restart() {
    let unproven = CheckSet::NONE.with(Check::MinimumFlow);
    let stored = Record { relearns: 3, ..Record::of_full_learn(calibration(Setup::Attached), unproven) };
    let mut bench = Bench::ready(Some(stored));
    let calibration = stored.calibration;
    let answers = bench.say(&ToBoard::GetCalibration { setup: Setup::Attached });
    assert_eq!(answers.first(), Some(&ToHost::Calibration { calibration, unproven }));
    assert_eq!(bench.ask(&ToBoard::Store), Outcome::Done);
    bench.tick();
    assert_eq!(bench.session.take_record(), Some(stored));
    let welcome = bench.say(&ToBoard::Hello);
    let told = welcome.iter().find_map(|message| match message {
        ToHost::Welcome(welcome) => welcome.calibration,
        _ => None,
    });
    assert_eq!(told.unwrap().unproven, unproven);
}

/// Bytes, and sound frames whose message no board knows.
fn noise() -> impl Strategy<Value = List<u8>> {
    let bytes = prop::collection::vec(any::<u8>(), 0..80);
    let body = (ToBoard::KINDS..=u8::MAX, prop::collection::vec(any::<u8>(), 0..40));
    let unknown = (any::<u16>(), body).prop_map(|(sequence, (kind, rest))| {
        let body: List<u8> = core::iter::once(kind).chain(rest).collect();
        frame(1, sequence, &body).unwrap().to_vec()
    });
    prop_oneof![bytes, unknown]
}

proptest! {
    #[test]
    fn no_noise_on_the_line_holds_the_drive_of_a_silent_host(
        chunks in prop::collection::vec(noise(), 1..20),
    ) {
        let mut bench = Bench::ready(None);
        bench.load(duty(0.5));
        prop_assert_eq!(bench.start(Setup::Free), Outcome::Done);
        for chunk in chunks.iter().cycle().take(DRIVE_LEASE_TICKS as usize) {
            prop_assert_ne!(bench.tick().duty, Duty::ZERO);
            bench.session.receive(chunk);
            let mut out = [0; 64];
            prop_assert!(bench.session.transmit(&mut out) <= out.len());
        }
        prop_assert_eq!(bench.tick().duty, Duty::ZERO);
        prop_assert_eq!(bench.session.released, ReleaseReason::HostSilent);
    }

    #[test]
    fn any_known_message_in_any_order_is_answered_once(
        kinds in prop::collection::vec((0u8..18, prop::collection::vec(any::<u8>(), 0..40)), 1..60),
    ) {
        let mut bench = Bench::ready(Some(record(Setup::Free)));
        for (sequence, (kind, rest)) in (2u16..).zip(kinds) {
            let mut body = List::from([kind]);
            body.extend(rest);
            bench.session.receive(&frame(1, sequence, &body).unwrap());
            let replies = bench.hear().iter().filter(|m| matches!(m, ToHost::Reply { .. })).count();
            prop_assert_eq!(replies, 1);
            bench.tick();
        }
    }
}
