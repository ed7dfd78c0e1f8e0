//! Step figures against responses with a closed form, solved with scipy's root search
//! (`tests/reference/figures/step_gauge_worked.py`); 63.2 and 86.5 % as ISA-75.25.01 and IEC 60534-4
//! print them. Dead band against a play element of known width; friction against the closed form of a
//! geared motor with Coulomb friction and a spring.

use vanebench::figures::friction::FrictionCurve;
use vanebench::figures::motion;
use vanebench::figures::step::{StepBands, StepResponse, StepTrace};
use vanebench_checks::assert_near;

const BANDS: StepBands = StepBands { moved: 1e-7, settled: 0.001 };
/// Samples 1 ms apart, joined by straight lines, read a smooth crossing this well.
const SAMPLED: f64 = 2e-4;

fn respond(step: f64, seconds: f64, response: impl Fn(f64) -> f64) -> StepResponse {
    let readings = (1..=(seconds * 1000.0) as u32).map(|ms| f64::from(ms) / 1000.0);
    let readings = readings.map(|t| (t, 0.5 + step * response(t))).collect();
    let trace = StepTrace {
        at: firmware_core::units::Tick(0),
        command_before: 0.5,
        command_after: 0.5 + step,
        start: 0.5,
        readings,
    };
    trace.evaluate(BANDS).expect("the response settles")
}

#[test]
fn a_first_order_lag_with_dead_time_reads_as_its_closed_form() {
    // τ 0.2 s, dead time 0.05 s.
    let lag = |t: f64| if t > 0.05 { 1.0 - (-(t - 0.05) / 0.2).exp() } else { 0.0 };
    for step in [0.1, -0.1, 0.02, -0.5] {
        let response = respond(step, 4.0, lag);
        assert_near("dead time", response.dead_time_s, 0.050, 0.002);
        assert_near("T63", response.t63_s, 0.249_934_468, SAMPLED);
        assert_near("T86", response.t86_s, 0.450_496_100, SAMPLED);
        assert_near("overshoot", response.overshoot_percent, 0.0, 1e-5);
        // |error| = 0.001 of travel.
        let settles = 0.05 + 0.2 * (step.abs() / 0.001_f64).ln();
        assert_near("settling time", response.settling_s, settles, 0.002);
    }
}

#[test]
fn a_second_order_lag_overshoots_as_its_closed_form() {
    // ωn 10 rad/s, ζ 0.5, dead time 0.1 s.
    let (wn, zeta) = (10.0_f64, 0.5_f64);
    let wd = wn * (1.0 - zeta * zeta).sqrt();
    let lag = |t: f64| {
        let t = (t - 0.1).max(0.0);
        1.0 - (-zeta * wn * t).exp() * ((wd * t).cos() + zeta * wn / wd * (wd * t).sin())
    };
    for step in [0.1, -0.5] {
        let response = respond(step, 6.0, lag);
        assert_near("T63", response.t63_s, 0.254_116_114, SAMPLED);
        assert_near("T86", response.t86_s, 0.303_760_169, SAMPLED);
        assert_near("overshoot", response.overshoot_percent, 16.303_353_482, 1e-4);
    }
}

#[test]
fn play_of_known_width_is_found_as_dead_band() {
    // Play of 0.8 % between command and position, staircase on a 0.1 % grid up to 50 % and back.
    let commands = (0..=500).chain((0..500).rev()).map(|i| f64::from(i) / 10.0);
    let mut position = 0.0_f64;
    let staircase: Vec<_> = commands
        .map(|command| {
            position = position.max(command - 0.4).min(command + 0.4);
            (command, position)
        })
        .collect();
    assert_near("dead band", motion::dead_band(&staircase, 1e-6).unwrap(), 0.8, 1e-9);
}

#[test]
fn slow_sweeps_of_a_geared_motor_read_its_coulomb_friction() {
    // Closed form: current = (spring torque ± Tc) / (gear × torque constant), with Tc 0.18 N m, gear 48,
    // K 0.0180 N m/A, spring 0.30 N m + 0.20 N m/rad over 70°, so that the directions lie
    // 2 Tc / (N K) = 0.416667 A apart. The spring opens: it pulls toward opening 1.
    let (coulomb, torque_per_ampere) = (0.18, 48.0 * 0.0180);
    let travel_rad = 70.0_f64.to_radians();
    let sweep = |sign: f64| -> Vec<(f64, f64)> {
        let spring = |opening: f64| 0.30 + 0.20 * travel_rad * (1.0 - opening);
        (0..=2000)
            .map(|i| f64::from(i) / 2000.0)
            .map(|x| (x, (sign * coulomb - spring(x)) / torque_per_ampere))
            .collect()
    };
    let curve = FrictionCurve::try_new(&sweep(1.0), &sweep(-1.0), 0.02).unwrap();
    assert_near("median friction", curve.median(), 0.416_667 / 2.0, 1e-5);
    assert_near("largest friction", curve.largest().friction(), 0.416_667 / 2.0, 1e-5);
    let at_35_degrees = curve.points().iter().find(|p| (p.opening - 0.49).abs() < 0.001).unwrap();
    let held = -(0.30 + 0.20 * travel_rad * 0.51) / torque_per_ampere;
    assert_near("current that balances the spring", at_35_degrees.balance(), held, 1e-3);
}
