//! Names of units: one namespace.

use std::fs;

use crate::{ends, has};

fn learn(unit: &str) -> [String; 4] {
    ["learn".into(), "--port".into(), "virtual".into(), format!("--unit={unit}")]
}

#[test]
fn a_name_that_some_system_cannot_keep_is_refused_before_anything_is_written() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let long = "x".repeat(300);
    for (name, why) in [
        ("-x", "must begin with"),
        (".x", "must begin with"),
        ("x.", "end with"),
        ("CON", "Windows"),
        ("nul.old", "Windows"),
        (long.as_str(), "64"),
        ("../away", "letters"),
        ("a  b", "two spaces"),
        ("", "empty"),
    ] {
        has(&ends(at, 2, &learn(name).each_ref().map(String::as_str)), &["--unit", why]);
    }
    assert_eq!(fs::read_dir(at).unwrap().count(), 0);
}

#[test]
fn letters_of_any_script_are_taken_and_another_writing_of_a_name_is_told_of_the_first() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let go = |name: &str, code| ends(at, code, &learn(name).each_ref().map(String::as_str));
    go("Ger\u{e4}t 7", 0);
    go("Gera\u{308}t 7", 0);
    has(&go("GER\u{c4}T 7", 2), &["Ger\u{e4}t 7", "spelled differently"]);
    let units: Vec<_> = fs::read_dir(at.join("units")).unwrap().map(|e| e.unwrap().file_name()).collect();
    assert_eq!(units, ["Ger\u{e4}t 7"]);
    assert!(at.join("units/Ger\u{e4}t 7/0002-learn").is_dir());
}
