//! Learning in the simulated world, against closed forms and the targets it was built to.
//!
//! Outside checks: the settled reading at a stop under a push, in closed form for the actuator's published
//! parameter set: (N·K·i − T0 − k_s·θ)/(k_stop + k_s) past the high stop, so that two pushes differ by
//! N·K/(k_stop + k_s) radians for each ampere. Invented bench actuator A: N 48, K 0.018 N m/A,
//! k_stop 400 and k_s 0.20 N m/rad.

use firmware_core::calibration::{Calibration, Setup, Warmth};
use firmware_core::learn::{CheckSet, LearnOrder, LearnOutcome};
use firmware_core::settings::Settings;
use plant::actuator::ActuatorParams;
use plant::world::World;
use rand::SeedableRng;
use study::campaign::learn::{relearn, run};
use study::catalogue::{Case, draw_unit, find, nominal_unit};
use vanebench_checks::assert_near;

const TRAVEL: f64 = 10_700.0;

fn order() -> LearnOrder {
    LearnOrder::full(Setup::Attached, Warmth::Cold, CheckSet::ALL)
}

fn accepted(outcome: &LearnOutcome) -> Calibration {
    match outcome {
        LearnOutcome::Accepted(calibration) => *calibration,
        other => panic!("not accepted: {other:?}"),
    }
}

#[test]
fn the_yield_of_a_stop_is_the_closed_form_of_its_stiffness() {
    let mut case = Case::of(nominal_unit());
    case.world.actuator = ActuatorParams::bench_actuator_a();
    let learned = run(&case, &Settings::default(), order(), None, 1).unwrap();
    let calibration = accepted(&learned.outcome);
    let counts_per_rad = TRAVEL / 70.0_f64.to_radians();
    let closed_form = 48.0 * 0.018 / 400.2 * counts_per_rad;
    for stop in [calibration.closed, calibration.open] {
        // Friction's bristle still winds up between the pushes: up to 6 % of the yield.
        assert_near("counts for each ampere", f64::from(stop.compliance_counts_per_a), closed_form, 0.06);
    }
    assert_near("travel without push", f64::from(calibration.span_counts()).abs(), TRAVEL, 1e-3);
}

#[test]
fn a_sound_unit_is_learned_within_a_tenth_of_a_per_cent_in_ten_seconds() {
    let case = Case::of(nominal_unit());
    let truth = World::new(&case.world, 0).unwrap().stop_truth();
    for seed in 1..=5 {
        let learned = run(&case, &Settings::default(), order(), None, seed).unwrap();
        let calibration = accepted(&learned.outcome);
        let ends = [(calibration.closed, truth.closed_counts), (calibration.open, truth.open_counts)];
        for (stop, truth) in ends {
            let error = (f64::from(stop.zero_push_counts) - truth.unwrap()) / TRAVEL;
            assert!(error.abs() < 1e-3, "seed {seed}: off by {error} of travel");
        }
        assert!(learned.ticks <= 10_000, "{} ticks", learned.ticks);
        let fastest = learned.touches.iter().map(|touch| touch.impact_speed).fold(0.0, f32::max);
        assert!(f64::from(fastest) < 0.35 * TRAVEL, "hit a stop at {fastest} counts/s");
    }
}

#[test]
fn twenty_learns_of_one_unit_repeat_within_a_twentieth_of_a_per_cent() {
    let case = Case::of(nominal_unit());
    let mut closed = Vec::new();
    let mut open = Vec::new();
    for seed in 0..20 {
        let calibration = accepted(&run(&case, &Settings::default(), order(), None, seed).unwrap().outcome);
        closed.push(f64::from(calibration.closed.zero_push_counts) / TRAVEL);
        open.push(f64::from(calibration.open.zero_push_counts) / TRAVEL);
    }
    for (name, readings) in [("closed", closed), ("open", open)] {
        let mean = readings.iter().sum::<f64>() / readings.len() as f64;
        let square = readings.iter().map(|r| (r - mean).powi(2)).sum::<f64>();
        let sigma = (square / (readings.len() - 1) as f64).sqrt();
        assert!(sigma < 5e-4, "{name} stop: sigma {sigma} of travel");
        assert!(sigma > 0.0, "{name} stop: twenty learns with noise cannot be identical");
    }
}

#[test]
fn a_key_off_relearn_takes_three_seconds_and_finds_the_same_stops() {
    let mut rng = rand_pcg::Pcg64Mcg::seed_from_u64(7);
    for seed in 0..8 {
        let case = Case::of(draw_unit(&mut rng));
        let (first, second) = relearn(&case, &Settings::default(), order(), 1000, seed).unwrap();
        let (first, second) = (accepted(&first.outcome), second.unwrap());
        let again = accepted(&second.outcome);
        assert!(second.ticks <= 3000, "unit {seed}: {} ticks", second.ticks);
        for (was, is) in [(first.closed, again.closed), (first.open, again.open)] {
            let moved = f64::from(is.zero_push_counts - was.zero_push_counts) / TRAVEL;
            assert!(moved.abs() < 1e-3, "unit {seed}: moved {moved} of travel");
        }
    }
}

#[test]
fn the_named_units_of_the_first_job_give_their_reasons() {
    for (name, reasons) in [
        ("dead-motor", ["no motion"].as_slice()),
        ("reversed-sensor", &["wrong direction"]),
        ("blocked-travel", &["obstructed travel"]),
        ("sooted-ring", &["tight travel"]),
        ("loose-stop", &["stop not repeatable", "stop drifting"]),
        ("spring-broken", &["spring not felt"]),
    ] {
        let case = find(name).unwrap().unit(None);
        let start = case.start_opening(None);
        let learned = run(&case, &Settings::default(), order(), start, 1).unwrap();
        let LearnOutcome::Refused(refusal) = learned.outcome else { panic!("{name}: {:?}", learned.outcome) };
        assert!(reasons.contains(&refusal.name()), "{name}: {refusal}");
        assert!(!refusal.advice().is_empty());
    }
}
