//! Who may drive, and what ends it.

use super::*;
use crate::link::self_test::SelfCheck;
use crate::link::state::MotionEvent;

#[test]
fn nothing_moves_before_it_is_armed() {
    let mut bench = Bench::new(Pacing::Paced, None);
    bench.ask(&ToBoard::Hello);
    bench.load(duty(0.5));
    assert_eq!(bench.start(Setup::Free), refused(Refusal::NotArmed));
    assert_eq!(bench.ticks(100).duty, Duty::ZERO);
}

#[test]
fn a_failed_self_check_keeps_the_drive_disarmed() {
    let sound = SelfTest::NOT_FITTED;
    let one = |check| {
        [
            SelfTest { converter_references: check, ..sound },
            SelfTest { bridge_off_current: check, ..sound },
            SelfTest { sensor_rails: check, ..sound },
            SelfTest { image_crc: check, ..sound },
            SelfTest { emergency_stop_line: check, ..sound },
        ]
    };
    for found in one(SelfCheck::Failed) {
        let mut bench = Bench::new(Pacing::Paced, None);
        bench.session.control.self_test = found;
        assert_eq!(bench.ask(&ToBoard::Hello), Outcome::Done);
        assert_eq!(bench.arm(), refused(Refusal::SelfTestFailed { found }));
        bench.load(duty(0.5));
        assert_eq!(bench.start(Setup::Free), refused(Refusal::NotArmed));
        assert_eq!(bench.ticks(100).duty, Duty::ZERO);
    }
    for found in one(SelfCheck::Passed) {
        let mut bench = Bench::new(Pacing::Paced, None);
        bench.session.control.self_test = found;
        bench.ask(&ToBoard::Hello);
        assert_eq!(bench.arm(), Outcome::Done);
    }
}

#[test]
fn openings_need_a_calibration_of_the_same_setup() {
    let opening = Goal::Opening(Opening::OPEN);
    let mut bench = Bench::ready(None);
    bench.load(opening);
    assert_eq!(bench.start(Setup::Free), refused(Refusal::NotCalibrated));
    let mut bench = Bench::ready(Some(held(Setup::Free)));
    bench.load(opening);
    let other = Refusal::OtherSetup { learned: Setup::Free, wanted: Setup::Attached };
    assert_eq!(bench.start(Setup::Attached), refused(other.clone()));
    assert_eq!(bench.ask(&ToBoard::GetCalibration { setup: Setup::Attached }), refused(other));
    assert_eq!(bench.start(Setup::Free), Outcome::Done);
}

#[test]
fn a_silent_host_loses_the_drive_until_it_arms_again() {
    let mut bench = Bench::ready(Some(held(Setup::Free)));
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
    assert_eq!(bench.arm(), Outcome::Done);
    assert_eq!(bench.start(Setup::Free), Outcome::Done);
}

#[test]
fn a_line_that_echoes_the_board_does_not_stand_in_for_a_silent_host() {
    let mut bench = Bench::ready(Some(held(Setup::Free)));
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
        ToHost::Released { tick, reason, .. } => Some((*tick, *reason)),
        _ => None,
    });
    assert_eq!(released, Some((Tick(DRIVE_LEASE_TICKS), ReleaseReason::HostSilent)));
    assert_eq!(bench.tick().duty, Duty::ZERO);
}

#[test]
fn a_command_that_is_asked_again_is_a_sign_of_life_and_a_stale_one_is_not() {
    for (behind, reason) in [(1, ReleaseReason::NotStarted), (2, ReleaseReason::HostSilent)] {
        let mut bench = Bench::ready(Some(held(Setup::Free)));
        bench.load(duty(0.5));
        assert_eq!(bench.start(Setup::Free), Outcome::Done);
        let last = bench.sequence;
        for _ in 0..8 {
            bench.ticks(100);
            bench.sequence = last.wrapping_sub(behind);
            bench.say(&ToBoard::ClearLatch);
        }
        assert_eq!(bench.session.control.released.reason, reason, "{behind} behind");
    }
}

#[test]
fn a_stop_releases_the_drive_even_when_it_comes_late() {
    let mut bench = Bench::ready(Some(held(Setup::Free)));
    bench.load(duty(0.5));
    assert_eq!(bench.start(Setup::Free), Outcome::Done);
    bench.ticks(50);
    bench.sequence = 0;
    assert_eq!(bench.ask(&ToBoard::Stop), Outcome::Done);
    assert_eq!(bench.tick().duty, Duty::ZERO);
    assert_eq!(bench.session.control.released.reason, ReleaseReason::Stopped);
}

#[test]
fn signs_of_life_hold_the_drive_to_the_end_of_the_motion() {
    let mut bench = Bench::ready(Some(held(Setup::Free)));
    bench.load(duty(0.5));
    bench.start(Setup::Free);
    let mut told = List::new();
    // Past its end the push is let down.
    for _ in 0..=2 * MOTION_TICKS / 100 {
        bench.ticks(100);
        bench.position.0 -= 50;
        told.extend(bench.say(&ToBoard::KeepAlive));
    }
    let ended = told.iter().find_map(|m| match m {
        ToHost::Motion { tick, event: MotionEvent::Ended } => Some(*tick),
        _ => None,
    });
    let released = told.iter().find_map(|m| match m {
        ToHost::Released { reason, .. } => Some(*reason),
        _ => None,
    });
    assert_eq!((ended, released), (Some(Tick(MOTION_TICKS)), Some(ReleaseReason::MotionEnded)));
}

#[test]
fn a_stop_and_a_new_hello_release_the_drive() {
    for (message, reason) in
        [(ToBoard::Stop, ReleaseReason::Stopped), (ToBoard::Hello, ReleaseReason::NewHost)]
    {
        let mut bench = Bench::ready(Some(held(Setup::Free)));
        bench.load(duty(0.5));
        bench.start(Setup::Free);
        assert_ne!(bench.ticks(50).duty, Duty::ZERO);
        let told = bench.say(&message);
        assert!(told.iter().any(|m| matches!(m, ToHost::Released { reason: r, .. } if *r == reason)));
        assert_eq!(bench.tick().duty, Duty::ZERO);
    }
}

#[test]
fn an_engine_is_followed_only_by_a_calibration_learned_on_it() {
    let mut bench = Bench::ready(Some(held(Setup::Free)));
    let other = Refusal::OtherSetup { learned: Setup::Free, wanted: Setup::OnEngine };
    assert_eq!(bench.ask(&ToBoard::Engine(DEMAND)), refused(other));
    assert_eq!(bench.session.control.activity.source(), Source::Released);
}

#[test]
fn an_engine_is_not_followed_while_a_sensor_ends_below_its_limit() {
    let mut bench = Bench::ready(Some(held(Setup::OnEngine)));
    let mut plausibility = Settings::default().plausibility;
    plausibility.exhaust_max = Kilopascal(400.0);
    let section = SettingsSection::Plausibility(plausibility);
    assert_eq!(bench.ask(&ToBoard::Settings(section)), Outcome::Done);
    assert_eq!(bench.arm(), Outcome::Done);
    let outcome = bench.ask(&ToBoard::Engine(DEMAND));
    assert!(matches!(outcome, Outcome::Refused(Refusal::Setting { .. })), "{outcome:?}");
    assert_eq!(bench.session.control.activity.source(), Source::Released);
}

#[test]
fn vanes_driven_open_blind_are_told_as_driven() {
    let mut bench = Bench::ready(Some(held(Setup::OnEngine)));
    bench.position = Counts(0);
    bench.drive_engine(1000);
    let duty = bench.tick().duty;
    assert!(duty > Duty::ZERO, "{duty:?}");
    assert_eq!(bench.session.control.state.drive, Drive::Duty);
}

#[test]
fn a_new_host_does_not_inherit_the_motion_of_the_one_before() {
    let mut bench = Bench::ready(Some(held(Setup::Free)));
    bench.load(duty(0.5));
    assert_eq!(bench.ask(&ToBoard::Hello), Outcome::Done);
    assert_eq!(bench.arm(), Outcome::Done);
    assert_eq!(bench.start(Setup::Free), refused(Refusal::MotionEmpty));
}
