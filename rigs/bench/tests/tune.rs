//! Tuning as a user runs it: learn and step on the virtual rig, tune on the record, try the result.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on says where it stopped")]

use std::path::Path;

use assert_cmd::Command;
use serde_json::Value;

fn vanebench(args: &[&str], folder: &Path) -> (i32, Value) {
    let mut command = Command::new(assert_cmd::cargo_bin!("vanebench"));
    let output = command.current_dir(folder).arg("--json").args(args).output().unwrap();
    let text = String::from_utf8_lossy(&output.stderr);
    let value = serde_json::from_slice(&output.stdout).unwrap_or_else(|e| panic!("{args:?}: {e}\n{text}"));
    (output.status.code().unwrap(), value)
}

#[test]
fn steps_on_record_become_settings_that_a_simulation_takes() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    assert_eq!(vanebench(&["learn", "--port", "virtual", "--hands-clear"], at).0, 0);
    assert_eq!(vanebench(&["step", "--port", "virtual", "--hands-clear"], at).0, 0);
    let (code, told) = vanebench(&["tune", "units/healthy/0002-step", "--out", "tuned.toml"], at);
    assert_eq!(code, 0, "{told}");
    // 6 V without load end at 6.525 rad/s of 1.2217 rad: 0.890 opening/s per V; bridge and gear take some.
    let gain = told["identified"]["gain_per_s_v"].as_f64().unwrap();
    assert!((0.80..0.92).contains(&gain), "{gain}");
    assert!(told["margins"]["sensitivity"].as_f64().unwrap() < 1.7, "{told}");
    assert!(told["simulated"]["overshoot_percent"].as_f64().unwrap() < 5.0, "{told}");
    let (code, told) = vanebench(&["simulate", "boost-step", "--with", "tuned.toml"], at);
    assert_eq!(code, 0, "{told}");
    // A learn holds no steps.
    let (code, told) = vanebench(&["tune", "units/healthy/0001-learn"], at);
    assert_eq!(code, 3, "{told}");
}
