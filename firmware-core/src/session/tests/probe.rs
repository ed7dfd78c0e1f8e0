//! A probe's segment from outside: what it needs, what ends it, what it leaves.

use super::*;
use crate::link::state::MotionEvent;
use crate::probe::{ProbeSegment, ProbeUntil};

pub(super) fn segment(volts: f32) -> ProbeSegment {
    ProbeSegment {
        volts: Volt(volts),
        volts_per_s: 2.0,
        cap: Ampere(1.0),
        counts_per_s: 3000.0,
        speed_by_way: 0.0,
        direction: None,
        second_cap: None,
        until: ProbeUntil { moved: Some(50), reached: None, held_ticks: None, still_counts: 10, ticks: 400 },
    }
}

fn start(bench: &mut Bench, segment: ProbeSegment) -> Outcome {
    let start_at = bench.tick;
    bench.ask(&ToBoard::StartProbe { start_at, segment })
}

fn released(bench: &mut Bench) -> ReleaseReason {
    bench.status().released.reason
}

#[test]
fn a_probe_needs_an_armed_board_that_does_nothing_else_and_numbers_in_range() {
    let mut bench = Bench::new(Pacing::Paced, None);
    bench.ask(&ToBoard::Hello);
    assert_eq!(start(&mut bench, segment(3.0)), refused(Refusal::NotArmed));
    bench.arm();
    assert!(matches!(
        start(&mut bench, segment(f32::NAN)),
        Outcome::Refused(Refusal::Setting { field, .. }) if field.to_string() == "probe.volts"
    ));
    assert_eq!(start(&mut bench, segment(3.0)), Outcome::Done);
    assert_eq!(start(&mut bench, segment(3.0)), refused(Refusal::Busy { source: Source::Probe }));
}

#[test]
fn a_probe_says_why_it_ended_and_lets_go() {
    let mut bench = Bench::ready(None);
    start(&mut bench, segment(3.0));
    assert!(bench.ticks(200).duty > Duty::ZERO);
    bench.position = Counts(8100);
    bench.ticks(1);
    let told = bench.hear();
    let ended = |message: &ToHost| matches!(message, ToHost::Motion { event: MotionEvent::Ended, .. });
    assert!(told.iter().any(ended), "{told:?}");
    bench.say(&ToBoard::KeepAlive);
    bench.ticks(400);
    bench.say(&ToBoard::KeepAlive);
    assert_eq!(bench.ticks(400).duty, Duty::ZERO);
    assert_eq!(released(&mut bench), ReleaseReason::ProbeMoved);
    start(&mut bench, segment(0.0));
    assert_eq!(bench.ticks(450).duty, Duty::ZERO);
    assert_eq!(released(&mut bench), ReleaseReason::ProbeTimeSpent);
}

#[test]
fn stop_silence_and_a_lost_supply_end_a_probe_at_once() {
    let mut bench = Bench::ready(None);
    start(&mut bench, segment(3.0));
    assert!(bench.ticks(200).duty > Duty::ZERO);
    assert_eq!(bench.ask(&ToBoard::Stop), Outcome::Done);
    assert_eq!((bench.tick().duty, released(&mut bench)), (Duty::ZERO, ReleaseReason::Stopped));
    let mut long = segment(3.0);
    long.until.ticks = 20_000;
    start(&mut bench, long);
    assert_eq!(bench.ticks(DRIVE_LEASE_TICKS + 2).duty, Duty::ZERO);
    assert_eq!(released(&mut bench), ReleaseReason::HostSilent);
    assert_eq!(start(&mut bench, long), refused(Refusal::NotArmed));
}

#[test]
fn a_probe_works_through_no_calibration_and_what_the_board_holds_stays() {
    let mut bench = Bench::ready(Some(held(Setup::Free)));
    assert!(bench.session.control.controller.calibration().is_some());
    start(&mut bench, segment(3.0));
    assert!(bench.ticks(10).opening.is_none());
    assert_eq!(bench.session.control.controller.calibration(), None);
    bench.ask(&ToBoard::Stop);
    assert_eq!(bench.session.control.controller.calibration(), None);
    assert_eq!(bench.standing(Setup::Free), Some(Standing::Accepted));
    bench.load(Goal::Opening(Opening::OPEN));
    assert_eq!(bench.start(Setup::Free), Outcome::Done);
    assert!(bench.tick().opening.is_some());
}
