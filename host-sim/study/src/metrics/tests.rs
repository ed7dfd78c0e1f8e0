//! Metrics of traces written by hand.

use super::*;

fn row(t_s: f64, boost_kpa: f64, target: f64, opening: f64) -> TraceRow {
    TraceRow {
        t_s,
        speed_rpm: 2000.0,
        fuel_asked_mg: 25.0,
        fuel_mg: 25.0,
        boost_target_kpa: target,
        boost_kpa,
        exhaust_kpa: boost_kpa + 10.0,
        turbo_rpm: 100_000.0,
        opening_target: opening,
        opening,
        duty: 0.0,
        current_a: 0.0,
        stage: GuardStage::Normal,
        air_per_fuel: Some(30.0),
        recirculated_share: None,
        wanted_share: None,
    }
}

fn meter(step_at_s: Option<f64>) -> Meter {
    let limits = RunLimits { boost_kpa: 160.0, ..RunLimits::default() };
    Meter::new(limits, step_at_s, &WorldConfig::default())
}

#[test]
fn a_first_order_step_has_the_textbook_rise_and_settling() {
    // τ = 0.2 s: rise 10–90 % = τ ln 9 = 0.4394 s; within 5 % after τ ln 20 = 0.5991 s.
    let mut meter = meter(Some(1.0));
    for k in 0..4000 {
        let t_s = f64::from(k) * TICK_S;
        let boost = if t_s < 1.0 { 100.0 } else { 150.0 - 50.0 * libm::exp(-(t_s - 1.0) / 0.2) };
        meter.add(&row(t_s, boost, if t_s < 1.0 { 100.0 } else { 150.0 }, 0.5));
    }
    let m = meter.finish();
    assert!((m.rise_s.unwrap() - 0.4394).abs() < 0.0015, "{m:?}");
    // 90 % after τ ln 10 = 0.4605 s.
    assert!((m.time_to_boost_s.unwrap() - 0.4605).abs() < 0.0015, "{m:?}");
    assert!((m.settling_s.unwrap() - 0.5991).abs() < 0.0015, "{m:?}");
    assert_eq!(m.overshoot_pct, Some(0.0));
    assert!((m.boost_iae_kpa_s - 10.0).abs() < 0.03, "∫ = step × τ; {m:?}");
    assert!((m.pumping_kpa - 10.0).abs() < 1e-9);
}

#[test]
fn time_over_a_limit_counts_ticks_and_the_peak_is_kept() {
    let mut meter = meter(None);
    for k in 0..100 {
        meter.add(&row(f64::from(k) * TICK_S, if k < 30 { 165.0 } else { 150.0 }, 150.0, 0.5));
    }
    let m = meter.finish();
    assert!((m.boost_over_limit_s - 0.030).abs() < 1e-12);
    assert_eq!(m.boost_over_limit_kpa, 5.0);
    assert_eq!(m.limits_passed(), [("boost", m.boost_over_limit_s)]);
    assert_eq!((m.rise_s, m.settling_s, m.overshoot_pct), (None, None, None));
}

#[test]
fn reversals_count_turns_and_not_noise() {
    let mut meter = meter(None);
    for k in 0..4000 {
        let t_s = f64::from(k) * TICK_S;
        let swing = 0.5 + 0.2 * libm::sin(core::f64::consts::TAU * t_s);
        let noise = if k % 2 == 0 { 0.001 } else { -0.001 };
        meter.add(&row(t_s, 150.0, 150.0, swing + noise));
    }
    let reversals = meter.finish().reversals;
    assert!((8.0..=9.0).contains(&reversals), "{reversals} turns in 4 periods");
}

#[test]
fn fuel_held_back_counts_strokes_and_gas_its_least_and_its_mean() {
    let mut meter = meter(None);
    for k in 0..100 {
        let mut row = row(f64::from(k) * TICK_S, 150.0, 150.0, 0.5);
        if k < 50 {
            // Twice the speed, so two thirds of all strokes; a fifth of their fuel missing: 13.3 %.
            (row.speed_rpm, row.fuel_mg, row.air_per_fuel) = (4000.0, 20.0, Some(18.0));
            row.recirculated_share = Some(if k < 25 { 0.1 } else { 0.2 });
            row.wanted_share = Some(0.14);
        }
        meter.add(&row);
    }
    let m = meter.finish();
    assert!((m.fuel_held_back_pct - 100.0 / 7.5).abs() < 1e-9, "{m:?}");
    assert_eq!(m.least_air_fuel, Some(18.0));
    assert!((m.recirculated_pct.unwrap() - 15.0).abs() < 1e-9, "{m:?}");
    // 25 ticks 0.04 short, 25 ticks 0.06 over.
    assert!((m.recirculation_iae_s.unwrap() - 0.0025).abs() < 1e-12, "{m:?}");
}
