//! Tuning as a user runs it: learn and step on the virtual rig, tune on the record, try the result.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on says where it stopped")]

use std::fs;
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

/// Gains far too slow for the bench engine, so that a few generations find better ones.
const SLOW: &str = "[target.trim]\ngain_per_kpa = 0.001\nintegral_time_s = 3.0\n";

/// A search of seconds from there, with room to move the vanes more.
const SHORT: [&str; 14] = [
    "tune",
    "boost",
    "boost-step",
    "--with",
    "slow.toml",
    "--engines",
    "3",
    "--generations",
    "6",
    "--travel",
    "20",
    "--reversals",
    "20",
    "--out",
];

#[test]
fn slow_boost_gains_are_bettered_on_engines_that_the_search_never_saw() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    fs::write(at.join("slow.toml"), SLOW).unwrap();
    let (code, told) = vanebench(&[&SHORT[..], &["boost.toml"]].concat(), at);
    assert_eq!((code, &told["end"]), (0, &"better".into()), "{told:#}");
    assert!(told["change"]["mean"].as_f64().unwrap() < -0.05, "{told:#}");
    let of = |side: &str| told["held_out"][0][side]["boost_iae_kpa_s"].as_f64().unwrap();
    assert!(of("new") < of("old"), "{told:#}");
    let text = fs::read_to_string(at.join("boost.toml")).unwrap();
    assert!(text.contains("# was 0.001\n") && text.contains("# was 3.0\n"), "{text}");
    let (code, told) = vanebench(&["simulate", "boost-step", "--with", "boost.toml"], at);
    assert_eq!(code, 0, "{told:#}");
    // The same search again, over its own file: the same bytes.
    assert_eq!(vanebench(&[&SHORT[..], &["boost.toml"]].concat(), at).0, 0);
    assert_eq!(fs::read_to_string(at.join("boost.toml")).unwrap(), text);
}

#[test]
fn a_search_that_finds_nothing_better_or_nothing_allowed_writes_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    fs::write(at.join("slow.toml"), SLOW).unwrap();
    let short = ["tune", "boost", "boost-step", "--engines", "2", "--generations", "1", "--out", "new.toml"];
    let (code, told) = vanebench(&[&short[..], &["--travel", "0.01"]].concat(), at);
    assert_eq!((code, &told["end"]), (1, &"nothing-within-limits".into()), "{told:#}");
    let (code, told) = vanebench(&short, at);
    assert_eq!((code, &told["end"]), (3, &"no-better".into()), "{told:#}");
    assert_eq!(fs::read_dir(at).unwrap().count(), 1, "a file was written");
}

#[test]
fn what_cannot_be_tuned_is_refused_before_anything_runs() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    fs::write(at.join("mine.toml"), "gain = 1\n").unwrap();
    let cases: [(&[&str], &str); 6] = [
        (&["no-such-scenario"], "no scenario `no-such-scenario`; built in: boost-step"),
        (&["tip-in", "tip-in"], "scenario tip-in is given twice"),
        (&["tip-in", "--held-out-seed", "1"], "--held-out-seed 1 is the seed of the engines"),
        (&["tip-in", "--travel", "NaN"], "--travel NaN: allowed 0 to 1000"),
        (&["tip-in", "--out", "mine.toml"], "mine.toml: that file was not made by"),
        (&["tip-in", "--out", "no/where.toml"], "there is no folder no"),
    ];
    for (args, words) in cases {
        let (code, told) = vanebench(&[&["tune", "boost"], args].concat(), at);
        let said = told["error"].as_str().unwrap();
        assert!(code == 2 && said.contains(words), "{args:?}: {code}, {said}");
    }
    assert_eq!(fs::read_to_string(at.join("mine.toml")).unwrap(), "gain = 1\n");
}
