//! Tuning against published rules and general-purpose libraries: numbers in `reference/control/`, made by
//! `control_reference.py` (python-control, SciPy), rules and relay after the papers it names.

use std::collections::BTreeMap;

use firmware_core::position::regulator::{Integral, OutputRange, Regulator, RegulatorGains};
use firmware_core::settings::Settings;
use firmware_core::units::TICK_SECONDS;
use tune::{Gains, Loop, Process, Rule, predicted, relay_cycle};
use vanebench_checks::{assert_near, reference_dir};

fn reference() -> BTreeMap<String, f64> {
    let path = reference_dir().join("control/control_reference.csv");
    let mut reader = csv::Reader::from_path(&path).expect("control_reference.csv");
    reader
        .records()
        .map(|record| record.expect("a row"))
        .map(|record| (record[0].to_owned(), record[1].parse().expect("a number")))
        .collect()
}

const FIRST_ORDER: Process = Process::FirstOrder { gain: 1.0, time_constant_s: 8.0, dead_time_s: 1.0 };

fn assert_margins(name: &str, tuned: Loop) {
    let reference = reference();
    let margins = tuned.margins().expect("a crossover");
    for (what, got) in [
        ("gain_margin", margins.gain),
        ("phase_margin_deg", margins.phase_deg),
        ("sensitivity", margins.sensitivity),
        ("crossover_rad_s", margins.crossover_rad_s),
    ] {
        let key = format!("{name}.{what}");
        assert_near(&key, got, reference[&key], 1e-3);
        if let Some(by_library) = reference.get(&format!("{key}_python_control")) {
            assert_near(&key, got, *by_library, 1e-3);
        }
    }
}

#[test]
fn simc_gives_the_paper_s_gains_and_margins_for_first_order_with_dead_time() {
    let gains = Rule::Simc { closed_loop_s: 1.0 }.gains(&FIRST_ORDER);
    let reference = reference();
    assert_near("Kc", gains.proportional, reference["simc_first_order.proportional"], 1e-12);
    assert_near("τI", gains.integral_time_s, reference["simc_first_order.integral_time_s"], 1e-12);
    // Table 1 of the paper prints 3.14, 61.4° and 1.59 for this row (values from memory).
    assert_margins("simc_first_order", Loop { process: FIRST_ORDER, gains });
    let lambda = Rule::Simc { closed_loop_s: 24.0 }.gains(&FIRST_ORDER);
    assert_near("λ = 3τ", lambda.proportional, reference["lambda.proportional"], 1e-12);
}

#[test]
fn simc_gives_the_paper_s_gains_and_margins_for_an_integrating_process() {
    let process = Process::Integrating { gain_per_s: 1.0, time_constant_s: 0.0, dead_time_s: 1.0 };
    let gains = Rule::Simc { closed_loop_s: 1.0 }.gains(&process);
    let reference = reference();
    assert_near("Kc", gains.proportional, reference["simc_integrating.proportional"], 1e-12);
    assert_near("τI", gains.integral_time_s, reference["simc_integrating.integral_time_s"], 1e-12);
    assert_margins("simc_integrating", Loop { process, gains });
}

#[test]
fn the_position_loop_has_the_margins_and_the_step_that_python_control_finds() {
    let process = Process::Integrating { gain_per_s: 0.8914, time_constant_s: 0.0107, dead_time_s: 0.0021 };
    let gains = Rule::Simc { closed_loop_s: 0.012 }.gains(&process);
    let reference = reference();
    assert_near("Kp", gains.proportional, reference["position.proportional"], 1e-9);
    assert_near("τI", gains.integral_time_s, reference["position.integral_time_s"], 1e-9);
    assert_near("τD", gains.derivative_time_s, reference["position.derivative_time_s"], 1e-9);
    assert_margins("position", Loop { process, gains });
    let step = predicted(&Loop { process, gains }, 0.0, 1.0);
    for at_ms in [10, 20, 30, 50, 80, 120, 200, 300] {
        let want = reference[&format!("position.step_{at_ms}_ms")];
        assert_near(&format!("step at {at_ms} ms"), step.opening[at_ms - 1], want, 1e-3);
    }
}

#[test]
fn the_default_position_loop_is_what_the_rule_gives_for_the_bench_actuator() {
    let (reference, position) = (reference(), Settings::default().position);
    for (name, got) in [
        ("position.proportional", position.gain_v),
        ("position.integral_time_s", position.integral_time_s),
        ("position.derivative_time_s", position.derivative_time_s),
    ] {
        assert_near(name, f64::from(got), reference[name], 0.02);
    }
}

#[test]
fn the_relay_s_limit_cycle_has_its_closed_form_and_the_describing_function_s_error() {
    let (cycle, reference) = (relay_cycle(&FIRST_ORDER, 1.0), reference());
    assert_near("amplitude", cycle.amplitude, reference["relay.amplitude"], 1e-3);
    assert_near("period", cycle.period_s, reference["relay.period_s"], 1e-3);
    assert_near("4d/(πa)", cycle.ultimate_gain, reference["relay.ultimate_gain"], 1e-3);
    let error = cycle.ultimate_gain / reference["relay.true_ultimate_gain"] - 1.0;
    assert_near("against the true ultimate gain", error, -0.180, 5e-3);
}

/// The controller's own regulator around exp(−s)/(8s + 1), dead time exact.
fn regulated(limit: f32) -> (f64, f64) {
    let gains = RegulatorGains {
        proportional: 4.0,
        integral_time_s: 8.0,
        derivative_time_s: 0.0,
        derivative_filter_s: 0.001,
    };
    let (mut regulator, mut value) = (Regulator::default(), 0.0_f64);
    let (mut delay, keep) = (vec![0.0_f64; 1000], (-f64::from(TICK_SECONDS) / 8.0).exp());
    let (mut error_sum, mut peak) = (0.0, 0.0_f64);
    for tick in 0..60_000 {
        let range = OutputRange { low: -limit, high: limit };
        let output = regulator.tick(&gains, 1.0, value as f32, range, Integral::Runs);
        let late = core::mem::replace(&mut delay[tick % 1000], f64::from(output));
        value = late + (value - late) * keep;
        error_sum += (1.0 - value).abs() * f64::from(TICK_SECONDS);
        peak = peak.max(value);
    }
    (error_sum, peak)
}

#[test]
fn the_regulator_s_step_has_the_reference_error_and_it_does_not_wind_up() {
    let reference = reference();
    let (error, _) = regulated(1.0e6);
    assert_near("integral of |error|", error, reference["pi_step.integral_absolute_error"], 2e-3);
    let (error, peak) = regulated(1.2);
    assert_near("peak when saturated", peak, reference["windup.peak_conditional"], 1e-3);
    let want = reference["windup.integral_absolute_error_conditional"];
    assert_near("integral of |error| when saturated", error, want, 2e-3);
    assert!(reference["windup.peak_without"] > 1.18, "without protection the same loop overshoots by 18 %");
}

#[test]
fn a_series_pid_and_its_parallel_form_have_the_same_response() {
    // (1 + 1/(6s))·(1 + 2s)·3 = 3·(1 + 2/6) + 3/(6s) + 3·2s, by hand.
    let gains = Gains::from_series(3.0, 6.0, 2.0);
    assert_near("proportional", gains.proportional, 4.0, 1e-12);
    assert_near("integral", gains.proportional / gains.integral_time_s, 0.5, 1e-12);
    assert_near("derivative", gains.proportional * gains.derivative_time_s, 6.0, 1e-12);
}
