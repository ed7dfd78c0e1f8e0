//! Whole jobs: a unit's life as it was kept: fleet, history, attached files. Overviews are read from kept verdicts and say
//! that they checked nothing; what was attached and then changed is found.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on says where it stopped")]

use std::fs;
use std::path::Path;
use std::process::Command;
use std::time::Instant;

use serde_json::Value;

fn run(folder: &Path, args: &[&str]) -> (i32, Value) {
    let mut tool = Command::new(assert_cmd::cargo_bin!("vanebench"));
    let output = tool.arg("--json").args(args).current_dir(folder).output().unwrap();
    (output.status.code().unwrap(), serde_json::from_slice(&output.stdout).unwrap())
}

/// A unit with a whole job as found and one as left.
fn two_jobs(folder: &Path) {
    for state in ["as-found", "as-left"] {
        let bench = ["bench", "--port", "virtual:healthy", "--unit", "u1", "--job", "A-17", "--state", state];
        assert_eq!(run(folder, &bench).0, 0);
    }
}

#[test]
fn a_fleet_and_a_history_tell_what_was_kept_of_a_unit() {
    let folder = tempfile::tempdir().unwrap();
    two_jobs(folder.path());
    let (_, fleet) = run(folder.path(), &["unit", "list", "--csv", "fleet.csv"]);
    let unit = &fleet["units"][0];
    assert_eq!(
        (unit["stored_verdict"].as_str(), unit["newer_runs"].as_u64()),
        (Some("within-limits"), Some(0))
    );
    assert_eq!(unit["job"], "job A-17, as left");
    assert!(unit["drift_percent"].as_f64().unwrap() < 0.5, "{unit:#}");
    let rows = fs::read_to_string(folder.path().join("fleet.csv")).unwrap();
    assert_eq!(rows.lines().count(), 2, "{rows}");
    let (_, history) = run(folder.path(), &["unit", "history", "units/u1"]);
    assert_eq!(history["rounds"].as_array().unwrap().len(), 2);
    for round in history["rounds"].as_array().unwrap() {
        assert_eq!(round["figures"].as_array().unwrap().len(), 7, "{round:#}");
    }
    // A refused learn after it: the verdict is older than the newest run, and nothing is in force.
    assert_eq!(run(folder.path(), &["learn", "--port", "virtual:sooted-ring", "--unit", "u1"]).0, 1);
    let (_, fleet) = run(folder.path(), &["unit", "list"]);
    let unit = &fleet["units"][0];
    assert_eq!(
        (unit["newer_runs"].as_u64(), unit["in_force"][0].as_str()),
        (Some(1), Some("attached, cold: nothing"))
    );
}

#[test]
fn a_comparison_tells_a_change_from_what_mounting_anew_explains() {
    let folder = tempfile::tempdir().unwrap();
    two_jobs(folder.path());
    let page = folder.path().join("compared.html");
    let (code, same) = run(folder.path(), &["unit", "compare", "units/u1", "--out", "compared.html"]);
    assert_eq!((code, same["a"]["name"].as_str()), (0, Some("u1, job A-17, as found")));
    let of = |told: &Value, key: &str| {
        let figures = told["figures"].as_array().unwrap();
        figures.iter().find(|figure| figure["key"] == key).unwrap()["weighed"].as_str().unwrap().to_owned()
    };
    assert_eq!(of(&same, "learn.span"), "within");
    assert_eq!(of(&same, "friction.largest"), "unknown");
    assert_eq!(fs::read_to_string(page).unwrap().matches("<figure").count(), 9);
    // Another actuator has another span.
    let other = ["learn", "--port", "virtual:bench-actuator-b/healthy", "--unit", "u2"];
    assert_eq!(run(folder.path(), &other).0, 0);
    let (code, changed) = run(folder.path(), &["unit", "compare", "units/u1/0005-learn", "units/u2"]);
    assert_eq!((code, changed["a"]["runs"][0].as_str()), (0, Some("0005-learn")));
    assert_eq!(of(&changed, "learn.span"), "more");
    // Two rounds tell no spread.
    let few = ["unit", "compare", "units/u1", "units/u2", "--remounted", "units/u1"];
    assert_eq!(run(folder.path(), &few).0, 2);
}

/// A picture is shown by its first bytes alone; a drawing that could run a script is named and never opened in the page.
#[test]
fn a_report_shows_what_was_attached_and_lets_nothing_of_it_run() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    assert_eq!(run(folder.path(), &["learn", "--port", "virtual:healthy", "--unit", "u1"]).0, 0);
    // A PNG of one point (ISO/IEC 15948), and a drawing with a script under the name of a photograph.
    let png = b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\0\x01\0\0\0\x01\x08\0\0\0\0";
    fs::write(at("closed.png"), png).unwrap();
    fs::write(at("\"><script>.jpg"), "<svg onload=alert(1)><script>alert(2)</script></svg>").unwrap();
    for (file, note) in [("closed.png", "<b>soot</b>"), ("\"><script>.jpg", "\"><script>alert(3)</script>")] {
        let attach = ["unit", "attach", "units/u1", file, "--by", "A", "--note", note];
        assert_eq!(run(folder.path(), &attach).0, 0, "{file}");
    }
    let page = || {
        run(folder.path(), &["report", "units/u1", "--out", "report.html"]);
        fs::read_to_string(at("report.html")).unwrap()
    };
    let shown = page();
    // The base 64 of RFC 4648 begins a PNG with these letters.
    assert_eq!(shown.matches("src=\"data:image/png;base64,iVBORw0KGgo").count(), 1);
    assert_eq!(shown.matches("src=").count(), 1);
    for part in ["0001-closed.png", "named only: not a PNG or JPEG", "&#60;b&#62;soot&#60;/b&#62;"] {
        assert!(shown.contains(part), "{part} is missing in the report");
    }
    assert!(!shown.contains("<script") && !shown.contains("onload") && !shown.contains("<b>"));
    fs::write(at("units/u1/attached/0001-closed.png"), [&png[..], b"more"].concat()).unwrap();
    let changed = page();
    assert!(changed.contains("changed since it was attached") && !changed.contains("src="));
}

#[test]
fn a_file_that_was_attached_and_changed_removed_or_added_is_found() {
    let folder = tempfile::tempdir().unwrap();
    assert_eq!(run(folder.path(), &["learn", "--port", "virtual:healthy", "--unit", "u1"]).0, 0);
    let photo = folder.path().join("ring, closed.jpg");
    fs::write(&photo, b"as it was").unwrap();
    let attach = ["unit", "attach", "units/u1", "ring, closed.jpg", "--by", "A", "--note", "soot"];
    let (code, attached) = run(folder.path(), &attach);
    // FIPS 180-4, as GNU `sha256sum` prints it of these nine bytes.
    let sum = "369b74f2003ce39f5829ec7a2f84852b72b610d0312c8951d5d8f7316c9902ba";
    assert_eq!((code, attached["name"].as_str()), (0, Some("0001-ring__closed.jpg")));
    assert_eq!(attached["sha256"], sum);
    let check = || run(folder.path(), &["unit", "check", "units/u1"]);
    assert_eq!(check().0, 0);
    let copy = folder.path().join("units/u1/attached/0001-ring__closed.jpg");
    fs::write(&copy, b"as it is not").unwrap();
    assert_eq!(check().0, 1);
    assert!(check().1["attached_found"][0].as_str().unwrap().contains("changed"));
    fs::remove_file(&copy).unwrap();
    assert_eq!(check().0, 1);
    fs::write(&copy, b"as it was").unwrap();
    assert_eq!(check().0, 0);
    fs::write(copy.with_file_name("0002-other.jpg"), b"by hand").unwrap();
    assert_eq!(check().0, 3);
    assert_eq!(
        run(folder.path(), &["unit", "attach", "units/u1", "nowhere.jpg", "--by", "A", "--note", "x"]).0,
        2
    );
}

fn copied(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap().map(Result::unwrap) {
        if entry.path().is_dir() {
            copied(&entry.path(), &to.join(entry.file_name()));
        } else {
            fs::hard_link(entry.path(), to.join(entry.file_name())).unwrap();
        }
    }
}

/// Prints how long a history of 1000 runs and a fleet of 200 units take.
#[test]
#[ignore = "prints times; nothing is asserted of them"]
fn long_lives_and_fleets_in_seconds() {
    let folder = tempfile::tempdir().unwrap();
    two_jobs(folder.path());
    let (units, one) = (folder.path().join("units"), folder.path().join("units/u1"));
    (2..=200).for_each(|number| copied(&one, &units.join(format!("v{number}"))));
    let kinds = ["learn", "friction", "sweep", "step"];
    fs::remove_file(one.join("log.jsonl")).unwrap();
    for ordinal in 9..=1000 {
        let kind = kinds[(ordinal - 1) % kinds.len()];
        let from = one.join(format!("{:04}-{kind}", (ordinal - 1) % kinds.len() + 1));
        copied(&from, &one.join(format!("{ordinal:04}-{kind}")));
    }
    let timed = |args: &[&str]| {
        let begun = Instant::now();
        assert_eq!(run(folder.path(), args).0, 0);
        begun.elapsed()
    };
    println!("history of 1000 runs: {:?}", timed(&["unit", "history", "units/u1"]));
    println!("fleet of 200 units, one of them with 1000 runs: {:?}", timed(&["unit", "list"]));
}
