//! What a TOML file gives, and how it is refused.

use super::*;
use crate::world::WorldConfig;
use serde::Deserialize;

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(dead_code, reason = "only its errors matter")]
struct Outer {
    name: String,
    inner: Inner,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(dead_code, reason = "only its errors matter")]
struct Inner {
    counts: i16,
}

fn error(text: &str) -> TomlError {
    TomlFile::from_text("unit.toml", text).parse::<Outer>().unwrap_err()
}

#[test]
fn a_value_of_the_wrong_kind_names_file_line_field_and_value() {
    let error = error("name = \"a\"\n\n[inner]\ncounts = \"many\"\n");
    assert_eq!((error.line, &*error.field, &*error.seen), (Some(4), "inner.counts", "\"many\""));
    assert!(error.to_string().starts_with("unit.toml, line 4: inner.counts = \"many\": "), "{error}");
}

#[test]
fn a_value_too_large_for_its_field_is_named() {
    let error = error("name = \"a\"\n[inner]\ncounts = 70000\n");
    assert_eq!((error.line, &*error.field, &*error.seen), (Some(3), "inner.counts", "70000"));
}

#[test]
fn an_unknown_field_is_listed_with_what_is_known() {
    let error = error("name = \"a\"\n[inner]\ncount = 3\n");
    assert_eq!((error.line, &*error.field), (Some(3), "inner.count"));
    assert!(error.allowed.contains("`counts`"), "{error}");
}

#[test]
fn broken_syntax_and_a_missing_field_point_at_their_line() {
    assert_eq!(error("name = \"a\"\n[inner\n").line, Some(2));
    let missing = error("name = \"a\"\n[inner]\n");
    assert!(missing.allowed.contains("counts"), "{missing}");
}

#[test]
fn a_refused_value_is_found_by_its_path() {
    let file = TomlFile::from_text("unit.toml", "name = \"a\"\n[inner]\ncounts = 3\n");
    let error = file.refuse("inner.counts", "allowed 100 to 200", "Choose one inside.");
    assert_eq!(
        error.to_string(),
        "unit.toml, line 3: inner.counts = 3: allowed 100 to 200. Choose one inside."
    );
    assert_eq!(file.refuse("inner.span", "missing", "Add it.").line, Some(2));
}

fn refusal(text: &str) -> String {
    WorldConfig::from_toml(text, "unit.toml").unwrap_err().to_string()
}

#[test]
fn a_negative_mass_is_refused_with_its_line_and_what_is_allowed() {
    let text = "altitude_m = 0.0\n[actuator.ring]\ninertia_kg_m2 = -2.5e-4\n";
    let expected = "unit.toml, line 3: actuator.ring.inertia_kg_m2 = -0.00025: \
                        allowed: a finite number above 0. Correct this line and run again; nothing was started.";
    assert_eq!(refusal(text), expected);
}

#[test]
fn an_unknown_field_is_refused_with_its_line() {
    let message = refusal("[actuator.motor]\nresistence_ohm = 1.0\n");
    assert!(
        message.starts_with("unit.toml, line 2: actuator.motor.resistence_ohm: unknown field"),
        "{message}"
    );
}

#[test]
fn a_nozzle_that_closes_past_zero_is_refused() {
    let message = refusal("[engine.air]\nnozzle_min_m2 = -1e-5\n");
    assert!(message.contains("line 2: engine.air.nozzle_min_m2 = -0.00001: "), "{message}");
}

#[test]
fn a_fault_in_a_list_is_found_by_its_line() {
    let text = "[[faults]]\nat_s = 1.0\nwhat = \"rod-off\"\n[[faults]]\nat_s = -1.0\nwhat = \"rod-off\"\n";
    assert!(refusal(text).starts_with("unit.toml, line 5: faults[1].at_s = -1: "), "{}", refusal(text));
}

#[test]
fn every_kind_of_fault_survives_toml() {
    let text = "[[faults]]\nwhat = { ring-stop = [\"high\", { loose = { play_rad = 0.01, drift_rad = 0.0 } }] }\n\
                    [[faults]]\nwhat = { position-sensor = { channel = { offset = 200.0 } } }\n";
    let config = WorldConfig::from_toml(text, "unit.toml").unwrap();
    assert_eq!(config.faults.len(), 2);
    let again = toml::to_string(&config).unwrap();
    assert_eq!(WorldConfig::from_toml(&again, "again.toml").unwrap(), config);
}
