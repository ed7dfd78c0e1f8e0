//! The whole job in one go: what it does in which order, where it stops, how it goes on.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on says where it stopped")]

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};

fn vanebench(args: &[&str], at: &Path) -> (i32, String, String) {
    let mut command = Command::new(assert_cmd::cargo_bin!("vanebench"));
    let output = command.args(args).current_dir(at).stdin(Stdio::null()).output().unwrap();
    let text = |bytes| String::from_utf8(bytes).unwrap();
    (output.status.code().unwrap_or(-1), text(output.stdout), text(output.stderr))
}

#[test]
fn a_sound_unit_goes_through_the_whole_job_and_gets_its_report() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let args = [
        &["bench", "--port", "virtual:healthy", "--unit", "u1", "--job", "J-1", "--state", "as-left"][..],
        &["--customer", "C 42", "--operator", "A", "--actuator-serial", "S-1", "--out", "u1.html"],
    ];
    let (code, out, said) = vanebench(&args.concat(), at);
    assert_eq!(code, 0, "{out}{said}");
    let at_of = |word: &str| said.find(word).unwrap_or_else(|| panic!("no {word:?} in:\n{said}"));
    let steps = ["NEXT  learn", "NEXT  friction", "NEXT  sweep", "NEXT  step"].map(at_of);
    assert!(steps.is_sorted(), "{said}");
    // All cautions once, then pinch, heat and emergency stop before every start.
    assert_eq!(said.matches("CAUTION  EMERGENCY STOP").count(), 4, "{said}");
    assert_eq!(said.matches("CAUTION  FOLLOW").count(), 1, "{said}");
    assert!(out.contains("u1: WITHIN LIMITS"), "{out}");
    let report = fs::read_to_string(at.join("u1.html")).unwrap();
    assert!(report.contains("C 42") && report.contains("S-1") && report.contains("J-1"));
}

/// The first of C, D and F once ended while the board still saved what it had learned; D and E were once judged by limits
/// that their coarse readings passed.
#[test]
fn a_sound_unit_of_every_actuator_ends_within_its_own_limits() {
    let jobs = [("b", 1), ("c", 23), ("c", 1), ("d", 13), ("d", 1), ("d", 2), ("e", 1), ("e", 2), ("f", 27)];
    for (letter, seed) in jobs {
        let folder = tempfile::tempdir().unwrap();
        let (port, seed) = (format!("virtual:bench-actuator-{letter}/healthy"), seed.to_string());
        let args = ["bench", "--port", &port, "--seed", &seed, "--checked", "all"];
        let (code, out, said) = vanebench(&args, folder.path());
        assert_eq!(code, 0, "{letter}, seed {seed}: {out}{said}");
    }
}

#[test]
fn it_stops_at_the_first_refusal_with_reason_and_advice_and_says_how_to_go_on() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let (code, _, said) = vanebench(&["bench", "--port", "virtual:blocked-travel", "--unit", "u1"], at);
    assert_eq!(code, 1, "{said}");
    for word in ["stopped at learn", "NOT learned", "try: ", "--from learn"] {
        assert!(said.contains(word), "no {word:?} in:\n{said}");
    }
    let (_, list, _) = vanebench(&["unit", "list"], at);
    assert!(list.starts_with("1 unit: 0 within limits, 1 out of limits"), "{list}");
    assert!(!said.contains("NEXT  friction"), "{said}");
    // A step that needs what is not there goes no further either.
    let (code, _, said) =
        vanebench(&["bench", "--port", "virtual:blocked-travel", "--unit", "u1", "--from", "sweep"], at);
    assert!(code != 0 && said.contains("stopped at sweep") && said.contains("--from sweep"), "{said}");
}

#[test]
fn on_a_real_port_the_option_stands_for_the_starts_only_with_a_name() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let real = ["bench", "--port", "/dev/null", "--unit", "u1", "--hands-clear", "--profile", "own.toml"];
    let own = vanebench::actuator::DEMO.profile_text;
    fs::write(at.join("own.toml"), own).unwrap();
    let (code, _, said) = vanebench(&real, at);
    assert!(code == 2 && (said.contains("--operator NAME") || said.contains("invented")), "{said}");
}

#[test]
fn a_report_that_could_not_be_kept_is_told_before_anything_moves() {
    let folder = tempfile::tempdir().unwrap();
    let args = ["bench", "--port", "virtual:healthy", "--unit", "u1", "--out", "nowhere/u1.html"];
    let (code, _, said) = vanebench(&args, folder.path());
    assert!(code == 2 && said.contains("nowhere/u1.html") && said.contains("nothing moved"), "{said}");
    assert!(!folder.path().join("units").exists());
}
