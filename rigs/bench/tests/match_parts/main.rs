//! `vanebench match` from the outside: exit codes, files, JSON.

#![allow(clippy::unwrap_used, reason = "a check that cannot be set up must fail")]

mod told;
mod wrong;

use std::path::{Path, PathBuf};

use assert_cmd::Command;
use firmware_core::settings::Settings;
use serde_json::Value;

fn sheet(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../profiles/sheets").join(name)
}

fn matched(old: &Path, new: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_vanebench"));
    command.arg("match").arg(old).arg(new).args(["--runs", "8"]);
    command
}

/// What was said, folds undone.
fn flat(said: &[u8]) -> String {
    String::from_utf8_lossy(said).split_whitespace().collect::<Vec<_>>().join(" ")
}

fn json(command: &mut Command) -> Value {
    serde_json::from_slice(&command.arg("--json").output().unwrap().stdout).unwrap()
}

#[test]
fn two_rings_that_fit_end_in_done_with_report_map_and_controller() {
    let dir = tempfile::tempdir().unwrap();
    let out = dir.path().join("match");
    let mut command = matched(&sheet("ring-a.toml"), &sheet("ring-b.toml"));
    let told = json(command.arg("--out").arg(&out));
    command.assert().code(0);
    assert_eq!(told["exit"], "done");
    assert_eq!(told["minimum_flow"]["kind"], "move-stop");
    let page = std::fs::read_to_string(out.join("match.html")).unwrap();
    assert!(page.contains("<svg") && page.contains("OVER-BOOST"));
    let map = std::fs::read_to_string(out.join("opening-map.csv")).unwrap();
    assert_eq!(map.lines().count(), 102);
    let controller = std::fs::read_to_string(out.join("controller.toml")).unwrap();
    let settings: Settings = toml::from_str(&controller).unwrap();
    settings.validate().unwrap();
    assert_ne!(settings.target.feed_forward, Settings::default().target.feed_forward);
}

#[test]
fn the_carried_over_controller_carries_back_over() {
    let dir = tempfile::tempdir().unwrap();
    let settings = |out: &Path| -> Settings {
        toml::from_str(&std::fs::read_to_string(out.join("controller.toml")).unwrap()).unwrap()
    };
    let (there, back) = (dir.path().join("there"), dir.path().join("back"));
    matched(&sheet("ring-a.toml"), &sheet("ring-a.toml")).arg("--out").arg(&there).assert().code(0);
    matched(&sheet("ring-a.toml"), &sheet("ring-a.toml"))
        .arg("--controller")
        .arg(there.join("controller.toml"))
        .arg("--out")
        .arg(&back)
        .assert()
        .code(0);
    assert_eq!(settings(&there).target.feed_forward, settings(&back).target.feed_forward);
}

#[test]
fn an_area_that_rests_on_estimates_is_not_called_met() {
    let dir = tempfile::tempdir().unwrap();
    let text = std::fs::read_to_string(sheet("ring-b.toml")).unwrap();
    let unmeasured: String = text
        .lines()
        .filter(|line| !line.starts_with("thickness") && !line.starts_with("pivot_fraction"))
        .map(|line| format!("{line}\n"))
        .collect();
    let new = dir.path().join("unmeasured.toml");
    std::fs::write(&new, unmeasured).unwrap();
    let said = flat(&matched(&sheet("ring-a.toml"), &new).assert().code(3).get_output().stdout);
    assert!(said.contains("Met for the numbers given"), "{said}");
    assert!(said.contains("measure nozzle.pivot_fraction and nozzle.thickness first"), "{said}");
}

#[test]
fn a_ring_that_cannot_meet_the_area_ends_in_not_fit_with_the_effect_in_words() {
    let mut command = matched(&sheet("ring-a.toml"), &sheet("ring-c.toml"));
    let told = json(&mut command);
    command.assert().code(1);
    let reasons = told["not_met"].as_array().unwrap();
    assert_eq!(reasons.len(), 3, "{reasons:?}");
    let words = reasons.iter().map(|reason| reason.as_str().unwrap()).collect::<Vec<_>>().join("\n");
    for effect in ["minimum flow", "exhaust-brake pressure", "boost", "exhaust pressure"] {
        assert!(words.contains(effect), "{effect} is not in: {words}");
    }
}

#[test]
fn a_faulty_sheet_ends_in_usage_and_writes_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let faulty = dir.path().join("faulty.toml");
    let text = std::fs::read_to_string(sheet("ring-b.toml")).unwrap().replace("vanes = 9", "vanes = 0");
    std::fs::write(&faulty, text).unwrap();
    let out = dir.path().join("out");
    let assert = matched(&sheet("ring-a.toml"), &faulty).arg("--out").arg(&out).assert().code(2);
    let said = String::from_utf8_lossy(&assert.get_output().stderr).into_owned();
    assert!(
        said.contains("faulty.toml:") && said.contains("nozzle.vanes") && said.contains("Count again"),
        "{said}"
    );
    assert!(!out.exists());
}

#[test]
fn the_same_seed_tells_the_same_bytes() {
    let once = || matched(&sheet("ring-a.toml"), &sheet("ring-b.toml")).output().unwrap().stdout;
    assert_eq!(once(), once());
}

/// Learns a virtual unit and gives the run's folder.
fn learned(records: &Path, unit: &str, setup: &str) -> PathBuf {
    Command::new(env!("CARGO_BIN_EXE_vanebench"))
        .args([
            "learn",
            "--port",
            &format!("virtual:{unit}"),
            "--setup",
            setup,
            "--checked",
            "all",
            "--records",
        ])
        .arg(records)
        .assert()
        .code(0);
    records.join(unit).join("0001-learn")
}

#[test]
fn two_learns_of_the_bench_are_held_against_the_sheet_and_not_taken_for_each_other() {
    let dir = tempfile::tempdir().unwrap();
    // A sound virtual unit comes off its ring for a free learn.
    let free = learned(&dir.path().join("free"), "healthy", "free");
    let attached = learned(dir.path(), "healthy", "attached");
    let ring = sheet("ring-a.toml");
    let mut fits = matched(&ring, &ring);
    let told = json(fits.arg("--free").arg(&free).arg("--attached").arg(&attached));
    assert_eq!(told["travel"]["findings"], serde_json::json!([]), "{}", told["travel"]);
    let found = told["travel"]["attached_deg"].as_f64().unwrap();
    assert!((found - 70.0).abs() < 1.9, "{found}");
    let mistaken =
        matched(&ring, &ring).arg("--free").arg(&attached).arg("--attached").arg(&free).assert().code(2);
    let said = String::from_utf8_lossy(&mistaken.get_output().stderr).into_owned();
    assert!(said.contains("setup free is needed"), "{said}");
}

#[test]
fn a_stated_boost_limit_is_written_and_a_passed_one_ends_out_of_limits_and_is_named() {
    let dir = tempfile::tempdir().unwrap();
    let run = |limit: &str, out: &Path| {
        matched(&sheet("ring-a.toml"), &sheet("ring-b.toml"))
            .args(["--boost-limit", limit])
            .arg("--out")
            .arg(out)
            .assert()
    };
    let (kept, passed) = (dir.path().join("kept"), dir.path().join("passed"));
    run("240", &kept).code(0);
    let settings = |out: &Path| std::fs::read_to_string(out.join("controller.toml")).unwrap();
    assert!(settings(&kept).contains("\nboost = 240.0"), "{}", settings(&kept));
    assert!(!settings(&kept).contains("NOT WITHIN LIMITS"));
    let said = flat(&run("200", &passed).code(1).get_output().stdout);
    assert!(said.contains("Limits passed: boost reaches"), "{said}");
    assert!(settings(&passed).contains("# NOT WITHIN LIMITS: boost reaches"));
    assert!(settings(&passed).contains("\nboost = 200.0"));
    let said = run("300", &dir.path().join("none")).code(2).get_output().stderr.clone();
    assert!(String::from_utf8_lossy(&said).contains("--limit-source"));
}

/// The answer first, both rings drawn, absolute pressures labelled, A/R in mm and inches.
#[test]
fn the_page_starts_with_the_answer_and_draws_both_rings_to_scale() {
    let dir = tempfile::tempdir().unwrap();
    let out = dir.path().join("match");
    matched(&sheet("ring-a.toml"), &sheet("ring-b.toml")).arg("--out").arg(&out).assert().code(0);
    let page = std::fs::read_to_string(out.join("match.html")).unwrap();
    let at = |words: &str| page.find(words).unwrap_or_else(|| panic!("{words} is missing"));
    assert!(at("Answer") < at("Met after re-mapping and setting the stop"));
    assert!(at("deciding number") < at("<div class=\"rings\">"));
    assert!(at("<div class=\"rings\">") < at("Area and boost</h2>"));
    // All before the appendix is the answer, which begins a new printed page; the inputs come last.
    assert!(at("Area and boost</h2>") < at("<section class=\"new-page\">"));
    assert!(
        at("<section class=\"new-page\">") < at("</span>Appendix")
            && page.matches("</span>Appendix").count() == 7,
        "{}",
        page.matches("</span>Appendix").count()
    );
    assert!(at("page \" counter(page)") < at("<body>"));
    // Closed and open, 11 and 9 vanes.
    assert_eq!(page.matches("<path class=\"vane\"").count(), 2 * (11 + 9));
    assert!(page.contains("kPa absolute") && page.contains(" in)"));
    for name in ["new: nozzle.pivot_fraction", "old: rotor.inertia"] {
        assert!(page.contains(name), "{name} stands on the picture");
    }
}

/// A measured map on the command line: it is read, a bad one is named with its line.
#[test]
fn a_measured_map_is_read_and_a_bad_one_named() {
    let map = sheet("compressor-map.csv");
    let mut command = matched(&sheet("ring-a.toml"), &sheet("ring-b.toml"));
    let told = json(command.arg("--new-map").arg(&map));
    let power = &told["breathing"]["potential"][1]["power_kw"];
    assert!(power[0].as_f64().unwrap() < power[1].as_f64().unwrap());
    let dir = tempfile::tempdir().unwrap();
    let bad = dir.path().join("bad.csv");
    std::fs::write(&bad, std::fs::read_to_string(&map).unwrap().replace("# pref_Pa=100000.0\n", "")).unwrap();
    let mut command = matched(&sheet("ring-a.toml"), &sheet("ring-b.toml"));
    let said = command.arg("--old-map").arg(&bad).assert().code(2).get_output().stderr.clone();
    assert!(String::from_utf8_lossy(&said).contains("bad.csv:1: does not state its pref_Pa"));
}

/// A car's sheet beside a truck's.
#[test]
fn turbos_for_engines_of_different_size_end_in_words() {
    let sheets = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/reference/match/sheets");
    for (old, new) in [("car", "truck"), ("truck", "car")] {
        let at = |name: &str| sheets.join(format!("{name}.toml"));
        let said = matched(&at(old), &at(new)).assert().code(2).get_output().stderr.clone();
        let said = String::from_utf8_lossy(&said).into_owned();
        assert!(said.contains(&format!("{new} is another size than {old}: ")), "{said}");
        assert!(
            said.contains("times). They are for different engines") && said.contains("compare with a sheet")
        );
    }
}

#[test]
fn an_empty_sheet_is_written_once_and_two_units_stand_side_by_side() {
    let dir = tempfile::tempdir().unwrap();
    let new = dir.path().join("mine.toml");
    let tool = || Command::new(env!("CARGO_BIN_EXE_vanebench"));
    tool().args(["sheet", "new"]).arg(&new).assert().code(0);
    assert!(std::fs::read_to_string(&new).unwrap().contains("inches: { in = "));
    let again = tool().args(["sheet", "new"]).arg(&new).assert().code(2).get_output().stderr.clone();
    assert!(String::from_utf8_lossy(&again).contains("already exists and stays as it is"));
    let neither =
        tool().args(["sheet", "new"]).arg(dir.path().join("mine")).assert().code(2).get_output().clone();
    assert!(String::from_utf8_lossy(&neither.stderr).contains("give a file name that ends in .toml"));
    let compare = |one: &str, two: &str| {
        let out = tool().args(["sheet", "compare"]).arg(sheet(one)).arg(sheet(two)).assert().code(0);
        String::from_utf8_lossy(&out.get_output().stdout.clone()).into_owned()
    };
    assert!(compare("ring-a.toml", "ring-a.toml").contains("Nothing differs."));
    let told = compare("ring-a.toml", "ring-b.toml");
    for words in ["value that differs", "what it does", "vanes: 11 → 9", "differs", "cannot tell"] {
        assert!(told.contains(words), "{words} is missing in {told}");
    }
}
