//! What a unit may move on: the calibration that its newest learn left in force, and nothing else.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on says where it stopped")]

use std::fs;
use std::path::{Path, PathBuf};

use assert_cmd::Command;
use serde_json::Value;

/// A unit of its own folder, moved through the tool as a technician would.
struct Unit {
    folder: tempfile::TempDir,
}

impl Unit {
    fn new() -> Self {
        Self { folder: tempfile::tempdir().unwrap() }
    }

    /// Runs a verb on a virtual unit under the name `u1`.
    fn run(&self, verb: &str, case: &str, more: &[&str]) -> (i32, Value) {
        let records = self.folder.path().display().to_string();
        let port = format!("virtual:{case}");
        let args = ["--json", verb, "--port", &port, "--unit", "u1", "--records", &records];
        let mut tool = Command::new(assert_cmd::cargo_bin!("vanebench"));
        let output = tool.args(args).args(more).output().unwrap();
        let said = String::from_utf8_lossy(&output.stderr);
        assert!(!said.contains("panicked"), "{said}");
        let told =
            serde_json::from_slice(&output.stdout).unwrap_or_else(|e| panic!("{verb} {case}: {e}\n{said}"));
        (output.status.code().unwrap(), told)
    }

    /// As [`Unit::run`], expecting a refusal that says all of these; and nothing moved.
    fn refused(&self, verb: &str, case: &str, more: &[&str], code: i32, says: &[&str]) {
        let before = self.runs();
        let (seen, told) = self.run(verb, case, more);
        let said = told["error"].as_str().unwrap_or_default();
        assert_eq!(seen, code, "{verb} {case} {more:?}: {told:#}");
        for part in ["nothing moved"].iter().chain(says) {
            assert!(said.contains(part), "{verb} {case} {more:?}: {part:?} is missing in: {said}");
        }
        assert_eq!(self.runs(), before, "a refused motion leaves no run");
    }

    fn learned(&self, case: &str, more: &[&str]) {
        let (code, told) = self.run("learn", case, more);
        assert_eq!(code, 0, "{told:#}");
    }

    fn dir(&self) -> PathBuf {
        self.folder.path().join("u1")
    }

    fn runs(&self) -> Vec<String> {
        let Ok(entries) = fs::read_dir(self.dir()) else { return Vec::new() };
        let mut names: Vec<String> =
            entries.map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned()).collect();
        names.sort();
        names
    }

    fn run_file(&self, run: &str) -> String {
        fs::read_to_string(self.dir().join(run).join("run.toml")).unwrap()
    }
}

fn edit(path: &Path, from: &str, to: &str) {
    let text = fs::read_to_string(path).unwrap();
    assert!(text.contains(from), "{from} is not in {text}");
    fs::write(path, text.replacen(from, to, 1)).unwrap();
}

/// B1: a later refused learn takes the earlier calibration out of force.
#[test]
fn a_refused_learn_leaves_nothing_in_force_and_neither_sweep_nor_step_moves() {
    let unit = Unit::new();
    unit.learned("healthy", &[]);
    assert_eq!(unit.run("step", "healthy", &[]).0, 0);
    let (code, told) = unit.run("learn", "closed-stop-missing", &[]);
    assert_eq!((code, told["in_force"].as_str()), (1, Some("nothing")), "{told:#}");
    for verb in ["step", "sweep"] {
        let says = ["0003-learn refused the unit", "An earlier one does not count", "vanebench friction"];
        unit.refused(verb, "closed-stop-missing", &[], 1, &says);
        unit.refused(
            verb,
            "closed-stop-missing",
            &["--on-unproven", "--hands-clear", "--operator", "A"],
            1,
            &says,
        );
    }
    unit.learned("healthy", &[]);
    assert_eq!(unit.run("step", "healthy", &[]).0, 0, "a new accepted learn is in force at once");
}

/// B6: what is stored is taken from the learn run with its sums; an edited one leaves nothing in force.
#[test]
fn a_calibration_moved_by_300_counts_on_disk_never_drives_the_vanes() {
    let unit = Unit::new();
    unit.learned("healthy", &[]);
    let path = unit.dir().join("0001-learn/run.toml");
    let text = unit.run_file("0001-learn");
    let stop = text.split("[outcome.calibration.closed]").nth(1).unwrap();
    let line = stop.lines().find(|line| line.starts_with("zero_push_counts")).unwrap();
    let counts: f64 = line.rsplit(' ').next().unwrap().parse().unwrap();
    edit(&path, line, &format!("zero_push_counts = {:.1}", counts + 300.0));
    let says = ["0001-learn cannot be relied on", "changed since it was recorded", "Learn again"];
    unit.refused("sweep", "healthy", &[], 2, &says);
    unit.refused("step", "healthy", &[], 2, &says);
    fs::write(&path, text).unwrap();
    assert_eq!(unit.run("step", "healthy", &[]).0, 0, "restored, it counts again");
}

#[test]
fn a_loose_calibration_file_of_an_older_release_is_not_read_and_said_so() {
    let unit = Unit::new();
    fs::create_dir_all(unit.dir()).unwrap();
    fs::write(unit.dir().join("calibration-attached-cold.toml"), "standing = \"accepted\"\n").unwrap();
    unit.refused("sweep", "healthy", &[], 2, &["never learned", "no longer used", "vanebench learn"]);
}

#[test]
fn a_learn_cut_short_leaves_nothing_in_force() {
    let unit = Unit::new();
    unit.learned("healthy", &[]);
    let cut = unit.dir().join("0002-learn");
    fs::create_dir(&cut).unwrap();
    for file in ["run.toml", "samples.csv"] {
        fs::copy(unit.dir().join("0001-learn").join(file), cut.join(file)).unwrap();
    }
    // As a program that was killed leaves it: no sums, not complete.
    let text = unit.run_file("0001-learn");
    let (whole, _) = text.split_once("[sums]").unwrap();
    let killed = whole.replacen("state = \"complete\"", "state = \"incomplete\"\nreason = \"cut off\"", 1);
    fs::write(cut.join("run.toml"), killed).unwrap();
    unit.refused("step", "healthy", &[], 3, &["0002-learn was cut short", "cut off", "Learn again"]);
}

#[test]
fn a_learn_copied_in_from_another_unit_is_not_this_units() {
    let unit = Unit::new();
    unit.learned("healthy", &[]);
    let records = unit.folder.path().display().to_string();
    fs::rename(unit.dir(), unit.folder.path().join("u2")).unwrap();
    let args = ["--json", "step", "--port", "virtual:healthy", "--unit", "u2", "--records", &records];
    let output = Command::new(assert_cmd::cargo_bin!("vanebench")).args(args).output().unwrap();
    assert_eq!(output.status.code(), Some(2), "{}", String::from_utf8_lossy(&output.stderr));
}

#[test]
fn another_serial_number_needs_its_own_learn() {
    let unit = Unit::new();
    unit.learned("healthy", &["--actuator-serial", "A-17", "--turbo-serial", "T 5"]);
    let says = ["0001-learn", "A-17", "A-18", "if it is another"];
    unit.refused("step", "healthy", &["--actuator-serial", "A-18"], 2, &says);
    unit.refused("step", "healthy", &["--turbo-serial", "T 6"], 2, &["T 5", "T 6", "--turbo-serial"]);
    assert_eq!(unit.run("step", "healthy", &["--actuator-serial", "a-17"]).0, 0, "one plate, read twice");
    let text = unit.run_file("0002-step");
    assert!(text.contains("actuator = \"a-17\"") && text.contains("turbo = \"T 5\""), "{text}");
    unit.learned("healthy", &[]);
    unit.refused("step", "healthy", &["--actuator-serial", "A-17"], 2, &["names no actuator", "0003-learn"]);
}

#[test]
fn other_settings_need_their_own_learn_and_another_plan_does_not() {
    let unit = Unit::new();
    unit.learned("healthy", &[]);
    let profile = |from: &str, to: &str| {
        let text = vanebench::actuator::DEMO.profile_text;
        assert!(text.contains(from));
        let path = unit.folder.path().join("edited.toml");
        fs::write(&path, text.replacen(from, to, 1)).unwrap();
        path.display().to_string()
    };
    let plan = profile("hold_ticks = 1000", "hold_ticks = 900");
    assert_eq!(unit.run("step", "healthy", &["--profile", &plan]).0, 0, "a plan is no setting");
    let weaker = profile("max_current = 4.0", "max_current = 3.5");
    let says = ["other settings", "0001-learn", "Learn again under this profile"];
    unit.refused("step", "healthy", &["--profile", &weaker], 2, &says);
}

/// A rod that is off, between stops of the actuator that lie where the ring has its own: only looking shows it.
fn not_proven(unit: &Unit) {
    let (code, told) = unit.run("learn", "rod-off-inside-stops", &[]);
    assert_eq!((code, told["judgement"].as_str()), (3, Some("undetermined")), "{told:#}");
}

#[test]
fn what_is_not_proven_moves_only_on_request_with_a_person_and_is_recorded() {
    let unit = Unit::new();
    not_proven(&unit);
    let says = ["NOT PROVEN", "0001-learn", "lever-attached", "--checked lever-attached", "--on-unproven"];
    unit.refused("step", "rod-off-inside-stops", &[], 3, &says);
    unit.refused("friction", "rod-off-inside-stops", &[], 3, &says);
    let without = ["--on-unproven needs a person", "--operator"];
    unit.refused("step", "rod-off-inside-stops", &["--on-unproven"], 2, &without);
    unit.refused("step", "rod-off-inside-stops", &["--on-unproven", "--hands-clear"], 2, &without);
    let with = ["--on-unproven", "--hands-clear", "--operator", "J. Example"];
    let (code, told) = unit.run("step", "rod-off-inside-stops", &with);
    assert_eq!(code, 0, "{told:#}");
    let text = unit.run_file("0002-step");
    for part in ["on = \"unproven\"", "learn = \"0001-learn\"", "lever-attached", "J. Example"] {
        assert!(text.contains(part), "{part} is missing in {text}");
    }
    let dir = unit.dir().display().to_string();
    let output = Command::new(assert_cmd::cargo_bin!("vanebench")).args(["report", &dir]).output().unwrap();
    assert_eq!(output.status.code(), Some(3), "what moved on the unproven decides nothing");
    let html = fs::read_to_string(unit.dir().join("report.html")).unwrap();
    for part in ["half the current and half the speed", "J. Example", "not proven", "stop screw"] {
        assert!(html.contains(part), "{part} is missing in the report");
    }
}

#[test]
fn nothing_unproven_is_asked_for_where_the_calibration_is_accepted() {
    let unit = Unit::new();
    unit.learned("healthy", &[]);
    let with = ["--on-unproven", "--hands-clear", "--operator", "J. Example"];
    unit.refused("step", "healthy", &with, 2, &["nothing is unproven", "Leave out --on-unproven"]);
}

#[test]
fn friction_without_a_calibration_shows_where_each_unit_binds_and_measures_nothing() {
    // Case, and what the picture must name: the place lies where the catalogue puts the fault.
    let cases = [
        ("closed-stop-missing", "passes-stop"),
        ("sooted-ring", "does-not-move"),
        ("blocked-travel", "stops-short"),
        ("soot-patch", "stops-short"),
        ("dead-motor", "no-current"),
    ];
    for (case, what) in cases {
        let unit = Unit::new();
        assert_eq!(unit.run("learn", case, &[]).0, 1);
        let (code, told) = unit.run("friction", case, &[]);
        let shown = &told["diagnostic"];
        assert_eq!(code, 0, "{case}: {told:#}");
        assert_eq!(shown["places"][0]["what"].as_str(), Some(what), "{case}: {told:#}");
        assert!(shown["because"].as_str().unwrap().contains("0001-learn refused the unit"), "{told:#}");
        let text = unit.run_file("0002-friction");
        assert!(text.contains("on = \"diagnostic\"") && !text.contains("[outcome.calibration"), "{text}");
        let rows = fs::read_to_string(unit.dir().join("0002-friction/samples.csv")).unwrap();
        let column = |column: usize| -> Vec<f64> {
            rows.lines().filter_map(|row| row.split(',').nth(column)?.parse().ok()).map(f64::abs).collect()
        };
        // 0.35 of the profile's 4 A is asked for; a lever that flies into a stop adds its back-EMF for some ms.
        let (asked, flowed) = (column(4), column(6));
        assert!(asked.iter().all(|current| *current <= 1.401), "{case}: more than 1.4 A asked for");
        let beyond = flowed.iter().filter(|current| **current > 1.6).count();
        assert!(
            flowed.len() > 10_000 && beyond < flowed.len() / 200,
            "{case}: {beyond} of {} samples",
            flowed.len()
        );
        let dir = unit.dir();
        for (path, code) in [(dir.join("0002-friction"), 3), (dir, 1)] {
            let output = Command::new(assert_cmd::cargo_bin!("vanebench"))
                .args(["judge", &path.display().to_string()])
                .output();
            assert_eq!(output.unwrap().status.code(), Some(code), "{case}: a picture decides nothing");
        }
    }
}

#[test]
fn friction_of_a_sound_unit_that_was_never_learned_finds_nothing_that_binds() {
    let unit = Unit::new();
    let (code, told) = unit.run("friction", "healthy", &[]);
    assert_eq!(code, 0, "{told:#}");
    assert_eq!(told["diagnostic"]["places"].as_array().map(Vec::len), Some(0), "{told:#}");
}

#[test]
fn a_serial_number_that_would_spoil_a_terminal_is_refused() {
    let unit = Unit::new();
    let records = unit.folder.path().display().to_string();
    for bad in ["a\u{1b}[31m", "", &"x".repeat(41)] {
        let args = ["learn", "--port", "virtual", "--records", &records, "--actuator-serial", bad];
        let output = Command::new(assert_cmd::cargo_bin!("vanebench")).args(args).output().unwrap();
        assert_eq!(output.status.code(), Some(2), "{bad:?}");
        assert!(!unit.dir().exists());
    }
}
