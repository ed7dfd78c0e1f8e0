//! The text as a person reads it: verdict first and last, no line too wide.

use std::path::Path;

use assert_cmd::Command;

use super::{learned, matched, sheet};

/// Text on standard output at so many columns.
fn told_at(columns: &str, arguments: &[&str], folder: &Path) -> String {
    let mut tool = Command::new(env!("CARGO_BIN_EXE_vanebench"));
    let told = tool.current_dir(folder).env("COLUMNS", columns).args(arguments).output().unwrap();
    String::from_utf8(told.stdout).unwrap()
}

#[test]
fn no_line_of_a_match_or_a_comparison_is_wider_than_the_reader() {
    let dir = tempfile::tempdir().unwrap();
    for name in ["ring-a.toml", "ring-b.toml", "ring-c.toml", "compressor-map.csv"] {
        std::fs::copy(sheet(name), dir.path().join(name)).unwrap();
    }
    learned(dir.path(), "healthy", "attached");
    learned(&dir.path().join("free"), "healthy", "free");
    let travel = ["--free", "free/healthy/0001-learn", "--attached", "healthy/0001-learn"];
    let with = |words: &[&'static str], more: &[&'static str]| [words, &["--runs", "2"], more].concat();
    let outputs = [
        with(&["match", "ring-a.toml", "ring-b.toml"], &["--out", "matched"]),
        with(&["match", "ring-b.toml", "ring-a.toml"], &["--new-map", "compressor-map.csv"]),
        with(&["match", "ring-a.toml", "ring-c.toml", "--boost-limit", "200"], &travel),
        with(&["match", "ring-a.toml", "ring-a.toml"], &travel),
        vec!["sheet", "compare", "ring-a.toml", "ring-b.toml"],
        vec!["sheet", "compare", "ring-a.toml", "ring-a.toml"],
    ];
    for (columns, most) in [("", 80), ("60", 60)] {
        for arguments in &outputs {
            let told = told_at(columns, arguments, dir.path());
            assert!(!told.is_empty(), "{arguments:?}");
            let widest = told.lines().max_by_key(|line| line.chars().count()).unwrap();
            assert!(widest.chars().count() <= most, "{arguments:?} at {columns:?}: {widest}");
        }
        let new = format!("sheet{columns}.toml");
        let told = told_at(columns, &["sheet", "new", &new], dir.path());
        assert!(told.starts_with(&new) && told.lines().all(|line| line.len() <= most), "{told}");
    }
}

/// The verdict is what a person reads first and what still stands on the screen at the end.
#[test]
fn the_verdict_comes_first_and_last() {
    for (old, new, first, last) in [
        ("ring-a.toml", "ring-b.toml", "Met after re-mapping", "Every limit is kept at every load step."),
        ("ring-a.toml", "ring-c.toml", "Cannot be met:", "Every limit is kept at every load step."),
    ] {
        let told = matched(&sheet(old), &sheet(new)).output().unwrap().stdout;
        let told = String::from_utf8(told).unwrap();
        let head: Vec<&str> = told.lines().take(4).collect();
        assert!(head.join(" ").contains(first), "{head:?}");
        assert_eq!(told.lines().last(), Some(last));
    }
    let compared = |one: &str, two: &str| {
        let mut tool = Command::new(env!("CARGO_BIN_EXE_vanebench"));
        let told = tool.args(["sheet", "compare"]).arg(sheet(one)).arg(sheet(two)).output().unwrap().stdout;
        String::from_utf8(told).unwrap()
    };
    let told = compared("ring-a.toml", "ring-b.toml");
    assert_eq!(told.matches("values differ by more than the measurement can tell").count(), 2, "{told}");
}
