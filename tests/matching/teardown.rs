//! Teardown record, empty sheet, two units side by side.
#![allow(clippy::unwrap_used, reason = "a check that cannot be set up must fail")]

use parts::compare::compare_sheets;
use parts::teardown::balance_grade_mm_s;
use parts::{PartsSheet, TEMPLATE};
use vanebench_checks::assert_near;

const RING_A: &str = include_str!("../../rigs/profiles/sheets/ring-a.toml");
const TEARDOWN: &str = "[rotor]\nmass = { g = 500.0, tol = 0.5 }\n[teardown]\nring_held_by = \"dowel\"\n\
    ring_held_to = \"bearing-housing face\"\naxial_play = { mm = 0.06, tol = 0.005 }\n\
    compressor_unbalance = { g_mm = 0.049736, tol = 0.005 }\nturbine_unbalance = { g_mm = 0.049736, tol = 0.005 }\n\
    balance_speed = { rpm = 120000 }\nrotor_behaviour = \"rigid\"\nwear = [{ vane = 3, what = \"crack\" }]\n\
    photos = [\"ring.jpg\"]\n[indexing]";

fn sheet(text: &str) -> PartsSheet {
    PartsSheet::parse("t", text).unwrap_or_else(|error| panic!("{error}"))
}

fn with_teardown(change: (&str, &str)) -> String {
    RING_A.replacen("[indexing]", &TEARDOWN.replace(change.0, change.1), 1)
}

/// Source: e_per ω = G (ISO 21940-11 by secondary pages, its text not read); 0.5 kg, G 2.5 at 120 000 rpm is
/// 0.049736 g mm in each plane.
#[test]
fn a_rigid_rotor_has_the_worked_grade_and_a_flexible_one_none() {
    let grade = balance_grade_mm_s(&sheet(&with_teardown(("", ""))));
    assert_near("G", grade.unwrap(), 2.5, 1e-4);
    assert_eq!(balance_grade_mm_s(&sheet(&with_teardown(("\"rigid\"", "\"flexible\"")))), None);
    assert_eq!(balance_grade_mm_s(&sheet(RING_A)), None);
}

#[test]
fn a_vane_that_the_ring_has_not_and_a_wrong_word_are_named_with_their_line() {
    for (change, said) in [
        (("vane = 3", "vane = 12"), "teardown.wear: is 12; allowed: 1 to 11"),
        (
            ("\"dowel\"", "\"glue\""),
            "t:53: teardown.ring_held_by: is not a parts sheet: unknown variant `glue`",
        ),
        (("axial_play", "axial_pley"), "teardown.axial_pley: is not known here"),
    ] {
        let refused = PartsSheet::parse("t", &with_teardown(change)).unwrap_err().to_string();
        assert!(refused.contains(said), "{refused}");
    }
}

#[test]
fn the_same_sheet_twice_differs_in_nothing() {
    let found = compare_sheets(&sheet(RING_A), &sheet(RING_A));
    assert!(found.words.is_empty());
    assert!(found.values.iter().chain(&found.figures).all(|d| d.difference == 0.0 && !d.is_known()));
}

#[test]
fn what_differs_is_told_with_what_it_does_and_whether_the_measurement_can_tell() {
    let taller = RING_A
        .replace("height = { mm = 6.0", "height = { mm = 6.3")
        .replace("chord = { mm = 17.5", "chord = { mm = 17.52");
    let found = compare_sheets(&sheet(RING_A), &sheet(&taller.replace("blades = 10", "blades = 11")));
    let value = |name: &str| found.values.iter().find(|d| d.name == name).unwrap();
    assert!(value("nozzle.height").is_known() && !value("nozzle.chord").is_known());
    assert_near("difference", value("nozzle.height").difference, 0.3, 1e-9);
    assert_near(
        "u",
        value("nozzle.height").standard_uncertainty,
        0.02 / 3.0_f64.sqrt() * 2.0_f64.sqrt(),
        1e-9,
    );
    let area = found.figures.iter().find(|d| d.name == "open throat area").unwrap();
    assert!(area.is_known() && area.difference > 0.0, "{area:?}");
    // No error, no uncertainty: not one of rounding either.
    let exact = RING_A.replace("inducer = { mm = 38.0, tol = 0.05 }", "inducer = { mm = 38.0, tol = 0.0 }");
    let exact = exact.replace("exducer = { mm = 50.0, tol = 0.05 }", "exducer = { mm = 50.0, tol = 0.0 }");
    let same = compare_sheets(&sheet(&exact), &sheet(&exact));
    let trim = same.figures.iter().find(|d| d.name.contains("compressor trim")).unwrap();
    assert_eq!(trim.standard_uncertainty, 0.0);
    assert_eq!(found.words, ["turbine blades: 10 → 11"]);
}

/// Uncommented and filled in, the template is a sheet: no key of it is unknown.
#[test]
fn every_key_of_the_empty_sheet_is_known() {
    let filled: String = TEMPLATE
        .lines()
        .map(|line| match line.strip_prefix("# ") {
            Some(entry) if entry.contains(" = {") || entry.contains(" = \"") || entry.contains(" = [") => {
                entry
            }
            _ => line,
        })
        .filter(|line| !line.starts_with("\"calliper"))
        .map(|line| format!("{line}\n"))
        .collect();
    let refused = PartsSheet::parse("t", &filled).unwrap_err().to_string();
    assert!(refused.contains("nozzle.vanes") && !refused.contains("is not known here"), "{refused}");
    assert!(!refused.contains("must be written as"), "{refused}");
}
