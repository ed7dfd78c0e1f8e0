//! The match with every part in: wheels, rotor, ring, limits. Itself is the identity, there and back undoes, and each
//! part moves the engine one way only.
#![allow(clippy::unwrap_used, reason = "a check that cannot be set up must fail")]

use firmware_core::settings::Settings;
use parts::matching::{
    AirComparison, Breathing, CarriedLimits, Chain, GaugeJob, MinimumFlow, PowerRanges, StatedLimits,
    compare, match_sheets, remap_settings,
};
use parts::{Field, PartsSheet};
use proptest::prelude::*;

const RANGES: PowerRanges = PowerRanges { air_fuel: (18.0, 28.0), g_per_kwh: (200.0, 240.0) };
const LIMIT_KPA: f64 = 280.0;
/// Differences below this are the solver's, kPa.
const SOLVED_KPA: f64 = 0.05;

fn ring_a() -> PartsSheet {
    PartsSheet::parse("a", include_str!("../../rigs/profiles/sheets/ring-a.toml")).unwrap()
}

fn air(old: &PartsSheet, new: &PartsSheet) -> Vec<AirComparison> {
    compare(old, new, &match_sheets(old, new).unwrap(), LIMIT_KPA).unwrap()
}

fn limits(old: &PartsSheet, new: &PartsSheet, held: &Settings) -> CarriedLimits {
    let stated = StatedLimits { boost_kpa: None, source: None, turbine_inlet_c: 800.0 };
    CarriedLimits::between(old, new, &held.guard.limits, stated).unwrap()
}

/// Settings carried from one turbo to another.
fn carried(old: &PartsSheet, new: &PartsSheet, held: &Settings) -> Settings {
    let found = match_sheets(old, new).unwrap();
    remap_settings(&found, &limits(old, new, held), held).unwrap().settings
}

/// Ring A's turbo with other parts on it, each value times a factor.
fn with(factors: &[(Field, f64)]) -> PartsSheet {
    factors
        .iter()
        .fold(ring_a(), |sheet, &(field, factor)| sheet.with_value(field, factor * sheet.value(field)))
}

prop_compose! {
    /// A turbo that fits the same engine: wheels, rotor, vanes.
    fn turbos()(
        compressor in 0.94..1.06_f64, trim in 0.95..1.05_f64, turbine in 0.96..1.04_f64, exducer in 0.94..1.04_f64,
        inertia in 0.7..1.4_f64, height in 0.93..1.08_f64,
    ) -> PartsSheet {
        with(&[
            (Field::CompressorExducer, compressor),
            (Field::CompressorInducer, compressor * trim),
            (Field::TurbineInducer, turbine),
            (Field::TurbineExducer, exducer),
            (Field::RotorInertia, inertia),
            (Field::VaneHeight, height),
        ])
    }
}

/// Openings of all tables of a controller.
fn openings(settings: &Settings) -> Vec<f32> {
    let target = &settings.target;
    target
        .feed_forward
        .0
        .as_flattened()
        .iter()
        .chain(target.minimum_opening.0.as_flattened())
        .copied()
        .collect()
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: vanebench_checks::cases(6),
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn a_turbo_matched_to_itself_changes_nothing_anywhere(turbo in turbos()) {
        let held = Settings::default();
        let found = match_sheets(&turbo, &turbo).unwrap();
        prop_assert_eq!(found.minimum_flow, MinimumFlow::Equal);
        let air = air(&turbo, &turbo);
        for run in &air {
            for (new, old) in [
                (run.new_after.boost_kpa, run.old.boost_kpa),
                (run.new_before.exhaust_kpa, run.old.exhaust_kpa),
                (run.new_after.turbo_rpm, run.old.turbo_rpm),
                (run.new_after.wheels.blade_speed_ratio, run.old.wheels.blade_speed_ratio),
            ] {
                prop_assert!((new / old - 1.0).abs() < 1e-9, "{}: {} {}", run.point.name, new, old);
            }
            if let Some(same) = run.same_boost {
                prop_assert!((same.new_after.time_s - same.old.time_s).abs() < 1e-9);
                prop_assert!((same.new_after.spool_j - same.old.spool_j).abs() < 1e-6 * same.old.spool_j);
            }
        }
        // The material's rule of thumb may lower a limit that the turbo had; nothing else moves it.
        let limits = limits(&turbo, &turbo, &held);
        prop_assert!(limits.turbo_rpm.1 <= limits.turbo_rpm.0);
        prop_assert!((limits.estimate_factor - 1.0).abs() < 1e-12 && limits.lag_factor >= 1.0);
        let breathing = Breathing::of([&turbo, &turbo], &air, &limits, RANGES);
        for [old, new] in &breathing.points {
            prop_assert!((new.air_kg_s - old.air_kg_s).abs() < 1e-9);
            prop_assert!((new.surge_margin.0 - old.surge_margin.0).abs() < 1e-9);
            prop_assert!((new.choke_margin.0 - old.choke_margin.0).abs() < 1e-9);
        }
        let [old, new] = &breathing.potential;
        if limits.turbo_rpm.1 == limits.turbo_rpm.0 {
            prop_assert_eq!(old, new);
        } else {
            prop_assert!(new.air_kg_s.unwrap().1 < old.air_kg_s.unwrap().1);
        }
        let known = Chain::of((&turbo, &turbo), &found, 5, &air).unwrap().uncertainty().unwrap();
        let job = GaugeJob::of(&found, &turbo, &known, 5.0);
        prop_assert!((job.angle_deg.value - turbo.value(Field::ClosedAngle)).abs() < 1e-9);
        let after = carried(&turbo, &turbo, &held);
        for (new, old) in openings(&after).into_iter().zip(openings(&held)) {
            prop_assert!((new - old).abs() < 1e-6);
        }
    }

    /// Back again, openings are what they were wherever both rings meet the area, and what the swap did to the engine
    /// has the other sign. A limit that was lowered on the way stays low: nothing but a named source raises one.
    #[test]
    fn there_and_back_undoes_the_swap(one in turbos(), other in turbos()) {
        let held = Settings::default();
        let there = carried(&one, &other, &held);
        let back = carried(&other, &one, &there);
        let (out, home) = (match_sheets(&one, &other).unwrap(), match_sheets(&other, &one).unwrap());
        let met = |opening: f32| {
            let knot = out.knots(513)[(f64::from(opening) * 512.0).round() as usize];
            knot.met == parts::matching::Met::SameArea
        };
        // The stop moves on both ways: only where it need not is the way back the same ring's.
        let stops_stay = out.minimum_flow == MinimumFlow::Equal && home.minimum_flow == MinimumFlow::Equal;
        for (new, old) in openings(&back).into_iter().zip(openings(&held)) {
            if stops_stay && met(old) {
                prop_assert!((new - old).abs() < 1e-4, "{} {}", new, old);
            }
        }
        let factor = limits(&one, &other, &held).estimate_factor * limits(&other, &one, &there).estimate_factor;
        prop_assert!((factor - 1.0).abs() < 1e-9);
        prop_assert!(back.guard.limits.turbo_speed.0 <= held.guard.limits.turbo_speed.0);
        for (run, reverse) in air(&one, &other).iter().zip(air(&other, &one)) {
            let change = run.new_after.exhaust_kpa - run.old.exhaust_kpa;
            let undone = reverse.new_after.exhaust_kpa - reverse.old.exhaust_kpa;
            if change.abs() > 5.0 && run.point.name == "full load" {
                prop_assert!(change * undone < 0.0, "{} {}", change, undone);
            }
        }
    }

    /// Taller vanes leave more at the same opening: less boost, less exhaust pressure, calibration as it is.
    #[test]
    fn more_throat_is_more_area_and_less_boost_at_the_same_opening(turbo in turbos(), more in 1.02..1.15_f64) {
        let wider = turbo.with_value(Field::VaneHeight, more * turbo.value(Field::VaneHeight));
        let area = |sheet: &PartsSheet, opening| sheet.nozzle().unwrap().effective_area_mm2(opening);
        prop_assert!([0.0, 0.5, 1.0].iter().all(|&opening| area(&wider, opening) > area(&turbo, opening)));
        for run in air(&turbo, &wider).iter().take(3) {
            prop_assert!(run.new_before.boost_kpa < run.old.boost_kpa, "{}", run.point.name);
            prop_assert!(run.new_before.exhaust_kpa < run.old.exhaust_kpa, "{}", run.point.name);
        }
    }

    /// A larger exducer passes more: less exhaust pressure at the same nozzle area.
    #[test]
    fn a_larger_wheel_throat_never_raises_exhaust_pressure(turbo in turbos(), more in 1.01..1.06_f64) {
        let larger = turbo.with_value(Field::TurbineExducer, more * turbo.value(Field::TurbineExducer));
        for run in air(&turbo, &larger).iter().take(3) {
            prop_assert!(run.new_after.exhaust_kpa < run.old.exhaust_kpa + SOLVED_KPA, "{}", run.point.name);
        }
    }

    /// A larger inducer at the same exducer never holds less air.
    #[test]
    fn a_larger_inducer_passes_more_air_before_it_chokes(turbo in turbos(), more in 1.01..1.1_f64) {
        let larger = turbo.with_value(Field::CompressorInducer, more * turbo.value(Field::CompressorInducer));
        let choke = |sheet: &PartsSheet| parts::compressor::Inducer::of(sheet).choke_kg_s(400.0, 1e5, 298.0);
        prop_assert!(choke(&larger) > choke(&turbo));
        let held = Settings::default();
        let found = Breathing::of(
            [&turbo, &larger], &air(&turbo, &larger), &limits(&turbo, &larger, &held), RANGES,
        );
        if let [Some(old), Some(new)] = [found.potential[0].air_kg_s, found.potential[1].air_kg_s] {
            prop_assert!(new.1 > old.1, "{:?} {:?}", old, new);
        }
    }

    /// A heavier rotor comes later to the same boost and takes up more energy, and ends at the same boost.
    #[test]
    fn a_heavier_rotor_comes_later_to_the_same_boost(turbo in turbos(), more in 1.05..1.8_f64) {
        let heavier = turbo.with_value(Field::RotorInertia, more * turbo.value(Field::RotorInertia));
        for run in air(&turbo, &heavier).iter().take(3) {
            prop_assert!((run.new_after.boost_kpa - run.old.boost_kpa).abs() < 0.02 * run.old.boost_kpa);
            let same = run.same_boost.unwrap();
            prop_assert!(same.new_after.time_s > same.old.time_s, "{}", run.point.name);
            prop_assert!(same.new_after.spool_j > same.old.spool_j, "{}", run.point.name);
        }
    }
}
