//! `unit confirm`: what a learn could not prove is accepted afterwards, and nothing else ever is.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on says where it stopped")]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use serde_json::Value;

const ROD_OFF: &str = "virtual:rod-off-inside-stops";

struct Bench {
    folder: tempfile::TempDir,
}

impl Bench {
    fn new() -> Self {
        Self { folder: tempfile::tempdir().unwrap() }
    }

    fn run(&self, args: &[&str]) -> (i32, Value) {
        let mut tool = Command::new(assert_cmd::cargo_bin!("vanebench"));
        let output = tool.arg("--json").args(args).current_dir(self.folder.path()).output().unwrap();
        let said = String::from_utf8_lossy(&output.stderr);
        let document =
            serde_json::from_slice(&output.stdout).unwrap_or_else(|e| panic!("{args:?}: {e}\n{said}"));
        (output.status.code().unwrap(), document)
    }

    fn on(&self, verb: &str, port: &str, more: &[&str]) -> (i32, Value) {
        self.run(&[&[verb, "--port", port, "--unit", "u1"], more].concat())
    }

    fn confirm(&self, words: &str, more: &[&str]) -> (i32, Value) {
        let args = [
            "unit",
            "confirm",
            "units/u1",
            "--checked",
            words,
            "--by",
            "J. Example",
            "--with",
            "feeler set 3",
        ];
        self.run(&[&args, more].concat())
    }

    fn dir(&self) -> PathBuf {
        self.folder.path().join("units/u1")
    }

    /// A confirmation is refused with that code and these words, and a step still does not move.
    fn stays_unaccepted(&self, what: &str, code: i32, says: &str) {
        let before = fs::read_to_string(self.dir().join("confirmed.toml")).ok();
        let (ended, document) = self.confirm("all", &[]);
        let said = document["error"].as_str().unwrap_or_default();
        assert_eq!(ended, code, "{what}: {document:#}");
        assert!(said.contains("nothing was confirmed") && said.contains(says), "{what}: {said}");
        assert_eq!(fs::read_to_string(self.dir().join("confirmed.toml")).ok(), before, "{what}");
        assert_ne!(self.on("step", "virtual:healthy", &[]).0, 0, "{what}: it moved");
    }
}

fn edit(path: &Path, from: &str, to: &str) {
    let text = fs::read_to_string(path).unwrap();
    assert!(text.contains(from), "{from} is not in {text}");
    fs::write(path, text.replacen(from, to, 1)).unwrap();
}

#[test]
fn a_learn_that_was_not_proven_is_accepted_once_all_that_is_open_is_confirmed() {
    let bench = Bench::new();
    let (code, learned) = bench.on("learn", ROD_OFF, &[]);
    assert_eq!(code, 3);
    let open: Vec<&str> =
        learned["to_confirm"].as_array().unwrap().iter().map(|w| w.as_str().unwrap()).collect();
    assert_eq!(open, ["lever-attached"], "{learned:#}");
    assert_eq!(bench.on("step", ROD_OFF, &[]).0, 3, "nothing is confirmed yet");
    let (code, judged) = bench.run(&["judge", "units/u1"]);
    let reasons: Vec<&str> =
        judged["reasons"].as_array().unwrap().iter().map(|r| r["advice"].as_str().unwrap()).collect();
    assert_eq!(code, 3);
    assert!(reasons.iter().any(|said| said.contains("--checked lever-attached --by")), "{reasons:?}");
    assert_eq!(bench.confirm("indexing", &[]).0, 2, "that is not open");
    let gauged = ["--gauged", "1.20 mm", "--tolerance", "0.05"];
    let (code, confirmed) = bench.confirm("lever-attached,minimum-flow", &gauged);
    assert_eq!((code, confirmed["by"].as_str()), (0, Some("J. Example")), "{confirmed:#}");
    let (code, judged) = bench.run(&["report", "units/u1"]);
    assert_eq!(code, 0, "{judged:#}");
    let throat = judged["figures"].as_array().unwrap().iter().find(|f| f["key"] == "gauge.throat").unwrap();
    assert_eq!((throat["value"].as_f64(), throat["unit"].as_str()), (Some(1.2), Some("mm")));
    let page = fs::read_to_string(bench.dir().join("report.html")).unwrap();
    for part in ["confirmed afterwards", "J. Example", "feeler set 3", "1.2 ± 0.05 mm", "UTC"] {
        assert!(page.contains(part), "{part} is missing in the report");
    }
    let (code, moved) = bench.on("step", ROD_OFF, &[]);
    assert_eq!(code, 0, "accepted, so it moves: {moved:#}");
    assert_eq!(bench.confirm("all", &[]).0, 2, "nothing is open any more");
    assert_eq!(bench.on("learn", ROD_OFF, &[]).0, 3, "a later learn needs its own confirmation");
    assert_eq!(bench.on("step", ROD_OFF, &[]).0, 3);
}

#[test]
fn a_gauged_throat_is_judged_by_its_limit_and_by_its_own_tolerance() {
    // At least 1.00 mm are allowed: clear inside, too close for its tolerance, clear outside.
    for (reading, tolerance, code) in [("1.20 mm", "0.05", 0), ("1.03 mm", "0.05", 3), ("0.80 mm", "0.05", 1)]
    {
        let bench = Bench::new();
        assert_eq!(bench.on("learn", ROD_OFF, &[]).0, 3);
        assert_eq!(bench.confirm("all", &["--gauged", reading, "--tolerance", tolerance]).0, 0);
        let limits = vanebench::actuator::DEMO.limits_text.to_owned() + "\n[limit.gauge.throat]\nmin = 1.0\n";
        fs::write(bench.folder.path().join("limits.toml"), limits).unwrap();
        let (ended, judged) = bench.run(&["judge", "units/u1", "--limits", "limits.toml"]);
        assert_eq!(ended, code, "{reading}: {:#}", judged["reasons"]);
    }
    let bench = Bench::new();
    assert_eq!(bench.on("learn", ROD_OFF, &[]).0, 3);
    for bad in [&["--gauged", "1.2"][..], &["--gauged", "1.2 mm"], &["--gauged", "-1 mm", "--tolerance", "1"]]
    {
        assert_eq!(bench.confirm("all", bad).0, 2, "{bad:?}");
    }
    assert_eq!(bench.confirm("lever-attached", &["--gauged", "1.2 mm", "--tolerance", "0.1"]).0, 2);
}

/// A unit on a serial device until it is dropped.
struct Served(std::process::Child);

impl Drop for Served {
    fn drop(&mut self) {
        let _gone = self.0.kill();
        let _reaped = self.0.wait();
    }
}

/// On a real port nothing is confirmed by itself: all five words are open, and each counts.
#[test]
fn a_unit_on_a_real_port_is_accepted_with_the_last_open_word_and_not_before() {
    let bench = Bench::new();
    let mut rig = Command::new(assert_cmd::cargo_bin!("vanebench"));
    rig.args(["rig", "healthy", "--stepped", "--json"])
        .current_dir(bench.folder.path())
        .stdout(Stdio::piped());
    let mut rig = Served(rig.spawn().unwrap());
    let out = rig.0.stdout.take().unwrap();
    let served: Value = serde_json::Deserializer::from_reader(out).into_iter().next().unwrap().unwrap();
    let text = |key: &str| served[key].as_str().unwrap().to_owned();
    let (device, profile, limits) = (text("device"), text("profile"), text("limits"));
    let criteria = ["--profile", &profile, "--limits", &limits, "--hands-clear"];
    let (code, learned) = bench.on("learn", &device, &criteria);
    assert_eq!((code, learned["to_confirm"].as_array().map(Vec::len)), (3, Some(5)), "{learned:#}");
    assert_eq!(bench.confirm("lever-attached,vanes-follow", &[]).0, 3);
    assert_eq!(bench.confirm("indexing", &[]).0, 3);
    assert_eq!(bench.confirm("sensor-scale", &[]).0, 3);
    let (code, refused) = bench.on("step", &device, &criteria);
    assert_eq!(code, 3, "{refused:#}");
    assert!(refused["error"].as_str().unwrap().contains("--checked minimum-flow --by"), "{refused:#}");
    assert_eq!(bench.confirm("minimum-flow", &[]).0, 0);
    assert_eq!(bench.on("step", &device, &criteria).0, 0, "accepted, so it moves");
}

#[test]
fn nothing_else_is_made_accepted() {
    let bench = Bench::new();
    assert_eq!(bench.on("learn", "virtual:closed-stop-missing", &[]).0, 1);
    bench.stays_unaccepted("refused", 1, "refused the unit");

    let bench = Bench::new();
    assert_eq!(bench.on("learn", ROD_OFF, &[]).0, 3);
    let run = bench.dir().join("0001-learn/run.toml");
    let whole = fs::read_to_string(&run).unwrap();
    let (text, _) = whole.split_once("[sums]").unwrap();
    fs::write(&run, text.replacen("state = \"complete\"", "state = \"incomplete\"\nreason = \"cut off\"", 1))
        .unwrap();
    bench.stays_unaccepted("made incomplete", 2, "changed since it was recorded");
    fs::write(&run, whole.replacen("zero_push_counts = 1", "zero_push_counts = 2", 1)).unwrap();
    bench.stays_unaccepted("damaged", 2, "changed since the run was closed");
    fs::write(&run, &whole).unwrap();
    edit(&bench.dir().join("0001-learn/samples.csv"), "0", "1");
    bench.stays_unaccepted("damaged samples", 2, "changed since the run was closed");

    let bench = Bench::new();
    assert_eq!(bench.on("learn", ROD_OFF, &[]).0, 3);
    fs::rename(bench.dir(), bench.folder.path().join("units/u2")).unwrap();
    fs::create_dir(bench.dir()).unwrap();
    fs::rename(bench.folder.path().join("units/u2/0001-learn"), bench.dir().join("0001-learn")).unwrap();
    edit(&bench.dir().join("0001-learn/run.toml"), "unit = \"u1\"", "unit = \"u2\"");
    bench.stays_unaccepted("another unit, edited", 2, "changed since the run was closed");
}

#[test]
fn another_units_learn_and_a_suspended_calibration_are_not_confirmed() {
    let bench = Bench::new();
    let other = ["learn", "--port", ROD_OFF, "--unit", "u2"];
    assert_eq!(bench.run(&other).0, 3);
    fs::rename(bench.folder.path().join("units/u2"), bench.dir()).unwrap();
    bench.stays_unaccepted("another unit", 2, "made on the unit u2");

    let bench = Bench::new();
    assert_eq!(bench.on("learn", "virtual:healthy", &[]).0, 0);
    assert_eq!(bench.on("learn", "virtual:closed-stop-missing", &["--relearn"]).0, 1);
    bench.stays_unaccepted("suspended", 3, "Do a full learn again");

    let bench = Bench::new();
    assert_eq!(bench.on("learn", ROD_OFF, &[]).0, 3);
    assert_ne!(bench.on("learn", "virtual:closed-stop-missing", &["--relearn"]).0, 0);
    bench.stays_unaccepted("doubted", 3, "Do a full learn again");
}

#[test]
fn a_confirmation_that_was_edited_copied_or_is_of_another_run_accepts_nothing() {
    let bench = Bench::new();
    assert_eq!(bench.on("learn", ROD_OFF, &[]).0, 3);
    assert_eq!(bench.confirm("minimum-flow", &["--gauged", "1.2 mm", "--tolerance", "0.1"]).0, 3);
    let path = bench.dir().join("confirmed.toml");
    let sound = fs::read_to_string(&path).unwrap();
    assert!(sound.contains("CAUTION") && sound.contains("made by vanebench"), "{sound}");
    edit(&path, "\"minimum-flow\"", "\"minimum-flow\", \"lever-attached\"");
    let (code, refused) = bench.on("step", ROD_OFF, &[]);
    assert_eq!(code, 2, "{refused:#}");
    assert!(refused["error"].as_str().unwrap().contains("was changed since it was written"), "{refused:#}");
    fs::write(&path, &sound).unwrap();
    assert_eq!(bench.confirm("all", &[]).0, 0);
    let whole = fs::read_to_string(&path).unwrap();
    // Beside the learn of another folder, and beside a newer learn of the same name, it speaks of nothing.
    let other = Bench::new();
    assert_eq!(other.on("learn", ROD_OFF, &["--seed", "2"]).0, 3);
    fs::write(other.dir().join("confirmed.toml"), whole).unwrap();
    assert_eq!(other.on("step", ROD_OFF, &["--seed", "2"]).0, 3, "another learn of the same name");
}

/// A profile of this unit alone: its windows are the unit's own. With another origin the very same numbers are accepted.
#[test]
fn a_learn_on_a_profile_of_this_unit_alone_is_never_accepted() {
    let own = vanebench::actuator::DEMO.profile_text;
    let origin = own.lines().find(|line| line.starts_with("origin = ")).unwrap();
    let alone = own.replacen(origin, "origin = \"Characterised on this unit alone: u1.\"", 1);
    for setup in ["attached", "free"] {
        for (text, code) in [(own, 0), (&*alone, 3)] {
            let bench = Bench::new();
            fs::write(bench.folder.path().join("own.toml"), text).unwrap();
            let on_own = ["--profile", "own.toml", "--setup", setup];
            let looked = [&on_own[..], &["--checked", "all"]].concat();
            assert_eq!(bench.on("learn", "virtual:healthy", &looked).0, code, "{setup}");
            if code == 3 {
                // What would be refused is not advised.
                let mut learn = Command::new(assert_cmd::cargo_bin!("vanebench"));
                learn.args(["learn", "--port", "virtual:healthy", "--unit", "u1"]).args(&looked);
                let said = learn.current_dir(bench.folder.path()).output().unwrap();
                let said =
                    String::from_utf8(said.stdout).unwrap().split_whitespace().collect::<Vec<_>>().join(" ");
                assert!(
                    said.contains("nothing can be confirmed on it") && !said.contains("unit confirm"),
                    "{said}"
                );
                for words in ["all", "indexing", "sensor-scale"] {
                    let (ended, document) = bench.confirm(words, &[]);
                    let said = document["error"].as_str().unwrap_or_default();
                    assert_eq!(ended, 2, "{setup}, {words}: {document:#}");
                    assert!(said.contains("characterised on this unit alone"), "{said}");
                    assert!(!bench.dir().join("confirmed.toml").exists(), "{setup}, {words}");
                }
            }
            assert_eq!(bench.on("step", "virtual:healthy", &on_own).0, code, "{setup}");
        }
    }
}

#[test]
fn a_free_actuator_is_learned_free_again() {
    let bench = Bench::new();
    for _ in 0..2 {
        let free = ["--setup", "free", "--checked", "all"];
        let (ended, document) = bench.on("learn", "virtual:healthy", &free);
        assert_eq!(ended, 0, "{document:#}");
    }
}
