//! `profile characterise` on the six invented actuators, held against what their plants are made of, and on what must stop it.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on says where it stopped")]

use std::path::Path;
use std::process::{Command, Output, Stdio};

use serde_json::Value;

fn characterise(case: &str, more: &[&str], dir: &Path) -> Output {
    let port = format!("virtual:{case}");
    let mut command = Command::new(env!("CARGO_BIN_EXE_vanebench"));
    command
        .args(["profile", "characterise", "--json", "--port", &port, "--unit", "u", "--out", "out"])
        .args(more);
    command.current_dir(dir).output().unwrap()
}

/// A number of a built-in actuator's plant, by its path.
fn truth(plant: &toml::Table, path: &str) -> f64 {
    let start = toml::Value::Table(plant.clone());
    path.split('.').fold(start, |at, name| at.get(name).unwrap().clone()).as_float().unwrap()
}

/// The lever's travel between the ring's stops, in counts, with the winding and what the drive adds to it.
fn plant_of(actuator: &str) -> (f64, f64) {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("../profiles/{actuator}/plant.toml"));
    let plant: toml::Table = toml::from_str(&std::fs::read_to_string(file).unwrap()).unwrap();
    let angle = |end: &str| truth(&plant, &format!("actuator.ring.stops.{end}.angle_rad"));
    let span = (angle("high") - angle("low")) * truth(&plant, "sensors.position.counts_per_rad");
    let ohm = truth(&plant, "actuator.motor.resistance_ohm")
        + truth(&plant, "actuator.bridge.switch_resistance_ohm");
    (span.abs(), ohm)
}

fn pair(found: &Value, field: &str) -> (f64, f64) {
    let of = |at: usize| found[field][at].as_f64().unwrap();
    (of(0), of(1))
}

#[test]
fn every_invented_actuator_comes_out_as_its_plant_is() {
    for letter in ["a", "b", "c", "d", "e", "f"] {
        let (dir, actuator) = (tempfile::tempdir().unwrap(), format!("bench-actuator-{letter}"));
        let output = characterise(&format!("{actuator}/healthy"), &[], dir.path());
        assert!(output.status.success(), "{actuator}: {}", String::from_utf8_lossy(&output.stderr));
        let found: Value = serde_json::from_slice(&output.stdout).unwrap();
        let (span, ohm) = plant_of(&actuator);
        let ((open, _), (closed, _)) = (pair(&found, "open_stop_counts"), pair(&found, "closed_stop_counts"));
        let off = ((open - closed).abs() - span).abs() / span;
        println!(
            "{actuator}: span off {off:.4}, resistance {:?} of {ohm}, {found:#}",
            pair(&found, "resistance_ohm")
        );
        assert!(off < 0.012, "{actuator}: travel off by {off}");
        assert!((pair(&found, "resistance_ohm").0 / ohm - 1.0).abs() < 0.12, "{actuator}");
        let own = vanebench_profile(&actuator);
        let made = std::fs::read_to_string(dir.path().join("out/profile.toml")).unwrap();
        for field in ["counts_direction", "spring"] {
            let of = |text: &str| {
                let line = text.lines().find(|line| line.starts_with(&format!("{field} = "))).unwrap();
                line.split('"').nth(1).unwrap().to_owned()
            };
            assert_eq!(of(&made), of(&own), "{actuator}: {field}");
        }
        let mut check = Command::new(env!("CARGO_BIN_EXE_vanebench"));
        let checked =
            check.args(["profile", "check", "out/profile.toml"]).current_dir(dir.path()).output().unwrap();
        assert!(matches!(checked.status.code(), Some(0 | 1)), "{}", String::from_utf8_lossy(&checked.stderr));
    }
}

fn vanebench_profile(actuator: &str) -> String {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("../profiles/{actuator}/profile.toml"));
    std::fs::read_to_string(file).unwrap()
}

#[test]
fn what_is_not_as_it_should_be_stops_it_in_words_and_writes_nothing() {
    for (case, more, words) in [
        ("healthy", &["--rated-voltage", "24"][..], "supply"),
        ("healthy", &["--first-nudge", "nothing"], "do nothing"),
        ("healthy", &["--first-nudge", "opened", "--second-nudge", "closed"], "contradict"),
        ("healthy", &["--both-ends-metal", "no"], "metal"),
        ("healthy", &["--continuous-current", "0.2"], "did not move at"),
    ] {
        let dir = tempfile::tempdir().unwrap();
        let output = characterise(case, more, dir.path());
        let said = String::from_utf8_lossy(&output.stderr);
        assert!(!output.status.success(), "{more:?}: {said}");
        assert!(said.contains(words), "{more:?}: {said}");
        assert!(!dir.path().join("out/profile.toml").exists());
    }
}

/// Calls it on a serial device with every answer given.
fn on_device(device: &str, more: &[&str], dir: &Path) -> Output {
    let answers =
        ["--degrees", "70", "--rated-voltage", "12", "--continuous-current", "1.2", "--back-drives", "yes"];
    let seen = ["--both-ends-metal", "yes", "--first-nudge", "closed", "--second-nudge", "closed"];
    let mut command = Command::new(env!("CARGO_BIN_EXE_vanebench"));
    command
        .args(["profile", "characterise", "--json", "--port", device, "--unit", "u", "--out", "out"])
        .args(answers)
        .args(seen)
        .args(more);
    command.current_dir(dir).stdin(Stdio::null()).output().unwrap()
}

/// The device need not exist: nobody is beside it, and nothing looks for it.
#[test]
fn a_device_is_not_opened_without_a_person_beside_it() {
    let dir = tempfile::tempdir().unwrap();
    for more in [&[][..], &["--hands-clear"]] {
        let output = on_device("/dev/ttyUSB0", more, dir.path());
        let said = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{said}");
        for words in ["UNKNOWN UNIT", "current limit to 4.5 A", "nothing moved", "--operator NAME"] {
            assert!(said.contains(words), "{words}: {said}");
        }
        assert!(!dir.path().join("out").exists(), "{said}");
    }
}

#[cfg(unix)]
#[test]
fn a_unit_on_a_serial_device_comes_out_as_the_same_unit_inside_the_tool() {
    let dir = tempfile::tempdir().unwrap();
    let mut rig = Command::new(env!("CARGO_BIN_EXE_vanebench"));
    rig.args(["rig", "healthy", "--stepped", "--json"]).current_dir(dir.path()).stdout(Stdio::piped());
    let mut rig = rig.spawn().unwrap();
    let out = rig.stdout.take().unwrap();
    let served: Value = serde_json::Deserializer::from_reader(out).into_iter().next().unwrap().unwrap();
    let there = ["--hands-clear", "--operator", "J. Example"];
    let output = on_device(served["device"].as_str().unwrap(), &there, dir.path());
    rig.kill().unwrap();
    rig.wait().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let on_device: Value = serde_json::from_slice(&output.stdout).unwrap();
    let inside = tempfile::tempdir().unwrap();
    let output = characterise("healthy", &[], inside.path());
    let inside: Value = serde_json::from_slice(&output.stdout).unwrap();
    // The talk begins some ticks apart, so noise falls otherwise: a twentieth of what is claimed, and no more.
    for field in ["open_stop_counts", "closed_stop_counts", "resistance_ohm", "friction_a", "spring_least_a"]
    {
        let ((here, claimed), (there, _)) = (pair(&inside, field), pair(&on_device, field));
        assert!((here - there).abs() < 0.05 * claimed, "{field}: {here} inside, {there} on the device");
    }
    for words in ["counts_direction = \"opening-lowers\"", "spring = \"opens\""] {
        assert!(on_device["profile"].as_str().unwrap().contains(words), "{words}: {on_device:#}");
    }
}
