//! Whole jobs: what was recorded is tampered with, and the tool names what it finds.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on says where it stopped")]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

const SAMPLES: &str = "samples.csv";

struct Bench {
    folder: tempfile::TempDir,
}

impl Bench {
    /// A unit with a learn and two sweeps.
    fn new() -> Self {
        let bench = Self { folder: tempfile::tempdir().unwrap() };
        bench.record("u1");
        // Two sweeps in one second would be the same to the byte.
        bench.run(&["sweep", "--port", "virtual:healthy", "--unit", "u1", "--operator", "B. Example"]);
        bench
    }

    fn record(&self, unit: &str) {
        for verb in ["learn", "sweep"] {
            assert_eq!(self.run(&[verb, "--port", "virtual:healthy", "--unit", unit]).0, 0);
        }
    }

    fn run(&self, args: &[&str]) -> (i32, Value) {
        let mut tool = Command::new(assert_cmd::cargo_bin!("vanebench"));
        let output = tool.arg("--json").args(args).current_dir(self.folder.path()).output().unwrap();
        let said = String::from_utf8_lossy(&output.stderr);
        let document =
            serde_json::from_slice(&output.stdout).unwrap_or_else(|e| panic!("{args:?}: {e}\n{said}"));
        (output.status.code().unwrap(), document)
    }

    fn dir(&self) -> PathBuf {
        self.folder.path().join("units/u1")
    }

    /// What `unit check` finds: exit code and the document as text.
    fn check(&self) -> (i32, String) {
        let (code, document) = self.run(&["unit", "check", "units/u1"]);
        (code, document.to_string())
    }

    fn judge(&self) -> (i32, Value) {
        self.run(&["judge", "units/u1"])
    }

    fn is_found(&self, what: &str, code: i32, says: &[&str]) {
        let (ended, found) = self.check();
        assert_eq!(ended, code, "{what}: {found}");
        assert!(says.iter().all(|word| found.contains(word)), "{what}: {says:?} in {found}");
        let (judged, verdict) = self.judge();
        assert_eq!(judged, 3, "{what}: {verdict:#}");
    }
}

fn edit(path: &Path, from: &str, to: &str) {
    let text = fs::read_to_string(path).unwrap();
    assert!(text.contains(from), "{from} is not in {}", path.display());
    fs::write(path, text.replacen(from, to, 1)).unwrap();
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir(to).unwrap();
    for entry in fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        fs::copy(entry.path(), to.join(entry.file_name())).unwrap();
    }
}

/// Reference: `sha256sum profile.toml run.toml samples.csv | sha256sum` of GNU coreutils, where it is installed.
#[test]
fn a_sound_unit_is_found_sound_and_the_verdict_names_its_evidence_and_head() {
    let bench = Bench::new();
    let (code, found) = bench.check();
    assert_eq!(code, 0, "{found}");
    let (code, verdict) = bench.judge();
    assert_eq!(code, 0, "{verdict:#}");
    assert_eq!(verdict["log"]["entries"], 7, "one that begins, two for each run");
    let log = fs::read_to_string(bench.dir().join("log.jsonl")).unwrap();
    let last: Value = serde_json::from_str(log.lines().last().unwrap()).unwrap();
    let counted = verdict["counted"].as_array().unwrap();
    assert_eq!(counted.last().unwrap()["run"], "0003-sweep");
    assert_eq!(counted.last().unwrap()["evidence"], last["evidence"]);
    let sum = "sha256sum profile.toml run.toml samples.csv | sha256sum";
    let sum = Command::new("sh").args(["-c", sum]).current_dir(bench.dir().join("0003-sweep")).output();
    let sum = String::from_utf8(sum.unwrap().stdout).unwrap();
    if let Some(sum) = sum.split_whitespace().next() {
        assert_eq!(last["whole"], sum);
    }
}

#[test]
fn the_same_job_twice_has_the_same_evidence() {
    let bench = Bench::new();
    bench.record("u2");
    fs::rename(bench.dir(), bench.folder.path().join("first")).unwrap();
    bench.record("u1");
    let evidence = |dir: &str| bench.run(&["judge", dir]).1["counted"][0]["evidence"].clone();
    assert_eq!(evidence("first"), evidence("units/u1"));
    assert_ne!(evidence("first"), evidence("units/u2"), "the unit's name is evidence");
}

#[test]
fn a_changed_run_is_named_whatever_of_it_was_changed() {
    for (file, from, to) in [
        (SAMPLES, "0.", "1."),
        ("profile.toml", "name", "name "),
        ("run.toml", "status", "status "),
        ("run.toml", "port = \"virtual", "port = \"virtuaL"),
    ] {
        let bench = Bench::new();
        edit(&bench.dir().join("0003-sweep").join(file), from, to);
        bench.is_found(file, 1, &["0003-sweep", "changed since it was recorded"]);
    }
}

#[test]
fn a_record_without_its_sums_is_a_changed_one() {
    let bench = Bench::new();
    let path = bench.dir().join("0003-sweep/run.toml");
    let text = fs::read_to_string(&path).unwrap();
    let (before, after) = text.split_once("[sums]").unwrap();
    fs::write(&path, format!("{before}{}", &after[after.find("[made]").unwrap()..])).unwrap();
    bench.is_found("no sums", 1, &["0003-sweep", "changed"]);
}

#[test]
fn removed_swapped_and_added_runs_are_named() {
    let bench = Bench::new();
    let dir = bench.dir();
    let kept = bench.folder.path().join("kept");
    fs::rename(dir.join("0003-sweep"), &kept).unwrap();
    bench.is_found("removed", 1, &["0003-sweep", "removed"]);
    let (_, verdict) = bench.judge();
    assert!(
        verdict["reasons"].to_string().contains("0003-sweep cannot be relied on: removed"),
        "{verdict:#}"
    );
    fs::rename(dir.join("0002-sweep"), dir.join("0003-sweep")).unwrap();
    fs::rename(&kept, dir.join("0002-sweep")).unwrap();
    bench.is_found("swapped", 1, &["it holds what was recorded as 0002-sweep", "recorded as 0003-sweep"]);
}

#[test]
fn a_foreign_run_is_named_and_does_not_count() {
    let bench = Bench::new();
    bench.record("u2");
    copy(&bench.folder.path().join("units/u2/0002-sweep"), &bench.dir().join("0009-sweep"));
    bench.is_found("foreign", 1, &["0009-sweep", "added"]);
}

#[test]
fn a_removed_learn_leaves_nothing_in_force() {
    let bench = Bench::new();
    bench.run(&["learn", "--port", "virtual:seized-free", "--unit", "u1"]);
    fs::remove_dir_all(bench.dir().join("0001-learn")).unwrap();
    let (code, refused) = bench.run(&["step", "--port", "virtual:healthy", "--unit", "u1"]);
    assert_ne!(code, 0, "{refused:#}");
}

#[test]
fn a_changed_log_vouches_for_nothing() {
    let bench = Bench::new();
    let path = bench.dir().join("log.jsonl");
    let whole = fs::read_to_string(&path).unwrap();
    let lines: Vec<&str> = whole.lines().collect();
    let without = |at: usize| {
        let kept =
            lines.iter().enumerate().filter(|(line, _)| *line != at).map(|(_, line)| format!("{line}\n"));
        kept.collect::<String>()
    };
    let changed = whole.replacen("0002-sweep", "0004-sweep", 1);
    for (what, text) in [("a line gone", without(3)), ("the first gone", without(0)), ("changed", changed)] {
        fs::write(&path, text).unwrap();
        bench.is_found(what, 1, &["the log was changed"]);
    }
    fs::remove_file(&path).unwrap();
    bench.is_found("the log gone", 1, &["recorded into a log"]);
    bench.run(&["sweep", "--port", "virtual:healthy", "--unit", "u1"]);
    bench.is_found("started over", 1, &["recorded into a log"]);
}

#[test]
fn a_torn_last_line_is_a_crash_and_the_log_goes_on_behind_it() {
    let bench = Bench::new();
    let path = bench.dir().join("log.jsonl");
    let whole = fs::read(&path).unwrap();
    fs::write(&path, &whole[..whole.len() - 20]).unwrap();
    bench.is_found("torn", 3, &["0003-sweep", "no closing entry"]);
    assert_eq!(bench.run(&["sweep", "--port", "virtual:healthy", "--unit", "u1"]).0, 0);
    let (code, found) = bench.check();
    assert_eq!(code, 3, "{found}");
    assert!(found.contains("0003-sweep") && !found.contains("0004-sweep"), "{found}");
    assert_eq!(bench.judge().0, 0, "a newer sweep is whole");
}

#[test]
fn a_run_whose_closing_line_was_lost_is_explained_stays_incomplete_and_counts_for_nothing() {
    let bench = Bench::new();
    let path = bench.dir().join("log.jsonl");
    let whole = fs::read(&path).unwrap();
    fs::write(&path, &whole[..whole.len() - 20]).unwrap();
    let explain = |run| {
        let args = ["unit", "explain", "units/u1", run, "--by", "A. Example", "--why", "power cut"];
        bench.run(&args)
    };
    let run_file = fs::read(bench.dir().join("0003-sweep/run.toml")).unwrap();
    assert_eq!(explain("0002-sweep").0, 2, "it was closed");
    assert_eq!(explain("0009-sweep").0, 2, "there is none");
    let (code, found) = explain("0003-sweep");
    assert_eq!(code, 0, "{found:#}");
    assert_eq!(explain("0003-sweep").0, 2, "once is enough");
    let (code, found) = bench.check();
    assert_eq!(code, 0, "{found}");
    let says = "incomplete: never closed, explained by A. Example: power cut";
    assert!(found.contains("0003-sweep") && found.contains(says), "{found}");
    assert_eq!(
        fs::read(bench.dir().join("0003-sweep/run.toml")).unwrap(),
        run_file,
        "nothing changes the run"
    );
    let (code, verdict) = bench.judge();
    assert_eq!(code, 0, "the older sweep is whole and counts: {verdict:#}");
    assert!(verdict["counted"].as_array().unwrap().iter().all(|one| one["run"] != "0003-sweep"));
    edit(&bench.dir().join("0003-sweep").join(SAMPLES), "0.", "1.");
    bench.is_found("changed since it was explained", 1, &["0003-sweep", "changed"]);
}

#[test]
fn an_explained_learn_leaves_nothing_in_force() {
    let bench = Bench::new();
    assert_eq!(bench.run(&["learn", "--port", "virtual:healthy", "--unit", "u2"]).0, 0);
    let path = bench.folder.path().join("units/u2/log.jsonl");
    let whole = fs::read(&path).unwrap();
    fs::write(&path, &whole[..whole.len() - 20]).unwrap();
    let args = ["unit", "explain", "units/u2", "0001-learn", "--by", "A", "--why", "battery"];
    assert_eq!(bench.run(&args).0, 0);
    assert_ne!(bench.run(&["step", "--port", "virtual:healthy", "--unit", "u2"]).0, 0);
    assert_eq!(bench.run(&["judge", "units/u2"]).0, 3);
}

/// A unit whose learn was confirmed twice: what can be done to `confirmed.toml`, and what is said of it.
#[test]
fn confirmations_that_are_not_what_was_recorded_are_named_and_count_for_nothing() {
    let rod_off = "virtual:rod-off-inside-stops";
    let bench = Bench { folder: tempfile::tempdir().unwrap() };
    assert_eq!(bench.run(&["learn", "--port", rod_off, "--unit", "u1"]).0, 3);
    let confirm = |more: &[&str]| {
        let args = ["unit", "confirm", "units/u1", "--checked", "all", "--by", "A", "--with", "eye"];
        bench.run(&[&args, more].concat()).0
    };
    let path = bench.dir().join("confirmed.toml");
    assert_eq!(confirm(&[]), 0);
    let first = fs::read(&path).unwrap();
    assert_eq!(confirm(&["--gauged", "1.20 mm", "--tolerance", "0.05"]), 0);
    let whole = fs::read(&path).unwrap();
    assert_eq!((bench.check().0, bench.judge().0), (0, 0));
    // Not so many bytes that a checksum of its own would find: white space alone.
    fs::write(&path, [&whole[..], b"\n"].concat()).unwrap();
    bench.is_found("changed", 1, &["confirmed.toml was changed"]);
    assert_eq!(confirm(&[]), 2, "no new line makes a changed one sound");
    fs::write(&path, &first).unwrap();
    bench.is_found("older", 3, &["lacks the last confirmation"]);
    fs::remove_file(&path).unwrap();
    bench.is_found("removed", 1, &["confirmed.toml was removed"]);
    assert_eq!(bench.run(&["step", "--port", rod_off, "--unit", "u1"]).0, 3, "not proven any more");
    assert_eq!(confirm(&[]), 0, "begun anew");
    assert_eq!((bench.check().0, bench.judge().0), (0, 0));
    let foreign = Bench { folder: tempfile::tempdir().unwrap() };
    assert_eq!(foreign.run(&["learn", "--port", rod_off, "--unit", "u1"]).0, 3);
    fs::copy(&path, foreign.dir().join("confirmed.toml")).unwrap();
    foreign.is_found("added", 1, &["confirmed.toml was added"]);
}

#[test]
fn every_verb_that_opens_a_recorded_run_asks_its_log_first() {
    let bench = Bench::new();
    let learn = bench.dir().join("0001-learn/run.toml");
    let sound = fs::read_to_string(&learn).unwrap();
    let replay = || bench.run(&["learn", "--replay", "units/u1/0001-learn"]);
    let sheets = Path::new(env!("CARGO_MANIFEST_DIR")).join("../profiles/sheets");
    let sheet = |name: &str| sheets.join(name).display().to_string();
    let (old, new) = (sheet("ring-a.toml"), sheet("ring-b.toml"));
    let matched = || {
        let travel = ["--free", "units/u1/0001-learn", "--attached", "units/u1/0001-learn"];
        bench.run(&[&["match", &old, &new, "--runs", "2"][..], &travel].concat())
    };
    let tune = || bench.run(&["tune", "units/u1/0003-sweep"]);
    let says =
        |(code, said): (i32, Value)| (code, said.to_string().contains("changed since it was recorded"));
    assert_eq!(replay().0, 0);
    assert_eq!(tune().0, 0);
    edit(&learn, "port = \"virtual", "port = \"virtuaL");
    assert_eq!(says(replay()), (3, true));
    assert_eq!(says(matched()), (3, true));
    let (_, history) = bench.run(&["unit", "history", "units/u1", "--check"]);
    assert!(history["runs"][0]["ended"].as_str().unwrap().contains("cannot be relied on"), "{history:#}");
    fs::write(&learn, sound).unwrap();
    edit(&bench.dir().join("0003-sweep/run.toml"), "port = \"virtual", "port = \"virtuaL");
    assert_eq!(says(tune()), (3, true));
}
