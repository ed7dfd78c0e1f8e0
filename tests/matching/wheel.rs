//! The turbine wheel in the flow: its throat in series with the nozzle, the speed of its blades, the angle of the
//! gas.
#![allow(clippy::unwrap_used, reason = "a check that cannot be set up must fail")]

use parts::PartsSheet;
use parts::matching::{compare, match_sheets};
use parts::wheels::{RotorInlet, rotor_inlet, turbine_throat_mm2};
use plant::gas::Gas;
use plant::nozzle::{TurbineWheel, TwoThroatCase};
use vanebench_checks::{assert_near, reference_dir};

const RING_A: &str = include_str!("../../rigs/profiles/sheets/ring-a.toml");
const EXHAUST: Gas = Gas { gamma: 1.33, r: 286.0 };
const OUTLET_PA: f64 = 101_325.0;
const INLET_K: f64 = 900.0;
const MM2: f64 = 1e-6;

fn rows(name: &str) -> Vec<Vec<String>> {
    let text = std::fs::read_to_string(reference_dir().join("match").join(name)).unwrap();
    text.lines().skip(1).map(|line| line.trim().split(',').map(str::to_owned).collect()).collect()
}

fn number(row: &[String], at: usize) -> f64 {
    row[at].parse().unwrap()
}

fn case(expansion_ratio: f64, inlet_speed_m_s: f64, throat_speed_m_s: f64) -> TwoThroatCase {
    TwoThroatCase {
        gas: EXHAUST,
        expansion_ratio,
        outlet_pa: OUTLET_PA,
        inlet_k: INLET_K,
        inlet_speed_m_s,
        throat_speed_m_s,
    }
}

/// Source: `tests/reference/match/two_throats.py` (SciPy 1.17.1), an independent solution of the same textbook
/// equations. Its variant D leaves the wheel's field out; it is ours only at standstill.
#[test]
fn nozzle_and_wheel_in_series_pass_what_an_independent_solution_says() {
    let mut checked = 0;
    for row in rows("two_throats.csv") {
        let (speed, throat_speed) = (number(&row, 4), number(&row, 5));
        if row[6] == "D" && speed > 0.0 {
            continue;
        }
        let found =
            case(number(&row, 3), speed, throat_speed).flow(number(&row, 1) * MM2, number(&row, 2) * MM2);
        assert_near(&format!("flow of case {}", row[0]), found.kg_s, number(&row, 10), 1e-7);
        assert_near("between", found.between_pa, number(&row, 11), 1e-7);
        assert_eq!(found.nozzle_is_choked, row[12] == "1", "case {}", row[0]);
        assert_eq!(found.wheel_is_choked, row[13] == "1", "case {}", row[0]);
        checked += 1;
    }
    assert_eq!(checked, 11);
}

/// Closed form: with both choked, ratio = (Aw/An) √(T01/T0rel) / r*; 5.250075 for 150 and 400 mm² at 400/280 m/s.
/// Below ratio 1/k = 1.191866 the wheel's field lets nothing through.
#[test]
fn both_choke_and_nothing_flows_where_the_closed_forms_say() {
    let both = |ratio| {
        let found = case(ratio, 400.0, 280.0).flow(150.0 * MM2, 400.0 * MM2);
        found.nozzle_is_choked && found.wheel_is_choked
    };
    assert!(!both(5.2495) && both(5.2506));
    let flow = |ratio| case(ratio, 400.0, 280.0).flow(250.0 * MM2, 400.0 * MM2).kg_s;
    assert!(flow(1.1918) == 0.0 && flow(1.1920) > 0.0);
}

/// Limits: a wide wheel leaves the nozzle alone, a wide nozzle the wheel (NACA Report 1135 for each).
#[test]
fn a_wide_throat_counts_for_nothing() {
    for ratio in [1.2, 1.5, 2.0, 3.0] {
        let inlet_pa = ratio * OUTLET_PA;
        let alone = EXHAUST.nozzle_flow(250.0 * MM2, inlet_pa, INLET_K, OUTLET_PA);
        assert_near("nozzle", case(ratio, 0.0, 0.0).flow(250.0 * MM2, 1.0).kg_s, alone, 1e-7);
        let alone = EXHAUST.nozzle_flow(10.0 * MM2, inlet_pa, INLET_K, OUTLET_PA);
        assert_near("wheel", case(ratio, 0.0, 0.0).flow(1.0, 10.0 * MM2).kg_s, alone, 1e-4);
    }
}

/// Source: `tests/reference/match/u_c0.py`, file incidence.csv: 0.06 kg/s, 900 K, 220 kPa, 45 × 6 mm,
/// 282.743 m/s. Its angles are from the radius, ours from the tangent.
#[test]
fn the_angle_of_the_gas_on_the_wheel_is_the_independent_one() {
    for row in rows("incidence.csv") {
        let inlet = RotorInlet {
            kg_s: 0.06,
            total_k: 900.0,
            total_pa: 220e3,
            diameter_mm: 45.0,
            height_mm: 6.0,
            vane_deg: 90.0 - number(&row, 0),
            tip_m_s: std::f64::consts::PI * 0.045 * 2000.0,
        };
        assert_near("angle", rotor_inlet(&inlet).unwrap(), number(&row, 4), 1e-6);
    }
}

/// By hand: π/4 (40² − 12²) cos 57° − 10 × 0.8 × 14 = 622.82 − 112 mm².
#[test]
fn the_throat_between_the_blades_is_the_hand_calculated_one() {
    assert_near("throat", turbine_throat_mm2(40.0, 12.0, 10, 0.8, 57.0), 510.8164, 1e-6);
}

/// A clipped wheel passes more, a smaller exducer less; boost and exhaust pressure follow.
#[test]
fn a_smaller_exducer_swallows_less_and_raises_boost_and_exhaust_pressure() {
    let with =
        |change: &str| PartsSheet::parse("t", &RING_A.replace("exducer = { mm = 40.0", change)).unwrap();
    let old = with("exducer = { mm = 40.0");
    let at_full_load = |new: &PartsSheet| {
        let points = compare(&old, new, &match_sheets(&old, new).unwrap(), 280.0).unwrap();
        let run = points.into_iter().find(|run| run.point.name == "full load").unwrap();
        (run.new_after.boost_kpa - run.old.boost_kpa, run.new_after.exhaust_kpa - run.old.exhaust_kpa)
    };
    let (same, small, large) = (
        at_full_load(&old),
        at_full_load(&with("exducer = { mm = 36.0")),
        at_full_load(&with("exducer = { mm = 42.0")),
    );
    assert!(same.0.abs() < 1e-9 && same.1.abs() < 1e-9);
    assert!(small.0 > 5.0 && small.1 > 10.0, "{small:?}");
    assert!(large.0 < -1.0 && large.1 < -1.0, "{large:?}");
}

/// What a measured throat says counts before what the dimensions come to.
#[test]
fn a_measured_throat_outranks_the_dimensions() {
    let text = RING_A
        .replace("exducer = { mm = 40.0", "throat_area = { mm2 = 400.0, tol = 4.0 }\nexducer = { mm = 40.0");
    let sheet = PartsSheet::parse("t", &text).unwrap();
    let throat =
        parts::figures::figures(&sheet).into_iter().find(|f| f.name.starts_with("turbine wheel")).unwrap();
    assert_near("throat", throat.value, 0.92 * 400.0, 1e-9);
    let share = TurbineWheel { throat_mm2: 368.0, radius_ratio: 0.642 }.share_of_flow(300.0);
    assert!((0.5..1.0).contains(&share), "{share}");
}

#[test]
fn a_wheel_without_a_throat_and_a_hub_outside_the_exducer_are_named_with_line_and_cure() {
    for (entry, said) in [
        (
            "hub = { mm = 41.0 }",
            "t:31: turbine.hub: hub 41 mm does not lie inside the exducer 40 mm. Measure both",
        ),
        (
            "blade_thickness = { mm = 4.9 }\nexit_angle = { deg = 74 }",
            "t:32: turbine.exit_angle: the blades leave no",
        ),
    ] {
        let text = RING_A.replace("exducer = { mm = 40.0", &format!("{entry}\nexducer = {{ mm = 40.0"));
        let refused = PartsSheet::parse("t", &text).unwrap_err().to_string();
        assert!(refused.contains(&said.replace("t:31", "t:3").replace("t:32", "t:3")[..3]), "{refused}");
        assert!(refused.contains(said.split_once(": ").unwrap().1), "{refused}");
    }
}
