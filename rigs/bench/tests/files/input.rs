//! Files that someone else made: bounded, and never echoed at length or raw.

use std::fs::{self, File};
use std::time::{Duration, Instant};

use crate::{ends, fifo, has, learned};

const SHEET: &str = include_str!("../../../profiles/sheets/ring-a.toml");

#[test]
fn what_has_no_end_no_writer_or_no_text_is_refused_at_once_in_words() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    learned(at);
    fifo(&at.join("fifo"));
    fs::create_dir(at.join("dir")).unwrap();
    File::create(at.join("huge")).unwrap().set_len(3 << 30).unwrap();
    fs::write(at.join("sheet.toml"), SHEET).unwrap();
    let begun = Instant::now();
    for (file, why) in [
        ("/dev/zero", "device"),
        ("fifo", "pipe"),
        ("dir", "folder"),
        ("huge", "at most 1 MiB"),
        ("none.toml", "no such"),
    ] {
        for args in [
            &["learn", "--port", "virtual", "--profile", file][..],
            &["judge", "units/healthy", "--limits", file],
            &["campaign", "boost-step", "--runs", "1", "--spread", file],
            &["simulate", "boost-step", "--with", file],
            &["match", file, "sheet.toml"],
        ] {
            has(&ends(at, 2, args), &[file, why]);
        }
    }
    for (file, why) in [("fifo", "pipe"), ("dir", "folder"), ("huge", "at most 16 MiB")] {
        let said = ends(at, 2, &["campaign", "boost-step", "--runs", "1", "--checkpoint", file]);
        has(&said, &[file, why]);
    }
    assert!(begun.elapsed() < Duration::from_secs(60), "{:?}", begun.elapsed());
}

#[test]
fn samples_beyond_an_hour_and_half_are_not_read() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    learned(at);
    let samples = at.join("units/healthy/0001-learn/samples.csv");
    File::options().write(true).open(samples).unwrap().set_len(3 << 30).unwrap();
    has(&ends(at, 3, &["judge", "units/healthy"]), &["samples.csv", "at most 256 MiB"]);
}

#[test]
fn a_message_repeats_the_beginning_of_a_field_only() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let long = "x".repeat(600_000);
    let profile = vanebench::actuator::DEMO.profile_text;
    let own = |from: &str, to: &str| {
        assert!(profile.contains(from));
        profile.replacen(from, to, 1)
    };
    for (file, text) in [
        ("name.toml", own("\"bench-actuator-a\"", &format!("{long:?}"))),
        ("field.toml", own("travel_deg =", &format!("{long} ="))),
        ("word.toml", own("\"opening-lowers\"", &format!("{long:?}"))),
        ("number.toml", own("travel_deg = 70.0", &format!("travel_deg = {long:?}"))),
    ] {
        fs::write(at.join(file), text).unwrap();
        let said = ends(at, 2, &["learn", "--port", "virtual", "--profile", file]);
        let message = said.lines().last().unwrap();
        has(message, &[file, "line "]);
        assert!(message.len() < 700 && !message.contains(&"x".repeat(81)), "{message}");
    }
    fs::write(at.join("sheet.toml"), SHEET.replacen("vanes =", &format!("{long} ="), 1)).unwrap();
    let said = ends(at, 2, &["match", "sheet.toml", "sheet.toml"]);
    assert!(said.len() < 2000, "{} bytes", said.len());
    let word = "x".repeat(60_000);
    let said = ends(at, 2, &["campaign", "boost-step", "--seed", &word]);
    assert!(said.len() < 500, "{} bytes", said.len());
}

#[test]
fn no_message_holds_what_a_terminal_obeys() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let named = vanebench::actuator::DEMO.limits_text.replacen(
        "= \"bench-actuator-a",
        "= \"a\\u001b[2J\\u009b\\u202e",
        1,
    );
    fs::write(at.join("limits.toml"), named).unwrap();
    for args in [
        &["judge", "no\u{1b}[2Jfolder"][..],
        &["learn", "--port", "virtual", "--profile", "\u{1b}[2J\u{7}.toml"],
        &["learn", "--port", "virtual", "--limits", "limits.toml"],
        &["simulate", "\u{1b}]0;title\u{7}"],
        &["campaign", "boost-step", "--runs", "\u{1b}[2J"],
        &["\u{1b}[2J"],
    ] {
        let said = ends(at, 2, args);
        assert!(!said.chars().any(|c| (c.is_control() && c != '\n') || c == '\u{202e}'), "{said:?}");
    }
}

#[test]
fn absurd_tolerances_of_a_sheet_are_named_with_line_and_range() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let line_of = |part: &str| format!(":{}:", SHEET.lines().position(|l| l.contains(part)).unwrap() + 1);
    for (from, to, range) in [
        ("tol_mm = 0.05", "tol_mm = inf", "0 to 20 mm"),
        ("tol_mm = 0.05", "tol_mm = 1e300", "0 to 20 mm"),
        ("at_radius_mm = 40.0", "at_radius_mm = 1e300", "5 to 260 mm"),
        ("tol_deg = 0.50", "tol_deg = 1e300", "0 to 20 °"),
        ("tol = 0.03", "tol = 1e300", "at most"),
    ] {
        assert!(SHEET.contains(from), "{from}");
        fs::write(at.join("sheet.toml"), SHEET.replacen(from, to, 1)).unwrap();
        let said = ends(at, 2, &["match", "sheet.toml", "sheet.toml"]);
        has(&said, &[&line_of(from), range]);
        assert!(said.len() < 500, "{said}");
    }
}
