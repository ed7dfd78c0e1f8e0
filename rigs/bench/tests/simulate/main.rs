//! `simulate` and `campaign` as a user runs them.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on says where it stopped")]

mod laws;

use std::fs;
use std::path::Path;

use assert_cmd::Command;
use serde_json::Value;

fn vanebench(args: &[&str], folder: &Path) -> (i32, Vec<u8>, String) {
    let mut command = Command::new(assert_cmd::cargo_bin!("vanebench"));
    let output = command.current_dir(folder).args(args).output().unwrap();
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(!said.contains("panicked"), "{said}");
    (output.status.code().unwrap(), output.stdout, said)
}

fn told(args: &[&str], folder: &Path) -> Value {
    let (_, out, said) = vanebench(&[&["--json"], args].concat(), folder);
    serde_json::from_slice(&out).unwrap_or_else(|error| panic!("{args:?}: {error}\n{said}"))
}

#[test]
fn a_folder_that_cannot_be_written_to_stays_as_it_is() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    fs::write(at.join("taken"), "").unwrap();
    let (code, _, said) = vanebench(&["simulate", "boost-step", "--out", "taken"], at);
    assert_eq!((code, said.contains("taken: is not a folder")), (2, true), "{said}");
    fs::create_dir_all(at.join("out/simulate.html")).unwrap();
    let (code, _, said) = vanebench(&["simulate", "boost-step", "--out", "out"], at);
    assert_eq!((code, said.contains("simulate.html")), (2, true), "{said}");
    assert_eq!(fs::read_dir(at.join("out")).unwrap().count(), 1, "files of a set that is not whole");
}

const BOOST_STEP: &str = include_str!("../../../../host-sim/study/scenarios/boost-step.toml");

#[test]
fn two_controllers_stand_side_by_side_and_the_same_seed_gives_the_same_bytes() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    fs::write(at.join("slow.toml"), "[slew]\nnormal_per_s = 0.5\n").unwrap();
    let args = ["simulate", "boost-step", "--with", "slow.toml", "--with", "slow.toml", "--seed", "7"];
    for out in ["one", "other"] {
        assert_eq!(vanebench(&[&args[..], &["--out", out]].concat(), at).0, 0);
    }
    for file in ["simulate.json", "simulate.html", "slow.csv", "slow-2.csv"] {
        let [one, other] = ["one", "other"].map(|out| fs::read(at.join(out).join(file)).unwrap());
        assert_eq!(one, other, "{file}");
        assert!(!String::from_utf8_lossy(&one).contains("NaN"), "{file}");
    }
}

#[test]
fn a_wrong_scenario_is_named_with_its_field_and_nothing_is_written() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    for (from, to, field) in [
        ("speed_rpm = 2000", "speed_rpm = -2000", "speed_rpm"),
        ("duration_s = 10.0", "duration_s = -1.0", "duration_s"),
        ("t_s = 6.0", "t_s = 0.5", "t_s"),
        ("fuel_mg = 25", "fuel = 25", "fuel"),
    ] {
        assert!(BOOST_STEP.contains(from));
        fs::write(at.join("wrong.toml"), BOOST_STEP.replacen(from, to, 1)).unwrap();
        let (code, _, said) = vanebench(&["simulate", "wrong.toml", "--out", "out"], at);
        assert_eq!(code, 2, "{said}");
        assert!(said.contains("wrong.toml") && said.contains(field), "{field} is missing in: {said}");
        assert!(!at.join("out").exists());
    }
    let (code, _, said) = vanebench(&["simulate", "bost-step"], at);
    assert!(code == 2 && said.contains("boost-step"), "{said}");
}

#[test]
fn a_limit_that_is_passed_is_named_with_its_time_and_ends_as_not_fit() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    fs::write(at.join("strict.toml"), format!("{BOOST_STEP}\n[limits]\nboost_kpa = 160.0\n")).unwrap();
    let (code, out, said) = vanebench(&["simulate", "strict.toml"], at);
    assert_eq!(code, 1, "{said}");
    let text = String::from_utf8(out).unwrap();
    assert!(text.starts_with("OUT OF LIMITS: passed boost under built-in for "), "{text}");
    assert_eq!(vanebench(&["simulate", "boost-step"], at).0, 0);
}

#[test]
fn a_campaign_does_not_depend_on_its_threads_and_its_worst_run_can_be_replayed() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let campaign = ["campaign", "boost-step", "--runs", "20", "--seed", "5"];
    let [one, two] = ["1", "2"].map(|threads| told(&[&campaign[..], &["--threads", threads]].concat(), at));
    assert_eq!(one, two);
    let metrics = one["metrics"].as_array().unwrap();
    let peak = metrics.iter().find(|metric| metric["name"] == "peak boost").unwrap();
    let worst = &peak["worst"][0];
    assert_eq!(worst["value"], peak["most"]);
    let member = worst["run"].to_string();
    let again = told(&["simulate", "boost-step", "--seed", "5", "--member", &member], at);
    assert_eq!(again["runs"][0]["metrics"]["peak_boost_kpa"], worst["value"]);
}

#[test]
fn a_campaign_goes_on_from_its_checkpoint_and_refuses_that_of_another() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let campaign = |seed| ["campaign", "boost-step", "--runs", "12", "--seed", seed, "--checkpoint", "kept"];
    let first = told(&campaign("5"), at);
    assert!(at.join("kept").exists());
    assert_eq!(told(&campaign("5"), at), first);
    let (code, _, said) = vanebench(&campaign("6"), at);
    assert!(code == 2 && said.contains("kept"), "{said}");
}

#[test]
#[cfg(unix)]
fn an_interrupted_campaign_says_how_to_go_on_and_ends_with_the_bytes_of_a_whole_one() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    fs::write(
        at.join("short.toml"),
        "name = \"short\"\nabout = \"\"\nduration_s = 0.5\nwarm_up_s = 0.1\n\
        [[demand]]\nt_s = 0.0\nspeed_rpm = 2000\nfuel_mg = 25\nboost_kpa = 150\n",
    )
    .unwrap();
    let campaign = ["campaign", "short.toml", "--runs", "3000"];
    let kept = [&campaign[..], &["--checkpoint", "kept"]].concat();
    let mut first = std::process::Command::new(assert_cmd::cargo_bin!("vanebench"));
    let first = first.current_dir(at).args(&kept).stdout(std::process::Stdio::piped()).spawn().unwrap();
    let pid = first.id().to_string();
    while !at.join("kept").exists() {
        std::thread::sleep(std::time::Duration::from_millis(5));
    }
    std::process::Command::new("kill").args(["-INT", &pid]).status().unwrap();
    let ended = first.wait_with_output().unwrap();
    let text = String::from_utf8(ended.stdout).unwrap();
    assert_eq!(ended.status.code(), Some(130), "{text}");
    assert!(text.contains("interrupted; repeat the command line to continue from kept"), "{text}");
    let (_, resumed, _) = vanebench(&[&["--json"], &kept[..]].concat(), at);
    let (_, whole, _) = vanebench(&[&["--json"], &campaign[..]].concat(), at);
    assert!(resumed == whole && !whole.is_empty());
    let (code, _, said) = vanebench(&[&kept[..2], &["--runs", "2999", "--checkpoint", "kept"]].concat(), at);
    assert!(code == 2 && said.contains("number of runs"), "{said}");
}

#[test]
fn a_number_that_cannot_be_is_refused_with_what_is_allowed() {
    let folder = tempfile::tempdir().unwrap();
    for (args, allowed) in [
        (["campaign", "boost-step", "--runs", "0"], "1 to 100000000"),
        (["campaign", "boost-step", "--runs", "-1"], "1 to 100000000"),
        (["campaign", "boost-step", "--runs", "1e3"], "1 to 100000000"),
        (["campaign", "boost-step", "--threads", "1000000"], "1 to 1024"),
        (["campaign", "boost-step", "--seed", "-1"], "0 to 18446744073709551615"),
        (["simulate", "boost-step", "--member", "18446744073709551615"], "0 to 99999999"),
    ] {
        let (code, _, said) = vanebench(&args, folder.path());
        assert!(code == 2 && said.contains(args[3]), "{args:?}: {said}");
        assert!(said.contains(&format!("allowed: whole numbers from {allowed}")), "{said}");
    }
}

fn sheet(name: &str) -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../profiles/sheets").join(name).display().to_string()
}

#[test]
fn measured_turbos_stand_side_by_side_and_table_json_and_page_name_their_sheets() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let (a, c) = (sheet("ring-a.toml"), sheet("ring-c.toml"));
    let args = ["simulate", "boost-step", "--parts", &a, "--parts", &c, "--out", "out"];
    let (code, out, said) = vanebench(&args, at);
    assert_eq!(code, 0, "{said}");
    let text = String::from_utf8(out).unwrap();
    for line in [
        "ring-a: ring A, 11 vanes × 6.0 mm (",
        "invented demonstration parts",
        "ring-c: open area far from this engine's own",
        "guard under ring-c: ",
        "Compare parts with parts",
    ] {
        assert!(text.contains(line), "{line} is missing in: {text}");
    }
    assert!(!text.contains("ring-a: open area far"), "{text}");
    let told: Value = serde_json::from_slice(&fs::read(at.join("out/simulate.json")).unwrap()).unwrap();
    let runs = told["runs"].as_array().unwrap();
    let names: Vec<&str> = runs.iter().map(|run| run["parts"]["name"].as_str().unwrap()).collect();
    assert_eq!(names, ["ring A, 11 vanes × 6.0 mm", "ring C, 9 vanes × 7.2 mm, short travel"]);
    assert!(runs.iter().all(|run| run["controller"] == "built-in"), "{told}");
    assert_ne!(runs[0]["metrics"], runs[1]["metrics"]);
    let page = fs::read_to_string(at.join("out/simulate.html")).unwrap();
    assert!(page.contains("turbo of ring-c") && page.contains("ring C, 9 vanes"), "{page}");
    assert!(page.contains("Turbos") && page.contains("measured areas count × 1:"), "{page}");
    assert!(
        page.contains(">turbo ring-c<") && !page.contains("controller ring-c"),
        "a turbo is no controller"
    );
    for file in ["ring-a.csv", "ring-c.csv"] {
        assert!(at.join("out").join(file).exists(), "{file}");
    }
    let without = self::told(&["simulate", "boost-step"], at);
    assert!(without["runs"][0].get("parts").is_none(), "{without}");
}

/// The built-in scenario's vanes run away at 2 s; the guard's answers stand on every chart and in a lane each.
#[test]
fn the_page_shows_what_was_put_in_what_the_controller_saw_and_what_its_guard_did() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    vanebench(&["simulate", "runaway-vane", "--out", "out"], at);
    let told: Value = serde_json::from_slice(&fs::read(at.join("out/simulate.json")).unwrap()).unwrap();
    let events = told["runs"][0]["guard_events"].as_array().unwrap();
    let page = fs::read_to_string(at.join("out/simulate.html")).unwrap();
    let first = format!("guard changes its stage at {:.1}", events[0]["t_s"].as_f64().unwrap());
    // Six charts, the widest one drawn twice.
    assert_eq!(page.matches(&first).count(), 7, "{first}");
    let seen = told["runs"][0]["faults"].as_array().unwrap();
    assert!(!seen.is_empty() && page.matches("controller sees a fault at ").count() == 7);
    for fault in seen {
        assert!(page.contains(&format!("controller sees {}: ", fault.as_str().unwrap())), "{fault}");
    }
    assert!(page.contains("simulated fault: position-sensor: 2.00 to 10.00 s"), "the scenario's own fault");
    let calm = ["simulate", "boost-step", "--out", "calm"];
    assert_eq!(vanebench(&calm, at).0, 0);
    let page = fs::read_to_string(at.join("calm/simulate.html")).unwrap();
    assert!(
        page.contains("saw no fault and its guard never stepped in") && !page.contains("class=\"lanes\"")
    );
}

#[test]
fn controllers_and_turbos_are_run_in_every_combination_and_a_turbo_is_described_once() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    fs::write(at.join("slow.toml"), "[slew]\nnormal_per_s = 0.5\n").unwrap();
    fs::write(at.join("own.toml"), "").unwrap();
    let (a, b) = (sheet("ring-a.toml"), sheet("ring-b.toml"));
    let args =
        ["simulate", "boost-step", "--with", "own.toml", "--with", "slow.toml", "--parts", &a, "--parts", &b];
    let text = String::from_utf8(vanebench(&args, at).1).unwrap();
    let heads = ["metric", "own-ring-a", "own-ring-b", "slow-ring-a", "slow-ring-b"];
    assert!(text.lines().any(|line| line.split_whitespace().eq(heads)), "{text}");
    assert_eq!(text.matches("ring B, 9 vanes").count(), 1, "{text}");
    assert!(text.contains("own-ring-b, slow-ring-b: ring B, 9 vanes"), "{text}");
}

#[test]
fn a_campaign_with_parts_names_its_sheet_and_its_worst_run_replays_with_them() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let b = sheet("ring-b.toml");
    let campaign = told(&["campaign", "boost-step", "--runs", "20", "--seed", "5", "--parts", &b], at);
    assert_eq!(campaign["parts"]["name"], "ring B, 9 vanes × 7.2 mm");
    assert_eq!(campaign["failures"], 0);
    let metrics = campaign["metrics"].as_array().unwrap();
    let peak = metrics.iter().find(|metric| metric["name"] == "peak exhaust pressure").unwrap();
    let worst = &peak["worst"][0];
    let member = worst["run"].to_string();
    let again = told(&["simulate", "boost-step", "--seed", "5", "--member", &member, "--parts", &b], at);
    assert_eq!(again["runs"][0]["metrics"]["peak_exhaust_kpa"], worst["value"]);
    let own = told(&["simulate", "boost-step", "--seed", "5", "--member", &member], at);
    assert_ne!(own["runs"][0]["metrics"]["peak_exhaust_kpa"], worst["value"]);
}

/// A ring by hand, with the dimensions of ring A's sheet.
const RING: &str = "
[world.engine.ring]
vanes = 11
height_mm = 6.0
chord_mm = 17.5
thickness_mm = 1.2
pivot_radius_mm = 29.0
pivot_fraction = 0.45
closed_angle_deg = 10.6
open_angle_deg = 36.0
end_gap_mm = 0.06
";
const OWN_AIR: &str = "\n[world.engine.air]\nnozzle_max_m2 = 7.0e-4\n";

#[test]
fn a_ring_on_an_engine_of_ones_own_runs_only_when_it_is_said_what_its_area_counts_for() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let a = sheet("ring-a.toml");
    let write = |text: &str| fs::write(at.join("own.toml"), text).unwrap();
    let refused = |args: &[&str]| {
        let (code, _, said) = vanebench(args, at);
        assert_eq!(code, 2, "{said}");
        for word in ["world.engine.ring_flow_factor", "missing", "0.67", "too little boost"] {
            assert!(said.contains(word), "{word} is missing in: {said}");
        }
        assert!(!at.join("out").exists());
        said
    };
    write(&format!("{BOOST_STEP}{OWN_AIR}"));
    assert_eq!(vanebench(&["simulate", "own.toml"], at).0, 0);
    let said = refused(&["simulate", "own.toml", "--parts", &a, "--out", "out"]);
    assert!(said.contains("on the engine of own.toml: "), "{said}");
    refused(&["campaign", "own.toml", "--parts", &a, "--runs", "4", "--checkpoint", "out"]);
    write(&format!("{BOOST_STEP}{OWN_AIR}{RING}"));
    let said = refused(&["simulate", "own.toml", "--out", "out"]);
    assert!(said.contains("own.toml, line 24"), "{said}");

    write(&format!("{BOOST_STEP}\n[world.engine]\nring_flow_factor = 0.67\n{OWN_AIR}{RING}"));
    let said = "measured areas count × 0.67: ring_flow_factor, given by the scenario";
    for args in [&["simulate", "own.toml"][..], &["campaign", "own.toml", "--runs", "4"]] {
        let text = String::from_utf8(vanebench(&[args, &["--parts", &a]].concat(), at).1).unwrap();
        assert!(text.contains(said), "{text}");
    }
    assert_eq!(told(&["campaign", "own.toml", "--runs", "4"], at)["failures"], 0);
}

/// A campaign's units differ in air path and nozzle; which factor counts was decided before they were drawn.
#[test]
fn the_spread_of_units_does_not_take_the_built_in_air_path_for_one_of_ones_own() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    fs::write(at.join("ring.toml"), format!("{BOOST_STEP}{RING}")).unwrap();
    assert_eq!(told(&["campaign", "ring.toml", "--runs", "12"], at)["failures"], 0);
    let a = sheet("ring-a.toml");
    let campaign = told(&["campaign", "boost-step", "--runs", "12", "--parts", &a], at);
    assert_eq!(campaign["failures"], 0);
    assert_eq!(campaign["parts"]["ring_flow_factor"], 1.0);
    assert_eq!(campaign["parts"]["flow_factor_from"], "built-in-air-path");
}

#[test]
fn a_sheet_that_is_no_turbo_is_refused_with_line_and_field_and_nothing_is_written() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let sound = fs::read_to_string(sheet("ring-a.toml")).unwrap();
    for (from, to, field) in [
        ("deg = 10.6", "deg = 1.0", "nozzle.closed_angle"),
        ("vanes = 11", "vanes = 2", "nozzle.vanes"),
        ("height = { mm = 6.0", "height = { mm = -6.0", "nozzle.height"),
    ] {
        assert!(sound.contains(from));
        fs::write(at.join("wrong.toml"), sound.replacen(from, to, 1)).unwrap();
        for verb in ["simulate", "campaign"] {
            let (code, _, said) = vanebench(&[verb, "boost-step", "--parts", "wrong.toml"], at);
            assert_eq!(code, 2, "{said}");
            assert!(said.contains("wrong.toml") && said.contains(field), "{field} is missing in: {said}");
        }
    }
    let (code, _, said) = vanebench(&["simulate", "boost-step", "--parts", "none.toml", "--out", "out"], at);
    assert!(code == 2 && said.contains("none.toml") && !at.join("out").exists(), "{said}");
}
