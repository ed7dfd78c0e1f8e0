//! The compressor in a match: choked inducer, measured map, margins, air and power.
#![allow(clippy::unwrap_used, reason = "a check that cannot be set up must fail")]

use firmware_core::settings::Settings;
use parts::PartsSheet;
use parts::compressor::{Inducer, relative_choke_kg_s_m2};
use parts::compressor_map::CompressorMap;
use parts::matching::{
    AirBound, Breathing, CarriedLimits, PowerRanges, StatedLimits, compare, match_sheets, power_kw,
};
use vanebench_checks::{assert_near, reference_dir};

const RING_A: &str = include_str!("../../rigs/profiles/sheets/ring-a.toml");
const MAP: &str = include_str!("../reference/match/compressor_map_invented.csv");
const RANGES: PowerRanges = PowerRanges { air_fuel: (18.0, 28.0), g_per_kwh: (200.0, 240.0) };

fn rows(name: &str) -> Vec<Vec<f64>> {
    let text = std::fs::read_to_string(reference_dir().join("match").join(name)).unwrap();
    let number = |cell: &str| cell.parse().unwrap_or(f64::NAN);
    text.lines().skip(1).map(|line| line.trim().split(',').map(number).collect()).collect()
}

/// Source: `tests/reference/match/inducer_choke.py`, whose closed form equals its own numeric maximum to 4e-16.
#[test]
fn the_choked_inducer_is_the_independent_bound() {
    for (speed, flux) in [
        (0.0, 234.137_620),
        (200.0, 284.273_664),
        (300.0, 356.400_901),
        (400.0, 476.498_939),
        (500.0, 666.987_309),
    ] {
        assert_near("flux", relative_choke_kg_s_m2(speed, 1e5, 298.0), flux, 1e-8);
    }
    for row in rows("inducer_choke.csv") {
        let inducer = Inducer { diameter_mm: row[0], hub_ratio: row[1], tip_angle_deg: row[3] };
        assert_near("bound", inducer.choke_kg_s(row[2], 1e5, 298.0), row[5].min(row[6]), 1e-7);
    }
}

/// Source: `tests/reference/match/compressor_map.py`, method P (SciPy 1.17.1, PCHIP).
#[test]
fn between_the_lines_of_a_map_stands_what_scipy_finds() {
    let map = CompressorMap::parse("map.csv", MAP).unwrap();
    for row in rows("compressor_map.csv") {
        let (beta, ratio, efficiency) = map.at_flow(row[0], row[1]).unwrap();
        assert_near("beta", beta, row[2], 1e-7);
        assert_near("ratio", ratio, row[3], 1e-8);
        assert_near("efficiency", efficiency, row[4], 1e-8);
        let (_, _, _, linear) = (row[0], row[1], row[2], row[5]);
        assert!(linear.is_nan() || (ratio / linear - 1.0).abs() < 0.012);
    }
    for (rpm, flow) in [(50e3, 0.03), (180e3, 0.1), (105e3, 0.02), (105e3, 0.13)] {
        assert_eq!(map.at_flow(rpm, flow), None, "{rpm} {flow}");
    }
    let (surge, choke) = map.ends(105e3).unwrap();
    assert_near("surge end", surge, 0.029_870, 1e-4);
    assert_near("choke end", choke, 0.103_459, 1e-4);
}

/// Its 120 000 rpm line ends at 1.34, 1.20, 1.05 and crosses 90 000 at 0.0836 kg/s, ratio 1.364.
#[test]
fn a_map_that_cannot_be_one_is_named_with_line_and_cure() {
    let crossing = MAP
        .replace("120000,0.08418,1.8029", "120000,0.08418,1.34")
        .replace("120000,0.09791,1.6557", "120000,0.09791,1.20")
        .replace("120000,0.11113,1.4467", "120000,0.11113,1.05");
    let cases = [
        (
            crossing,
            "map.csv:21: the 120000 rpm line crosses the 90000 rpm line at 0.0836 kg/s, ratio 1.364; check units",
        ),
        (MAP.replace("# Tref_K=298.0\n", ""), "map.csv:1: does not state its Tref_K; add `# Tref_K=298`"),
        (
            MAP.replace("# pressure_ratio: total to total\n", ""),
            "map.csv:1: does not state its pressure_ratio; add `# pressure_ratio: total to total`",
        ),
        (
            MAP.replace("Tref_K=298.0", "Tref_K=25"),
            "map.csv:4: Tref_K is \"25\"; allowed: 250 to 350. Check unit",
        ),
        (format!("# pref_Pa=101325\n{MAP}"), "map.csv:6: pref_Pa is already in line 1; keep the right one"),
        (
            MAP.replace("total to total\n# eff", "gauge\n# eff"),
            "map.csv:6: pressure_ratio is \"gauge\"; allowed: total",
        ),
        (
            MAP.replace("90000,0.04345", "90000,0.02345"),
            "map.csv:16: flow does not rise along the 90000 rpm line",
        ),
        (
            MAP.replace("60000,0.03417,1.2195", "60000,34.17,1.2195"),
            "flow_kg_s is 34.17; allowed: 0.001 to 5",
        ),
        (
            MAP.replace("60000,0.03417,1.2195,0.7224", "60000;0.03417"),
            "map.csv:10: \"60000;0.03417\" is not a row",
        ),
        (
            MAP.replace("175000", "100000"),
            "speed 100000 comes after 150000; list the speed lines in rising order",
        ),
    ];
    for (text, said) in cases {
        let refused = CompressorMap::parse("map.csv", &text).unwrap_err().to_string();
        assert!(refused.contains(said), "{refused}");
    }
}

/// Comments between the rows move no line number, and a flow in lb/s is more than the sheet's inducer can pass.
#[test]
fn a_map_in_another_unit_or_of_another_compressor_does_not_go_onto_a_sheet() {
    let sheet = || PartsSheet::parse("a", RING_A).unwrap();
    let commented = MAP.replace("90000,0.04345", "# half way\n90000,0.02345");
    let refused = CompressorMap::parse("map.csv", &commented).unwrap_err().to_string();
    assert!(refused.starts_with("map.csv:17: flow does not rise along the 90000 rpm line"), "{refused}");
    let scaled = |factor: f64| {
        let row = |line: &str| match line.split(',').collect::<Vec<_>>().as_slice() {
            [rpm, flow, ratio, eta] => flow
                .parse::<f64>()
                .map_or(line.into(), |flow| format!("{rpm},{},{ratio},{eta}", factor * flow)),
            _ => line.to_owned(),
        };
        let text: Vec<String> = MAP.lines().map(row).collect();
        CompressorMap::parse("map.csv", &text.join("\n")).unwrap()
    };
    assert!(sheet().with_map(scaled(1.0)).unwrap().map.is_some());
    for factor in [2.204_6, 30.0] {
        let refused = sheet().with_map(scaled(factor)).unwrap_err().to_string();
        assert!(refused.starts_with("map.csv:") && refused.contains("lb/s (× 0.4536)"), "{refused}");
        assert!(refused.contains("inducer of 38.0 mm"), "{refused}");
    }
}

/// Source: `tests/reference/match/air_power.py`: 0.10 kg/s, 22, 215 g/kWh is 76.109937 kW; 0.095 to 0.105, 20 to
/// 25, 205 to 230 is 59.478261 to 92.195122 kW.
#[test]
fn air_supports_the_independent_power() {
    let one = PowerRanges { air_fuel: (22.0, 22.0), g_per_kwh: (215.0, 215.0) };
    assert_near("power", power_kw((0.1, 0.1), one).0, 76.109_937, 1e-8);
    let ranges = PowerRanges { air_fuel: (20.0, 25.0), g_per_kwh: (205.0, 230.0) };
    let (least, most) = power_kw((0.095, 0.105), ranges);
    assert_near("least", least, 59.478_261, 1e-8);
    assert_near("most", most, 92.195_122, 1e-8);
}

fn breathing(old: &PartsSheet, new: &PartsSheet) -> Breathing {
    let found = match_sheets(old, new).unwrap();
    let air = compare(old, new, &found, 280.0).unwrap();
    let stated = StatedLimits { boost_kpa: None, source: None, turbine_inlet_c: 800.0 };
    let limits = CarriedLimits::between(old, new, &Settings::default().guard.limits, stated).unwrap();
    Breathing::of([old, new], &air, &limits, RANGES)
}

fn with_compressor(exducer_mm: f64, inducer_mm: f64) -> PartsSheet {
    let text = RING_A
        .replace("exducer = { mm = 50.0", &format!("exducer = {{ mm = {exducer_mm}"))
        .replace("inducer = { mm = 38.0", &format!("inducer = {{ mm = {inducer_mm}"));
    PartsSheet::parse("t", &text).unwrap()
}

/// Margins move the right way, and the larger inducer holds more air.
#[test]
fn a_larger_compressor_comes_nearer_to_surge_and_holds_more_air() {
    let (old, larger) = (with_compressor(50.0, 38.0), with_compressor(56.0, 42.56));
    let found = breathing(&old, &larger);
    let [tip_old, tip_new] = found.points[1];
    assert!(
        tip_new.surge_margin.0 < tip_old.surge_margin.0 && tip_new.choke_margin.0 > tip_old.choke_margin.0
    );
    assert!(tip_old.surge_margin.1 > 0.0 && tip_old.choke_margin.1 > 0.0);
    let [potential_old, potential_new] = found.potential;
    assert!(potential_new.air_kg_s.unwrap().0 > potential_old.air_kg_s.unwrap().0);
    let (least, most) = potential_new.power_kw.unwrap();
    assert!(0.0 < least && least < most);
    let same = breathing(&old, &old);
    assert_eq!(same.potential[0], same.potential[1]);
    // A wheel trimmed far back chokes in its inducer before its speed ends.
    let narrow = breathing(&old, &with_compressor(56.0, 30.0)).potential[1];
    assert!(narrow.air_kg_s.is_some() && matches!(narrow.bound, AirBound::Inducer | AirBound::TurboSpeed));
}

/// A measured map replaces the estimate: its own ends and its own, smaller, uncertainty.
#[test]
fn a_measured_map_replaces_the_estimate() {
    let plain = with_compressor(50.0, 38.0);
    let mapped = plain.clone().with_map(CompressorMap::parse("map.csv", MAP).unwrap()).unwrap();
    let found = breathing(&plain, &mapped);
    let [estimate, measured] = found.points[1];
    assert!(measured.choke_margin.1 < estimate.choke_margin.1);
    let map = mapped.map.as_ref().unwrap();
    let rpm = measured.tip_m_s / 0.025 * 30.0 / std::f64::consts::PI;
    let to_map = (298.0_f64 / 288.15).sqrt();
    let (surge, _) = map.ends(rpm * to_map).unwrap();
    let surge = surge * 1.013_25 * to_map;
    assert_near("surge margin", measured.surge_margin.0, 1.0 - surge / measured.air_kg_s, 1e-3);
}
