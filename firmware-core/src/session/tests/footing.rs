//! What a motion or an engine may stand on.

use super::*;
use crate::controller::{DIAGNOSTIC_CURRENT_SHARE, LIMP_REFUSALS};
use crate::guard::FuelRequest;

#[test]
fn a_motion_stands_on_a_calibration_of_its_setup_warmth_and_settings_whatever_its_goals() {
    for goal in [Goal::Opening(Opening::OPEN), duty(0.5), Goal::Current(Ampere(1.0)), Goal::Release] {
        for footing in [Footing::Accepted, Footing::Unproven] {
            let mut bench = Bench::ready(None);
            bench.load(goal);
            assert_eq!(bench.start_on(Setup::Free, footing), refused(Refusal::NotCalibrated));
            bench.ask(&ToBoard::SetCalibration(held(Setup::Free)));
            let hot = ToBoard::StartMotion {
                start_at: bench.tick,
                setup: Setup::Free,
                warmth: Warmth::Hot,
                footing,
            };
            let other = Refusal::OtherWarmth { learned: Warmth::Cold, wanted: Warmth::Hot };
            assert_eq!(bench.ask(&hot), refused(other));
            assert_eq!(bench.start_on(Setup::Free, footing), Outcome::Done);
        }
    }
}

#[test]
fn a_diagnostic_motion_is_open_loop_and_keeps_to_a_share_of_the_current() {
    let settings = Settings::default();
    let max = Ampere(settings.actuator.max_current.0 * DIAGNOSTIC_CURRENT_SHARE);
    for (goal, outcome) in [
        (Goal::Opening(Opening::OPEN), refused(Refusal::OpenLoopOnly)),
        (Goal::Current(Ampere(max.0 + 0.01)), refused(Refusal::DiagnosticCurrent { max })),
        (Goal::Current(Ampere(-max.0 - 0.01)), refused(Refusal::DiagnosticCurrent { max })),
        (Goal::Current(max), Outcome::Done),
        (Goal::Release, Outcome::Done),
    ] {
        let mut bench = Bench::ready(None);
        bench.load(goal);
        assert_eq!(bench.start_on(Setup::Attached, Footing::Diagnostic), outcome, "{goal:?}");
    }
    assert_eq!(most_current(Footing::Diagnostic), max.0);
}

/// Largest current that a motion of full duty puts through a resting winding at nominal resistance, A.
fn most_current(footing: Footing) -> f32 {
    let mut bench = Bench::ready(Some(held(Setup::Attached)));
    bench.load(duty(1.0));
    assert_eq!(bench.start_on(Setup::Attached, footing), Outcome::Done);
    let settings = Settings::default();
    let mut most = 0.0;
    for _ in 0..MOTION_TICKS / 100 {
        for _ in 0..100 {
            let volts = bench.tick().duty.get() * 12.0;
            most = libm::fmaxf(most, volts / settings.actuator.winding_resistance_ohm);
        }
        bench.say(&ToBoard::KeepAlive);
    }
    libm::roundf(most * 1000.0) / 1000.0
}

#[test]
fn an_unproven_motion_has_half_the_current_and_half_the_slew_whatever_the_settings() {
    let settings = Settings::default();
    assert_eq!(most_current(Footing::Accepted), settings.actuator.max_current.0);
    assert_eq!(most_current(Footing::Unproven), settings.actuator.max_current.0 / 2.0);
    let mut bench = Bench::ready(Some(held(Setup::Attached)));
    let segments = [Segment { goal: Goal::Opening(Opening::CLOSED), ticks: 0 }].into_iter();
    let segments = segments.chain([Segment { goal: Goal::Opening(Opening::OPEN), ticks: 0 }]);
    let dwell = Segment { goal: Goal::Opening(Opening::OPEN), ticks: 400 };
    bench.ask(&ToBoard::MotionAppend(segments.chain([dwell]).collect()));
    assert_eq!(bench.start_on(Setup::Attached, Footing::Unproven), Outcome::Done);
    let learned = calibration(Setup::Attached);
    let mut last = learned.opening(bench.position).get();
    let mut travel = 0.0;
    for _ in 0..300 {
        let target = bench.tick().target.unwrap();
        bench.position.0 = learned.counts(target) as i16;
        let target = target.get();
        let step = target - last;
        assert!(step.abs() <= settings.slew.normal_per_s / 2.0 / 1000.0 + 1.0e-6, "{step} in a tick");
        (last, travel) = (target, travel + step.abs());
    }
    assert!(travel > 0.5, "{travel} tells nothing");
}

#[test]
fn the_footing_of_a_motion_ends_with_it() {
    let mut bench = Bench::ready(Some(held(Setup::OnEngine)));
    bench.load(duty(1.0));
    assert_eq!(bench.start_on(Setup::Free, Footing::Diagnostic), Outcome::Done);
    bench.ticks(20);
    bench.ask(&ToBoard::Stop);
    bench.tick();
    assert_eq!(bench.start(Setup::OnEngine), Outcome::Done);
    let volts = (0..MOTION_TICKS).map(|at| {
        if at % 100 == 0 {
            bench.say(&ToBoard::KeepAlive);
        }
        bench.tick().duty.get() * 12.0
    });
    let most = volts.fold(0.0, libm::fmaxf);
    assert!(most > 0.9 * Settings::default().actuator.max_current.0 * 1.6, "{most} V");
}

/// The least opening and the fuel that the engine gets under a suspension of so many refusals, once settled.
fn followed_with(refusals: u8, demand: EngineDemand) -> (f32, FuelRequest) {
    let standing = if refusals == 0 { Standing::Accepted } else { Standing::Suspended { refusals } };
    let mut bench = Bench::ready(Some(Held { standing, ..held(Setup::OnEngine) }));
    bench.turbo_speed = Some(Rpm(40_000.0));
    let mut least = Opening::OPEN;
    for at in 0..3000 {
        if at % 100 == 0 {
            assert_eq!(bench.ask(&ToBoard::Engine(demand)), Outcome::Done);
        }
        // The vanes follow at once, with a count of noise.
        let wanted = bench.tick().target.unwrap();
        // The search for the reversal lifts them a little from there.
        least = if at < 1000 || wanted < least { wanted } else { least };
        bench.position = Counts(calibration(Setup::OnEngine).counts(wanted) as i16 + at % 2);
    }
    let output = bench.tick();
    assert_eq!(output.faults.contains(Fault::CalibrationSuspended), refusals > 0);
    (least.get(), output.fuel)
}

#[test]
fn an_engine_under_a_suspended_calibration_keeps_more_reserve_and_from_three_refusals_limps() {
    let settings = Settings::default();
    let limp = settings.target.modes.limp_opening.get();
    let derate = FuelRequest::LimitTo(settings.guard.stages.derate);
    // Boost far short: the vanes close as far as they may.
    let short = EngineDemand { boost_target: Kilopascal(250.0), load: Load::MIN, ..DEMAND };
    let (least, _) = followed_with(0, short);
    for refusals in 1..LIMP_REFUSALS {
        let (more, fuel) = followed_with(refusals, short);
        assert!((more - least - 0.1).abs() < 0.01, "{least} became {more}");
        assert_ne!(fuel, derate);
    }
    for refusals in [LIMP_REFUSALS, 200] {
        for mode in [Mode::Idle, Mode::Boost, Mode::Brake] {
            let (opening, fuel) = followed_with(refusals, EngineDemand { mode, ..short });
            assert!(opening >= limp, "{mode:?}: {opening}");
            assert_eq!(fuel, derate, "{mode:?}");
        }
    }
    // Nothing wanted but open: the reserve keeps off the stop.
    let open = EngineDemand { mode: Mode::Brake, engine_speed: Rpm(6000.0), ..DEMAND };
    assert!(followed_with(0, open).0 > 0.99);
    assert!((followed_with(1, open).0 - 0.95).abs() < 1.0e-4);
}

#[test]
fn an_engine_is_not_followed_by_a_bench_calibration_that_is_suspended() {
    let standing = Standing::Suspended { refusals: 1 };
    let mut bench = Bench::ready(Some(Held { standing, ..held(Setup::Attached) }));
    assert_eq!(bench.ask(&ToBoard::Engine(DEMAND)), refused(Refusal::NotInForce { standing }));
    let mut bench = Bench::ready(Some(held(Setup::Attached)));
    assert_eq!(bench.ask(&ToBoard::Engine(DEMAND)), Outcome::Done);
}
