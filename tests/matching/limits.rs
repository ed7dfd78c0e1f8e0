//! The limits go along with a swap.
#![allow(clippy::unwrap_used, reason = "a check that cannot be set up must fail")]

use std::f64::consts::PI;

use firmware_core::settings::Settings;
use parts::matching::{
    CarriedLimits, SpeedLimitBy, StatedLimits, match_sheets, remap_settings, usual_tip_speed_m_s,
};
use parts::{Material, PartsSheet, Wheel};
use proptest::prelude::*;
use vanebench_checks::assert_near;

const RING_A: &str = include_str!("../../rigs/profiles/sheets/ring-a.toml");
const INLET_C: f64 = 800.0;

fn sheet(text: &str) -> PartsSheet {
    PartsSheet::parse("t", text).unwrap()
}

/// Ring A with another compressor wheel of the same trim.
fn with_compressor(exducer_mm: f64) -> PartsSheet {
    sheet(
        &RING_A
            .replace("exducer = { mm = 50.0", &format!("exducer = {{ mm = {exducer_mm}"))
            .replace("inducer = { mm = 38.0", &format!("inducer = {{ mm = {}", 0.76 * exducer_mm)),
    )
}

fn nothing_stated() -> StatedLimits {
    StatedLimits { boost_kpa: None, source: None, turbine_inlet_c: INLET_C }
}

fn limits(new: &PartsSheet, stated: StatedLimits) -> CarriedLimits {
    CarriedLimits::between(&sheet(RING_A), new, &Settings::default().guard.limits, stated).unwrap()
}

fn carried(new: &PartsSheet, stated: StatedLimits) -> Settings {
    let found = match_sheets(&sheet(RING_A), new).unwrap();
    remap_settings(&found, &limits(new, stated), &Settings::default()).unwrap().settings
}

#[test]
fn the_boost_limit_that_is_stated_is_the_one_that_is_written() {
    let stated = StatedLimits { boost_kpa: Some(240.0), ..nothing_stated() };
    assert_eq!(carried(&sheet(RING_A), stated).guard.limits.boost.0, 240.0);
}

/// A rule of thumb or a wish raises nothing.
#[test]
fn a_boost_limit_above_the_old_one_needs_a_named_source() {
    let stated = StatedLimits { boost_kpa: Some(300.0), ..nothing_stated() };
    let held = Settings::default().guard.limits;
    let refused = CarriedLimits::between(&sheet(RING_A), &sheet(RING_A), &held, stated.clone()).unwrap_err();
    assert!(refused.to_string().contains("280") && refused.to_string().contains("--limit-source"));
    let source = Some("engine maker's instructions, page 12".to_owned());
    let allowed = StatedLimits { source, ..stated };
    assert_eq!(carried(&sheet(RING_A), allowed).guard.limits.boost.0, 300.0);
}

/// 185 000 rpm of a 50 mm wheel are 484.3 m/s; the same tip speed on 66 mm is 140 152 rpm.
#[test]
fn a_larger_wheel_keeps_its_tip_speed_not_the_speed() {
    for (exducer_mm, rpm) in [(66.0, 140_151.5), (98.0, 94_387.8)] {
        let settings = carried(&with_compressor(exducer_mm), nothing_stated());
        let limit = f64::from(settings.guard.limits.turbo_speed.0);
        assert_near("limit", limit, rpm, 1e-5);
        assert_near("tip speed", limit / 60.0 * PI * exducer_mm * 1e-3, 484.3, 1e-4);
        let table = settings.guard.limits.speed_estimate_rpm;
        let before = Settings::default().guard.limits.speed_estimate_rpm;
        for (new, old) in table.into_iter().zip(before) {
            assert_near("estimate", f64::from(new / old), 50.0 / exducer_mm, 1e-6);
        }
    }
}

/// The table follows a smaller wheel up, the limit does not without a source.
#[test]
fn a_smaller_wheel_raises_the_estimate_and_only_a_named_source_the_limit() {
    let settings = carried(&with_compressor(44.0), nothing_stated());
    assert_eq!(settings.guard.limits.turbo_speed.0, 185_000.0);
    let before = Settings::default().guard.limits.speed_estimate_rpm[4];
    let estimate = settings.guard.limits.speed_estimate_rpm[4];
    assert_near("estimate", f64::from(estimate / before), 50.0 / 44.0, 1e-6);
    let text = RING_A.replace("exducer = { mm = 50.0", "exducer = { mm = 44.0").replace(
        "[housing]",
        "[rotor]\nspeed_limit = { rpm = 205000, with = \"data sheet of the invented turbo\" }\n[housing]",
    );
    let text = text.replace("inducer = { mm = 38.0", "inducer = { mm = 33.44");
    let with_source = carried(&sheet(&text), nothing_stated());
    assert_eq!(with_source.guard.limits.turbo_speed.0, 205_000.0);
    let by = limits(&sheet(&text), nothing_stated()).turbo_by;
    assert_eq!(by, SpeedLimitBy::Source { source: "data sheet of the invented turbo".into() });
}

/// The turbine's limit counts where it is the lower one, and hot gas lowers it.
#[test]
fn the_lower_of_both_wheels_decides_and_hot_gas_lowers_the_turbines() {
    let larger = sheet(&RING_A.replace("inducer = { mm = 46.0", "inducer = { mm = 48.0"));
    let carried = limits(&larger, nothing_stated());
    assert_near("limit", carried.turbo_rpm.1, 185_000.0 * 46.0 / 48.0, 1e-9);
    assert_eq!(carried.turbo_by, SpeedLimitBy::TipSpeedKept { wheel: Wheel::Turbine });
    let hot = StatedLimits { turbine_inlet_c: 950.0, ..nothing_stated() };
    let hot = limits(&sheet(RING_A), hot);
    assert_eq!(hot.turbo_by, SpeedLimitBy::Material { wheel: Wheel::Turbine });
    let tip = usual_tip_speed_m_s(Wheel::Turbine, Material::Nickel, 950.0);
    assert_near("limit", hot.turbo_rpm.1, tip * 60.0 / (PI * 0.046), 1e-9);
}

/// A lighter rotor gains more speed after a trip.
#[test]
fn the_margin_for_what_is_still_gained_never_falls() {
    let (before, lighter) = (Settings::default(), carried(&with_compressor(44.0), nothing_stated()));
    let margin = |settings: &Settings| settings.guard.limits.turbo_speed_lag_margin.0;
    assert!(margin(&lighter) > margin(&before));
    assert!(margin(&carried(&with_compressor(66.0), nothing_stated())) >= margin(&before));
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: vanebench_checks::cases(64),
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    /// No wheel, material or temperature raises the limit, and more diameter never does.
    #[test]
    fn no_rule_raises_a_limit(exducer_mm in 40.0..100.0_f64, more in 0.0..20.0_f64, inlet_c in 300.0..1100.0_f64) {
        let stated = || StatedLimits { turbine_inlet_c: inlet_c, ..nothing_stated() };
        let (small, large) = (with_compressor(exducer_mm), with_compressor(exducer_mm + more));
        let (small, large) = (limits(&small, stated()).turbo_rpm.1, limits(&large, stated()).turbo_rpm.1);
        prop_assert!(small <= 185_000.0 && large <= small, "{small} {large}");
        let settings = carried(&with_compressor(exducer_mm), stated());
        prop_assert!(f64::from(settings.guard.limits.turbo_speed.0) <= small);
    }
}
