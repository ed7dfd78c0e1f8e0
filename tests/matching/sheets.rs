//! Faulty parts sheets: each fault is found, named, and told what to do about.
#![allow(clippy::unwrap_used, reason = "a check that cannot be set up must fail")]

use parts::{Field, PartsSheet, Problem};
use proptest::prelude::*;

const RING_A: &str = include_str!("../../rigs/profiles/sheets/ring-a.toml");

/// The demo sheet with one piece of text replaced; the piece must be there.
fn with(from: &str, to: &str) -> String {
    assert!(RING_A.contains(from), "the demo sheet has no {from:?}");
    RING_A.replacen(from, to, 1)
}

/// The only problem of a sheet, with its whole message.
#[track_caller]
fn only_problem(text: &str) -> (Problem, String) {
    let error = PartsSheet::parse("t.toml", text).expect_err("the sheet was accepted");
    assert_eq!(error.findings.len(), 1, "{error}");
    (error.findings[0].problem.clone(), error.to_string())
}

#[test]
fn the_demo_sheets_are_sound() {
    for text in [
        RING_A,
        include_str!("../../rigs/profiles/sheets/ring-b.toml"),
        include_str!("../../rigs/profiles/sheets/ring-c.toml"),
    ] {
        PartsSheet::parse("demo.toml", text).unwrap();
    }
}

#[test]
fn swapped_compressor_diameters_are_named_with_line_and_advice() {
    let text = with("inducer = { mm = 38.0", "inducer = { mm = 51.0");
    let (problem, message) = only_problem(&text);
    assert!(matches!(problem, Problem::DiametersSwapped { .. }));
    let line = 1 + text.lines().position(|line| line.starts_with("inducer")).unwrap();
    assert!(message.contains(&format!("t.toml:{line}: compressor.inducer")), "{message}");
    assert!(message.contains("Swap the two values"), "{message}");
}

#[test]
fn swapped_turbine_diameters_are_named() {
    let (problem, message) = only_problem(&with("exducer = { mm = 40.0", "exducer = { mm = 47.0"));
    assert!(matches!(problem, Problem::DiametersSwapped { .. }));
    assert!(message.contains("enters a radial turbine wheel at its larger diameter"), "{message}");
}

#[test]
fn inches_written_as_millimetres_are_recognised_wherever_they_stand() {
    for (from, inches, mm) in [
        ("inducer = { mm = 38.0", "inducer = { mm = 1.496", "38.00"),
        ("height = { mm = 6.0", "height = { mm = 0.236", "5.99"),
        ("pivot_radius = { mm = 29.0", "pivot_radius = { mm = 1.142", "29.01"),
        ("thickness = { mm = 1.2", "thickness = { mm = 0.047", "1.19"),
    ] {
        let (problem, message) = only_problem(&with(from, inches));
        assert!(matches!(problem, Problem::LooksLikeInches { .. }), "{message}");
        assert!(message.contains(mm) && message.contains("{ in = "), "{message}");
    }
}

#[test]
fn millimetres_written_as_inches_are_recognised() {
    let (problem, message) = only_problem(&with("exducer = { mm = 50.0", "exducer = { in = 50.0"));
    assert!(matches!(problem, Problem::LooksLikeMillimetres { .. }), "{message}");
    assert!(message.contains("1270.0 mm") && message.contains("{ mm = 50 }"), "{message}");
}

#[test]
fn the_same_turbo_in_inches_is_the_same_turbo() {
    let inches = with(
        "exducer = { mm = 50.0, tol = 0.05 }",
        "exducer = { in = 1.968503937007874, tol = 0.001968503937007874 }",
    );
    let (mm, inch) = (PartsSheet::parse("a", RING_A).unwrap(), PartsSheet::parse("b", &inches).unwrap());
    let (mm, inch) = (mm.get(Field::CompressorExducer).unwrap(), inch.get(Field::CompressorExducer).unwrap());
    assert!((mm.value - inch.value).abs() < 1e-12 && (mm.tolerance - inch.tolerance).abs() < 1e-12);
}

#[test]
fn a_count_of_zero_is_named() {
    for (from, to) in
        [("vanes = 11", "vanes = 0"), ("blades = 12", "blades = 0"), ("vanes = 11", "vanes = -3")]
    {
        let (problem, message) = only_problem(&with(from, to));
        assert!(matches!(problem, Problem::Count { .. }), "{message}");
        assert!(message.contains("Count again"), "{message}");
    }
}

#[test]
fn vanes_that_would_overlap_when_closed_are_told_where_they_clear() {
    let (problem, message) = only_problem(&with("closed_angle = { deg = 10.6", "closed_angle = { deg = 3.0"));
    let Problem::VanesOverlap { least, .. } = problem else { panic!("{message}") };
    assert!((3.0..10.6).contains(&least), "{least}");
    let clears = format!("closed_angle = {{ deg = {:.3}", least + 0.01);
    PartsSheet::parse("t.toml", &with("closed_angle = { deg = 10.6", &clears)).unwrap();
}

#[test]
fn swapped_stops_are_named() {
    let (problem, _) = only_problem(&with("open_angle = { deg = 36.0", "open_angle = { deg = 9.0"));
    assert!(matches!(problem, Problem::StopsSwapped { .. }));
}

#[test]
fn vanes_that_would_touch_the_wheel_are_named() {
    let (problem, _) = only_problem(&with("inducer = { mm = 46.0", "inducer = { mm = 54.0"));
    assert!(matches!(problem, Problem::VanesReachWheel { .. }));
}

#[test]
fn a_wheel_and_a_ring_larger_than_their_housing_are_named_with_line_and_cure() {
    let text = with("volute_radius = { mm = 58.0", "volute_radius = { mm = 28.0");
    let (problem, message) = only_problem(&text);
    assert!(matches!(problem, Problem::VoluteInsideRing { .. }));
    let line = 1 + text.lines().position(|line| line.starts_with("volute_radius")).unwrap();
    assert!(message.contains(&format!("t.toml:{line}: housing.volute_radius")), "{message}");
    assert!(message.contains("Measure from the wheel's axis"), "{message}");
}

#[test]
fn a_ring_opened_past_its_widest_throat_is_named() {
    let text = with("open_angle = { deg = 36.0", "open_angle = { deg = 84.0")
        .replace("inducer = { mm = 46.0", "inducer = { mm = 26.0")
        .replace("exducer = { mm = 40.0", "exducer = { mm = 20.0");
    let (problem, message) = only_problem(&text);
    assert!(matches!(problem, Problem::AreaFalls { .. }), "{message}");
}

#[test]
fn a_sliding_nozzle_is_refused_by_name() {
    let (problem, message) = only_problem(&with("pivoting-vanes", "sliding-nozzle"));
    assert_eq!(problem, Problem::SlidingNozzle);
    assert!(message.contains("sliding-nozzle ring"), "{message}");
}

#[test]
fn units_are_named_once_and_of_the_right_kind() {
    let (problem, _) = only_problem(&with("chord = { mm = 17.5", "chord = { mm = 17.5, in = 0.7"));
    assert!(matches!(problem, Problem::UnitCount { count: 2, .. }));
    let (problem, _) = only_problem(&with("chord = { mm = 17.5, tol = 0.05 }", "chord = { tol = 0.05 }"));
    assert!(matches!(problem, Problem::UnitCount { count: 0, .. }));
    let (problem, _) = only_problem(&with("chord = { mm = 17.5", "chord = { deg = 17.5"));
    assert!(matches!(problem, Problem::WrongUnit { .. }));
}

#[test]
fn numbers_that_are_none_are_refused() {
    let (problem, _) = only_problem(&with("chord = { mm = 17.5", "chord = { mm = nan"));
    assert!(matches!(problem, Problem::NotANumber { what: "value", .. }));
    let (problem, _) =
        only_problem(&with("chord = { mm = 17.5, tol = 0.05", "chord = { mm = 17.5, tol = -0.05"));
    assert!(matches!(problem, Problem::NotANumber { what: "tol", .. }));
}

#[test]
fn a_misspelt_key_and_a_missing_value_are_both_reported_at_once() {
    let text = with("chord = ", "cord = ");
    let error = PartsSheet::parse("t.toml", &text).unwrap_err();
    let problems: Vec<_> = error.findings.iter().map(|finding| &finding.problem).collect();
    assert!(problems.iter().any(|p| matches!(p, Problem::UnknownKey { .. })), "{error}");
    assert!(problems.iter().any(|p| matches!(p, Problem::Missing { .. })), "{error}");
}

#[test]
fn a_sheet_without_names_asks_who_and_with_what() {
    let (problem, _) = {
        let text = with("by = \"bench 1\"\n", "");
        let error = PartsSheet::parse("t.toml", &text).unwrap_err();
        (error.findings[0].problem.clone(), error.to_string())
    };
    assert!(matches!(problem, Problem::NobodyNamed { .. }));
}

#[test]
fn what_was_not_measured_is_marked_as_estimated_with_its_rule() {
    let text = with("thickness = { mm = 1.2, tol = 0.03, with = \"micrometer\" }\n", "");
    let sheet = PartsSheet::parse("t.toml", &text).unwrap();
    let thickness = sheet.get(Field::VaneThickness).unwrap();
    assert!(thickness.is_estimated());
    assert!((thickness.value - 1.75).abs() < 1e-12, "0.10 × 17.5 mm");
    assert!(format!("{:?}", thickness.origin).contains("0.10 × chord"));
}

#[test]
fn half_a_linkage_is_refused_by_what_is_missing() {
    let (problem, message) = only_problem(&with("rod_length = { mm = 111.0, tol = 0.2 }\n", ""));
    assert!(matches!(problem, Problem::LinkageIncomplete { .. }), "{message}");
    assert!(message.contains("actuator.rod_length"), "{message}");
}

#[test]
fn a_rod_that_cannot_join_the_levers_is_refused() {
    let (problem, message) = only_problem(&with("rod_length = { mm = 111.0", "rod_length = { mm = 15.0"));
    assert!(matches!(problem, Problem::Linkage(_)), "{message}");
}

#[test]
fn a_file_that_is_no_sheet_says_so_with_its_line() {
    let (problem, message) = only_problem("name = \"x\"\nthis is not toml\n");
    assert!(matches!(problem, Problem::Syntax { .. }));
    assert!(message.starts_with("t.toml:2"), "{message}");
    let error = PartsSheet::read("no/such/file.toml".as_ref()).unwrap_err();
    assert!(matches!(error.findings[0].problem, Problem::Unreadable { .. }));
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    /// Any number anywhere: a sheet that computes, or findings; never a panic, never a NaN in a figure.
    #[test]
    fn any_number_in_any_place_gives_a_sheet_or_findings(
        line in 0_usize..60, bits in any::<u64>(), plain in -200.0..200.0_f64, wild in any::<bool>(),
    ) {
        let number = if wild { f64::from_bits(bits) } else { plain };
        let text: Vec<String> = RING_A
            .lines()
            .enumerate()
            .map(|(at, words)| match (at == line, words.split_once("= { mm = ").or(words.split_once("= { deg = "))) {
                (true, Some((key, rest))) => {
                    let unit = if words.contains("{ mm") { "mm" } else { "deg" };
                    let tail = rest.split_once(',').map_or("}", |(_, tail)| tail);
                    format!("{key}= {{ {unit} = {number:e},{tail}")
                }
                _ => words.to_owned(),
            })
            .collect();
        match PartsSheet::parse("fuzz.toml", &text.join("\n")) {
            Ok(sheet) => {
                for figure in parts::figures::figures(&sheet) {
                    prop_assert!(figure.value.is_finite() && figure.standard_uncertainty.is_finite(), "{:?}", figure);
                }
            }
            Err(error) => prop_assert!(!error.findings.is_empty()),
        }
    }
}
