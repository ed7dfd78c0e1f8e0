//! Time that is checked: a tick number steps by one, or the drive is let go.

use super::*;

/// Drives with sound ticks, then hands in these numbers, counted from the next sound one; gives the duty in each.
fn duties_at(numbers: &[u32], bench: &mut Bench) -> List<f32> {
    assert_ne!(bench.ticks(50).duty, Duty::ZERO);
    let next = bench.tick.0;
    numbers
        .iter()
        .map(|number| {
            bench.tick = Tick(next.wrapping_add(*number));
            let is_sound = bench.tick == bench.session.control.next;
            let output = bench.tick();
            assert_ne!(output.faults.contains(Fault::TickJump), is_sound);
            output.duty.get()
        })
        .collect()
}

/// What a broken clock makes of 0, 1, 2, 3.
const BROKEN: [(&str, [u32; 4]); 7] = [
    ("doubled", [0, 2, 4, 6]),
    ("halved", [0, 0, 1, 1]),
    ("jumping", [0, 1000, 1001, 1002]),
    ("backward", [0, u32::MAX, u32::MAX - 1, u32::MAX - 2]),
    ("frozen", [0, 0, 0, 0]),
    ("far ahead", [0, u32::MAX / 2, 3, 9]),
    ("one missed", [1, 2, 3, 4]),
];

fn driven(source: Source) -> Bench {
    match source {
        Source::Released | Source::Learn | Source::Probe => {
            panic!("{source:?} does not push from its first tick on")
        }
        Source::Engine => {
            let mut bench = Bench::ready(Some(held(Setup::OnEngine)));
            assert_eq!(bench.ask(&ToBoard::Engine(DEMAND)), Outcome::Done);
            bench
        }
        Source::Motion => {
            let mut bench = Bench::ready(Some(held(Setup::Free)));
            bench.load(Goal::Opening(Opening::OPEN));
            assert_eq!(bench.start(Setup::Free), Outcome::Done);
            bench
        }
    }
}

#[test]
fn a_tick_number_that_does_not_step_by_one_lets_the_drive_go_at_once_and_disarms() {
    for source in [Source::Motion, Source::Engine] {
        for (name, numbers) in BROKEN {
            let mut bench = driven(source);
            let first_wrong = (0..4).find(|at| numbers[*at] != *at as u32).unwrap();
            let duties = duties_at(&numbers, &mut bench);
            assert!(duties[..first_wrong].iter().all(|duty| *duty != 0.0), "{source:?}, {name}: {duties:?}");
            assert!(duties[first_wrong..].iter().all(|duty| *duty == 0.0), "{source:?}, {name}: {duties:?}");
            let told = bench.hear();
            let releases = told.iter().filter(|m| matches!(m, ToHost::Released { .. })).count();
            assert_eq!(releases, 1, "{source:?}, {name}: {told:?}");
            assert_eq!(bench.session.control.released.reason, ReleaseReason::TickFault);
            assert_eq!(bench.start(Setup::Free), refused(Refusal::NotArmed));
        }
    }
}

#[test]
fn a_learn_is_cut_by_a_tick_that_is_missing() {
    let mut bench = Bench::ready(Some(held(Setup::Free)));
    bench.start_learn();
    bench.ticks(20);
    bench.tick = bench.tick.after(1);
    assert!(bench.tick().faults.contains(Fault::TickJump));
    assert_eq!(bench.session.control.activity.source(), Source::Released);
    assert_eq!(bench.standing(Setup::Free), None);
}

#[test]
fn the_first_tick_may_have_any_number_and_numbers_may_wrap() {
    let mut bench = Bench::new(Pacing::Paced, None);
    bench.tick = Tick(u32::MAX - 20);
    for _ in 0..100 {
        assert!(!bench.tick().faults.contains(Fault::TickJump));
    }
}

#[test]
fn a_clock_that_runs_again_may_be_armed_again() {
    let mut bench = driven(Source::Motion);
    bench.ticks(10);
    bench.tick = bench.tick.after(7);
    assert_eq!(bench.tick().duty, Duty::ZERO);
    assert!(!bench.tick().faults.contains(Fault::TickJump));
    assert_eq!(bench.arm(), Outcome::Done);
    assert_eq!(bench.start(Setup::Free), Outcome::Done);
    assert_ne!(bench.ticks(50).duty, Duty::ZERO);
}
