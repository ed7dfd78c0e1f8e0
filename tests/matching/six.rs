//! Seven invented sheets, one thing changed on each, against an independent script.
#![allow(clippy::unwrap_used, reason = "a check that cannot be set up must fail")]

use std::collections::BTreeMap;

use parts::PartsSheet;
use parts::figures::figures;
use parts::flow::bench_flow_g_s;
use parts::matching::{compare, match_sheets};
use plant::nozzle::in_series_mm2;
use vanebench_checks::{assert_near, reference_dir};

fn sheet(name: &str) -> PartsSheet {
    let path = reference_dir().join("match/sheets").join(format!("{name}.toml"));
    PartsSheet::read(&path).unwrap_or_else(|error| panic!("{error}"))
}

/// Source: `tests/reference/match/six_sheets.py` (Python 3.11, numpy 2.4.6, scipy 1.17.1), textbook formulas.
#[test]
fn every_figure_of_the_invented_sheets_is_the_independent_one() {
    let text = std::fs::read_to_string(reference_dir().join("match/six_sheets.csv")).unwrap();
    let mut checked: BTreeMap<&str, u32> = BTreeMap::new();
    for line in text.lines().skip(1) {
        let cells: Vec<&str> = line.trim().split(';').collect();
        let (turbo, want): (_, f64) = (sheet(cells[0]), cells[2].parse().unwrap());
        let got = if cells[1] == "bench flow, closed" {
            let ring = turbo.nozzle().unwrap().effective_area_mm2(0.0);
            bench_flow_g_s(in_series_mm2(ring, turbo.volute_area_mm2()), 5.0, (20.0, 101.325))
        } else {
            figures(&turbo).into_iter().find(|figure| figure.name == cells[1]).unwrap().value
        };
        assert_near(&format!("{}: {}", cells[0], cells[1]), got, want, 1e-6);
        *checked.entry(cells[0]).or_default() += 1;
    }
    assert_eq!(checked.len(), 7);
    assert!(checked.values().all(|&count| count == 13), "{checked:?}");
}

/// Each change moves the engine the way that it must.
#[test]
fn every_change_moves_the_engine_the_right_way() {
    let car = sheet("car");
    let full_load = |name: &str| {
        let new = sheet(name);
        let found = match_sheets(&car, &new).unwrap();
        let air = compare(&car, &new, &found, 280.0).unwrap();
        let run = air.into_iter().find(|run| run.point.name == "full load").unwrap();
        (run.new_opening - run.point.old_opening, run.new_after.exhaust_kpa - run.old.exhaust_kpa)
    };
    // Flatter exit and a smaller hub pass more: less exhaust pressure at the same nozzle area.
    let (opening, exhaust) = full_load("clipped-turbine");
    assert!(opening.abs() < 1e-9 && exhaust < -1.0, "{opening} {exhaust}");
    // Taller vanes need less opening for the same area.
    let (opening, exhaust) = full_load("wider-ring");
    assert!(opening < -0.05 && exhaust.abs() < 5.0, "{opening} {exhaust}");
    assert!(full_load("hybrid-wheel").0.abs() < 1e-9);
    // More vanes take more thickness out of the same circle: they open further.
    assert!(full_load("more-vanes").0 > 0.0);
}
