//! Outside checks of motor, gear, spring and stops.
//!
//! Sources: the linear motor's closed forms (matrix exponential) and SciPy 1.17.1 Radau at rtol 1e-9, script
//! `tests/reference/world/c2_motor.py`; restitution of a push-only spring and damper in closed form. The
//! parameters are the invented bench actuator A.

use crate::reference::column;
use plant::actuator::{
    Actuator, ActuatorParams, ActuatorState, GearParams, LeverJoint, SpringParams, StopPair, StopParams,
    WindingDrive,
};
use vanebench_checks::assert_near;

/// Bench actuator A without spring, stops or (all but) ring friction: a linear motor and load.
fn linear() -> ActuatorParams {
    let mut params = ActuatorParams::bench_actuator_a();
    params.spring = None;
    params.ring.stops = StopPair::default();
    params.ring.friction.coulomb = 1e-12;
    params.ring.friction.breakaway = 1e-12;
    params.ring.friction.bristle_damping = 0.0;
    params
}

fn at_rest() -> ActuatorState {
    ActuatorState {
        current_a: 0.0,
        lever_rad: 0.0,
        lever_rad_s: 0.0,
        ring_rad: 0.0,
        ring_rad_s: 0.0,
        bristle_rad: 0.0,
        winding_c: 20.0,
    }
}

fn run(actuator: &mut Actuator, volts: f64, span_s: f64, dt: f64) {
    for _ in 0..(span_s / dt).round() as u64 {
        actuator.step(WindingDrive::Volts(volts), 0.0, dt);
    }
}

#[test]
fn a_linear_motor_step_follows_the_matrix_exponential() {
    // 6 V; (s, A, rad/s). First order in the step, so two steps extrapolate to none.
    let table = [
        (0.001, 3.039_887_616, 0.320_087_752),
        (0.005, 2.646_585_521, 2.290_158_849),
        (0.020, 0.778_995_752, 5.558_544_903),
        (0.100, 0.226_767_591, 6.524_525_892),
    ];
    for (t, amperes, speed) in table {
        let at = |dt: f64| {
            let mut actuator = Actuator::try_new(linear()).unwrap();
            actuator.set_state(at_rest());
            run(&mut actuator, 6.0, t, dt);
            (actuator.state().current_a, actuator.state().lever_rad_s)
        };
        let (coarse, fine) = (at(2e-6), at(1e-6));
        assert_near("current, A", 2.0 * fine.0 - coarse.0, amperes, 2e-6);
        assert_near("speed, rad/s", 2.0 * fine.1 - coarse.1, speed, 2e-6);
    }
}

#[test]
fn a_locked_motor_draws_stall_current_with_its_electrical_time_constant() {
    let mut params = linear();
    params.ring.inertia_kg_m2 = 1e9;
    let mut actuator = Actuator::try_new(params).unwrap();
    actuator.set_state(at_rest());
    run(&mut actuator, 6.0, 0.5625e-3, 1e-6 * 0.5625);
    assert_near("current after τe, A", actuator.state().current_a, 2.370_452_096, 1e-9);
    run(&mut actuator, 12.0, 0.1, 1e-4);
    assert_near("stall current V/R, A", actuator.state().current_a, 12.0 / 1.6, 1e-9);
}

/// Largest angle error against Radau over the 1.5 s stop-to-stop run, degrees, and the angle at each time.
fn stop_to_stop(dt: f64) -> (f64, Vec<(f64, f64)>) {
    let file = "ref_actuator_stop_to_stop.csv";
    let (times, angles) = (column(file, "t_s"), column(file, "theta_rad"));
    let volts = |t: f64| match t {
        t if t < 0.05 => 0.0,
        t if t < 0.80 => 6.0,
        t if t < 1.30 => -3.0,
        _ => 0.0,
    };
    let mut actuator = Actuator::try_new(ActuatorParams::bench_actuator_a()).unwrap();
    let (mut steps, mut worst, mut path) = (0_u32, 0.0_f64, Vec::new());
    for (t, angle) in times.iter().zip(&angles) {
        while f64::from(steps) * dt < t - 0.5 * dt {
            actuator.step(WindingDrive::Volts(volts((f64::from(steps) + 0.5) * dt)), 0.0, dt);
            steps += 1;
        }
        worst = worst.max((actuator.state().lever_rad - angle).abs());
        path.push((*t, actuator.state().lever_rad.to_degrees()));
    }
    (worst.to_degrees(), path)
}

#[test]
fn stop_to_stop_stays_with_radau_at_the_step_in_use() {
    let (worst, path) = stop_to_stop(1e-4);
    assert!(worst < 0.03, "largest error {worst}° of 70°");
    for (t, degrees) in [(0.79, 70.376_404), (1.29, -0.271_042)] {
        let at = path.iter().find(|(time, _)| (time - t).abs() < 1e-9).unwrap().1;
        assert!((at - degrees).abs() < 0.002, "held at a stop, t {t}: {at}°, source {degrees}°");
    }
}

#[test]
fn stop_to_stop_converges_at_first_order_and_onto_radau() {
    let (coarse, fine, finest) = (stop_to_stop(1e-4), stop_to_stop(5e-5), stop_to_stop(2.5e-5));
    let order = (coarse.0 / fine.0).log2();
    assert!((0.8..1.3).contains(&order), "order {order}: {} then {}°", coarse.0, fine.0);
    // Extrapolated to no step at all, in free motion and at rest (°, source).
    let source =
        [(0.10, 12.394_528), (0.15, 27.949_573), (0.20, 43.218_324), (0.79, 70.376_404), (0.90, 49.744_321)];
    for (t, degrees) in source {
        let at = |path: &[(f64, f64)]| path.iter().find(|(time, _)| (time - t).abs() < 1e-9).unwrap().1;
        let extrapolated = 2.0 * at(&finest.1) - at(&fine.1);
        assert!((extrapolated - degrees).abs() < 5e-4, "t {t}: {extrapolated}°, source {degrees}°");
    }
}

#[test]
fn the_lever_held_at_a_stop_draws_v_over_r() {
    let mut actuator = Actuator::try_new(ActuatorParams::bench_actuator_a()).unwrap();
    run(&mut actuator, 6.0, 0.79, 1e-4);
    assert_near("current, A", actuator.state().current_a, 3.75, 1e-4);
}

/// Speed after / speed before an impact on a stop, nothing else acting.
fn restitution(dt: f64) -> f64 {
    let mut params = linear();
    params.gear = GearParams { viscous_nm_s_per_rad: 0.0, ..params.gear };
    params.motor.torque_constant_nm_per_a = 0.0;
    params.ring.stops.high = Some(StopParams::bench_a(0.1));
    let mut actuator = Actuator::try_new(params).unwrap();
    actuator.set_state(ActuatorState { lever_rad_s: 5.0, ring_rad_s: 5.0, ..at_rest() });
    run(&mut actuator, 0.0, 0.06, dt);
    -actuator.state().lever_rad_s / 5.0
}

#[test]
fn a_stop_gives_back_what_the_closed_form_says() {
    // exp(−ζφ/√(1−ζ²)), ζ = c/(2√(kJ)) = 0.205676, φ = atan2(2ζ√(1−ζ²), 2ζ²−1).
    let source = 0.563_722_860;
    let (coarse, fine, finest) = (restitution(1e-4), restitution(2e-5), restitution(1e-6));
    assert_near("restitution at 1 µs", finest, source, 1e-3);
    assert!((fine - source).abs() < (coarse - source).abs());
    assert!(coarse < source, "a coarse step loses energy, never gains: {coarse}");
}

#[test]
fn a_slow_torque_swing_creeps_before_it_slides() {
    // ±0.10 and ±0.20 N m, 10 s triangle: angle at the peaks, ° (Radau, script c1b_onestep.py).
    for (amplitude, degrees) in [(0.10, 0.036_102), (0.20, 0.108_869)] {
        let mut params = ActuatorParams::bench_actuator_a();
        params.spring = None;
        params.ring.stops = StopPair::default();
        params.motor.torque_constant_nm_per_a = 0.0;
        let mut actuator = Actuator::try_new(params).unwrap();
        // A quarter of the swing; a step of 2.5 µs meets the source's own tolerance.
        let steps = 1_000_000;
        for step in 1..=steps {
            let torque = amplitude * f64::from(step) / f64::from(steps);
            actuator.step(WindingDrive::Volts(0.0), torque, 2.5 / f64::from(steps));
        }
        assert_near("angle at the first peak, °", actuator.state().lever_rad.to_degrees(), degrees, 1e-4);
    }
}

#[test]
fn a_tiny_play_behaves_like_none() {
    let mut params = ActuatorParams::bench_actuator_a();
    params.linkage = LeverJoint::with_play_deg(1e-6);
    let mut with_play = Actuator::try_new(params).unwrap();
    let mut without = Actuator::try_new(ActuatorParams::bench_actuator_a()).unwrap();
    for actuator in [&mut with_play, &mut without] {
        run(actuator, 6.0, 0.15, 2e-5);
    }
    let apart = (with_play.state().ring_rad - without.state().ring_rad).to_degrees().abs();
    assert!(apart < 0.1, "ring angles {apart}° apart in mid travel");
}

#[test]
fn play_shows_as_a_gap_when_the_drive_reverses() {
    let mut params = ActuatorParams::bench_actuator_a();
    params.linkage = LeverJoint::with_play_deg(0.8);
    params.spring = Some(SpringParams { preload_nm: 0.0, rate_nm_per_rad: 0.0 });
    let mut actuator = Actuator::try_new(params).unwrap();
    run(&mut actuator, 6.0, 0.15, 1e-4);
    let pushing = actuator.state().lever_rad - actuator.state().ring_rad;
    run(&mut actuator, -6.0, 0.10, 1e-4);
    let pulling = actuator.state().lever_rad - actuator.state().ring_rad;
    assert_near("gap taken up on reversal, °", (pushing - pulling).to_degrees(), 0.8, 0.15);
}
