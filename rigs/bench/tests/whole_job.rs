//! The whole job as a user runs it: the binary, the pseudo-terminal, the files it leaves.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on says where it stopped")]

#[path = "own/mod.rs"]
mod own;

use std::fs;
use std::path::Path;

use assert_cmd::Command;
use firmware_core::calibration::{Setup, Warmth};
use firmware_core::link::state::Pacing;
use own::own_copy;
use plant::world::World;
use serde_json::Value;
use study::catalogue;
use vanebench::caution::Acknowledged;
use vanebench::link_rig;
use vanebench::port::PortSpec;
use vanebench::procedure::{Basis, MoveKind, Observed, Observer, PlanPart, RunStop, Target, record_move};
use vanebench::record::{Job, Serials};
use vanebench::rig::StreamItem;
use vanebench::unit_store::{OnUnproven, ground};
use virtual_rig::rig::SimulatedRig;
use virtual_rig::runner::RunningRig;

fn vanebench(args: &[&str]) -> (i32, Value) {
    let output = Command::new(assert_cmd::cargo_bin!("vanebench")).arg("--json").args(args).output().unwrap();
    let text = String::from_utf8_lossy(&output.stderr);
    assert!(!text.contains("panicked"), "{text}");
    let value = serde_json::from_slice(&output.stdout).unwrap_or_else(|e| panic!("{args:?}: {e}\n{text}"));
    (output.status.code().unwrap(), value)
}

fn files(folder: &Path) -> Vec<std::path::PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).unwrap().map(Result::unwrap) {
        if entry.path().is_dir() {
            found.extend(files(&entry.path()));
        } else {
            found.push(entry.path());
        }
    }
    found.sort();
    found
}

/// A file's text without `run.toml`'s `[made]` and the unit's log, which is all that may differ between two equal runs.
fn repeatable(path: &Path) -> Vec<u8> {
    // It holds the hash of whole files, `[made]` included.
    if path.ends_with("log.jsonl") {
        return Vec::new();
    }
    let bytes = fs::read(path).unwrap();
    if path.file_name().is_some_and(|name| name == "run.toml") {
        let text = String::from_utf8(bytes).unwrap();
        return text.split("[made]").next().unwrap().as_bytes().to_vec();
    }
    bytes
}

#[test]
fn the_demo_ends_fit_and_its_seed_repeats_it_byte_for_byte() {
    let folder = tempfile::tempdir().unwrap();
    let run = |name: &str, seed: &str| {
        let out = folder.path().join(name);
        let (code, job) = vanebench(&["demo", "--out", &out.display().to_string(), "--seed", seed]);
        assert_eq!((code, job["judgement"].as_str()), (0, Some("within-limits")), "{job:#}");
        out
    };
    let (one, again, other) = (run("one", "7"), run("again", "7"), run("other", "8"));
    let names = |out: &Path| -> Vec<_> {
        files(out).iter().map(|path| path.strip_prefix(out).unwrap().to_owned()).collect()
    };
    assert_eq!(names(&one), names(&again));
    assert!(names(&one).iter().any(|path| path.ends_with("report.html")));
    for path in names(&one) {
        assert!(repeatable(&one.join(&path)) == repeatable(&again.join(&path)), "{} differs", path.display());
    }
    let samples = "units/demo-unit/0001-learn/samples.csv";
    assert_ne!(repeatable(&one.join(samples)), repeatable(&other.join(samples)), "the seed must matter");
}

#[test]
fn each_bad_unit_is_refused_for_its_own_reason_with_advice() {
    let folder = tempfile::tempdir().unwrap();
    let records = folder.path().display().to_string();
    let expected = [
        ("sooted-ring", 1, "tight-travel"),
        ("blocked-travel", 1, "obstructed-travel"),
        // The wrong profile shows the same signals: the unit is not blamed.
        ("reversed-sensor", 3, "wrong-direction"),
        ("loose-stop", 1, "stop-not-repeatable"),
        ("dead-motor", 1, "no-motion"),
    ];
    for (unit, ends, reason) in expected {
        let port = format!("virtual:{unit}");
        let (code, told) = vanebench(&["learn", "--port", &port, "--records", &records]);
        assert_eq!((code, told["refusal"]["reason"].as_str()), (ends, Some(reason)), "{unit}: {told:#}");
        assert!(told["refusal"]["advice"].as_str().unwrap().len() > 20, "{told:#}");
    }
}

#[test]
fn the_healthy_units_stops_lie_within_a_thousandth_of_travel_of_the_truth() {
    for seed in ["1", "2", "3"] {
        let folder = tempfile::tempdir().unwrap();
        let records = folder.path().display().to_string();
        let args = ["learn", "--port", "virtual:healthy", "--records", &records, "--seed", seed];
        let (code, told) = vanebench(&args);
        assert_eq!(code, 0, "{told:#}");
        let world = catalogue::find("healthy").unwrap().unit(None).world;
        let truth = World::new(&world, seed.parse().unwrap()).unwrap().stop_truth();
        let learned = |stop: &str| told["calibration"][stop]["zero_push_counts"].as_f64().unwrap();
        let travel = (truth.closed_counts.unwrap() - truth.open_counts.unwrap()).abs();
        for (name, truth) in [("closed", truth.closed_counts), ("open", truth.open_counts)] {
            let error = (learned(name) - truth.unwrap()).abs() / travel;
            assert!(error < 0.001, "seed {seed}, {name} stop is off by {:.3} % of travel", 100.0 * error);
        }
    }
}

/// What a learn recorded, but for the date and the port.
fn recorded(unit_dir: &Path) -> [String; 3] {
    let run = unit_dir.join("0001-learn");
    let read = |name: &str| fs::read_to_string(run.join(name)).unwrap();
    let (kept, _made) =
        read("run.toml").split_once("[made]").map(|(a, b)| (a.to_owned(), b.to_owned())).unwrap();
    [kept, read("samples.csv"), read("profile.toml")]
}

#[test]
fn bench_actuator_a_by_its_name_is_the_one_that_a_case_alone_means() {
    let folders = ["virtual:healthy", "virtual:bench-actuator-a/healthy"].map(|port| {
        let folder = tempfile::tempdir().unwrap();
        let (code, told) =
            vanebench(&["learn", "--port", port, "--records", &folder.path().display().to_string()]);
        assert_eq!(code, 0, "{port}: {told:#}");
        folder
    });
    let [alone, named] = folders.each_ref().map(|folder| recorded(&folder.path().join("healthy")));
    assert_eq!(alone, named);
}

#[test]
fn another_actuator_goes_from_learn_to_verdict_by_its_own_profile_and_limits() {
    let folder = tempfile::tempdir().unwrap();
    let records = folder.path().display().to_string();
    for verb in ["learn", "sweep", "friction", "step"] {
        let (code, told) =
            vanebench(&[verb, "--port", "virtual:bench-actuator-b/healthy", "--records", &records]);
        assert_eq!(code, 0, "{verb}: {told:#}");
    }
    let unit = folder.path().join("bench-actuator-b-healthy");
    let [_, _, profile] = recorded(&unit);
    assert_eq!(profile, vanebench::actuator::named("bench-actuator-b").unwrap().profile_text);
    let (code, told) = vanebench(&["judge", &unit.display().to_string()]);
    assert_eq!(code, 0, "{told:#}");
    let (code, told) =
        vanebench(&["learn", "--port", "virtual:bench-actuator-b/sooted-ring", "--records", &records]);
    assert_eq!((code, told["refusal"]["reason"].as_str()), (1, Some("tight-travel")), "{told:#}");
}

#[test]
fn ports_lists_actuators_then_cases_and_any_two_make_a_unit() {
    let (code, told) = vanebench(&["ports"]);
    let names = |list: &str| -> Vec<String> {
        told[list].as_array().unwrap().iter().map(|one| one["name"].as_str().unwrap().to_owned()).collect()
    };
    assert_eq!(
        (code, names("actuators")),
        (0, ["a", "b", "c", "d", "e", "f"].map(|letter| format!("bench-actuator-{letter}")).to_vec())
    );
    assert_eq!(names("cases"), catalogue::all().map(|preset| preset.name).collect::<Vec<_>>());
    for (actuator, case) in
        names("actuators").iter().flat_map(|a| names("cases").into_iter().map(move |c| (a.clone(), c)))
    {
        assert!(format!("virtual:{actuator}/{case}").parse::<PortSpec>().is_ok(), "{actuator}/{case}");
    }
}

#[test]
fn an_actuator_that_is_not_there_is_refused_with_those_that_are() {
    let (code, told) = vanebench(&["learn", "--port", "virtual:bench-actuator-z/healthy"]);
    let said = told["error"].as_str().unwrap();
    assert_eq!(code, 2);
    assert!(
        said.contains("bench-actuator-z") && said.contains("allowed: bench-actuator-a, bench-actuator-b"),
        "{said}"
    );
}

#[test]
fn an_attached_calibration_is_never_used_as_a_free_one() {
    let folder = tempfile::tempdir().unwrap();
    let records = folder.path().display().to_string();
    let (code, _) = vanebench(&["learn", "--port", "virtual:healthy", "--records", &records]);
    assert_eq!(code, 0);
    let on_free = ["sweep", "--port", "virtual:healthy", "--records", &records, "--setup", "free"];
    let (code, told) = vanebench(&on_free);
    assert_eq!(code, 2);
    assert!(told["error"].as_str().unwrap().contains("never learned free, cold"), "{told:#}");
}

#[test]
fn pulling_the_plug_in_a_sweep_keeps_what_was_recorded_and_the_next_run_works() {
    let folder = tempfile::tempdir().unwrap();
    let records = folder.path().display().to_string();
    let (code, told) = vanebench(&["learn", "--port", "virtual:healthy", "--records", &records]);
    assert_eq!(code, 0, "{told:#}");

    let stop = unplugged_sweep(folder.path());
    assert!(stop.contains("cut") || stop.contains("silent"), "{stop}");
    let run = folder.path().join("healthy/0002-sweep");
    let text = fs::read_to_string(run.join("run.toml")).unwrap();
    assert!(text.contains("state = \"incomplete\""), "{text}");
    let rows = fs::read_to_string(run.join("samples.csv")).unwrap().lines().count();
    assert!(rows > 1000, "only {rows} rows were kept");

    let (code, told) = vanebench(&["judge", &run.display().to_string()]);
    assert_eq!((code, told["judgement"].as_str()), (3, Some("undetermined")), "{told:#}");
    let (code, _) = vanebench(&["sweep", "--port", "virtual:healthy", "--records", &records]);
    assert_eq!(code, 0);
}

/// Pulls the plug once a part of the plan is done.
struct PullsPlug {
    rig: Option<RunningRig>,
    part: Option<PlanPart>,
}

impl Observer for PullsPlug {
    fn see(&mut self, observed: Observed<'_>) -> Result<(), RunStop> {
        match observed {
            Observed::Begins(part) => self.part = Some(part),
            Observed::Item(StreamItem::Sample(sample)) if self.part.unwrap().done_at(sample.tick) > 0.3 => {
                let _unplugged = self.rig.take().map(|mut rig| rig.unplug());
            }
            Observed::Item(_) | Observed::LetGo(_) => {}
        }
        Ok(())
    }
}

/// A sweep on the virtual rig whose plug is pulled part of the way through; what the tool then says.
fn unplugged_sweep(records: &Path) -> String {
    let case = catalogue::find("healthy").unwrap().unit(None);
    let rig = RunningRig::start(SimulatedRig::of_case(&case, 1, Pacing::Stepped).unwrap()).unwrap();
    let target = Target {
        port: PortSpec::Device(rig.path().to_owned()),
        unit: "healthy".into(),
        unit_dir: records.join("healthy"),
        profile: vanebench::actuator::DEMO.profile().unwrap(),
        limits: vanebench::actuator::DEMO.limits().unwrap(),
        setup: Setup::Attached,
        warmth: Warmth::Cold,
        seed: 1,
        serials: Serials::default(),
        job: Job::default(),
        operator: None,
        customer: None,
    };
    let in_force = ground(&target.wanted(), OnUnproven::Refuse).unwrap();
    let mut bench = link_rig::open(&target, Acknowledged::VirtualRig).unwrap();
    let mut plug = PullsPlug { rig: Some(rig), part: None };
    let basis = Basis::Accepted(in_force);
    record_move(&mut bench, &target, MoveKind::Sweep, &basis, &mut plug).unwrap_err().to_string()
}

#[test]
fn a_ring_that_sooted_up_after_it_was_learned_steps_too_slowly_and_the_verdict_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let records = folder.path().display().to_string();
    let on = |unit: &'static str| ["--port", unit, "--unit", "u1", "--records", &*records.clone().leak()];
    let (code, told) = vanebench(&[&["learn"][..], &on("virtual:healthy")].concat());
    assert_eq!(code, 0, "{told:#}");
    for (unit, expected) in [("virtual:healthy", 0), ("virtual:sooted-ring", 1)] {
        assert_eq!(vanebench(&[&["step"][..], &on(unit)].concat()).0, 0);
        let run = folder.path().join("u1").join(if expected == 0 { "0002-step" } else { "0003-step" });
        let (code, told) = vanebench(&["judge", &run.display().to_string()]);
        assert_eq!(code, expected, "{unit}: {told:#}");
        let blamed = told["reasons"].as_array().unwrap();
        assert_eq!(
            blamed.iter().any(|reason| reason["code"].as_str().unwrap().starts_with("step_")),
            expected == 1
        );
        // What is blamed is shown first, before the usual pictures.
        vanebench(&["report", &folder.path().join("u1").display().to_string()]);
        let page = fs::read_to_string(folder.path().join("u1/report.html")).unwrap();
        let shown = page.split_once("Pictures that say why").unwrap().1;
        let first = shown.split("<figcaption>").nth(1).unwrap();
        assert_eq!(first.split('<').next().unwrap().contains(" % step, "), expected == 1, "{first:.60}");
    }
}

#[test]
fn a_report_can_be_laid_out_again_from_the_records_alone() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().display().to_string();
    assert_eq!(vanebench(&["demo", "--out", &out]).0, 0);
    let first = fs::read(folder.path().join("report.html")).unwrap();
    let unit = folder.path().join("units/demo-unit");
    let (code, told) = vanebench(&["report", &unit.display().to_string()]);
    assert_eq!(code, 0, "{told:#}");
    let again = fs::read_to_string(unit.join("report.html")).unwrap();
    // The demo's own leaves the head of the log out: it differs from run to run.
    let (before, log) = again.split_once("Log of the unit").unwrap();
    let before = &before[..before.rfind("<section").unwrap()];
    let after = &log[log.find("</section>").unwrap() + "</section>".len()..];
    let html = String::from_utf8(first).unwrap();
    let same = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(same(&html) == same(&format!("{before}{after}")), "the report differs");
    for part in ["<svg", "prefers-color-scheme", "@page", "T86", "hysteresis", "pinch", "invented"] {
        assert!(html.to_lowercase().contains(&part.to_lowercase()), "{part} is missing in the report");
    }
    for outside in ["<script", "http://", "https://", "<link", "<img"] {
        let found = html.replace("http://www.w3.org/2000/svg", "");
        assert!(!found.contains(outside), "the report must stand alone, found {outside}");
    }
}

/// To the tool a device path is a real unit; here the virtual rig sits behind it.
#[test]
fn a_unit_behind_a_device_path_is_learned_after_the_cautions_and_its_report_is_dated_and_to_be_signed() {
    let folder = tempfile::tempdir().unwrap();
    let records = folder.path().display().to_string();
    let case = catalogue::find("healthy").unwrap().unit(None);
    let rig = SimulatedRig::of_case(&case, 1, Pacing::Stepped).unwrap();
    let rig = RunningRig::start(rig).unwrap();
    let port = rig.path().display().to_string();
    let own = |file: &str, text: &str| {
        let path = folder.path().join(file).display().to_string();
        fs::write(&path, own_copy(text)).unwrap();
        path
    };
    let profile = own("own.toml", vanebench::actuator::DEMO.profile_text);
    let limits = own("own.limits.toml", vanebench::actuator::DEMO.limits_text);
    let criteria = ["--profile", &profile, "--limits", &limits];
    let options = ["--port", &port, "--unit", "tag-17", "--records", &records, "--hands-clear"];
    let options = [&options[..], &criteria].concat();
    let (code, told) = vanebench(&[&["learn"][..], &options].concat());
    // Nobody has looked at the unit: signals alone prove nothing.
    assert_eq!((code, told["judgement"].as_str()), (3, Some("undetermined")), "{told:#}");
    let (code, told) = vanebench(&[&["learn", "--checked", "all"][..], &options].concat());
    assert_eq!((code, told["judgement"].as_str()), (0, Some("within-limits")), "{told:#}");
    assert_eq!(vanebench(&[&["step"][..], &options].concat()).0, 0);
    let unit = folder.path().join("tag-17");
    let (_, told) = vanebench(&[&["report", &unit.display().to_string()][..], &criteria].concat());
    let html = fs::read_to_string(told["report"].as_str().unwrap()).unwrap();
    for part in [" UTC</td>", &format!("<td>{port}</td>"), "Signed by a person"] {
        assert!(html.contains(part), "{part} is missing in the report");
    }
}
