//! A recorded learn put back through the learning code, as a user would.

use assert_cmd::Command;

fn vanebench(records: &std::path::Path, words: &[&str]) -> (i32, String) {
    let mut command = Command::new(assert_cmd::cargo_bin!("vanebench"));
    let out = command.current_dir(records).args(words).output().expect("the tool runs");
    let text = String::from_utf8_lossy(&out.stdout).into_owned() + &String::from_utf8_lossy(&out.stderr);
    (out.status.code().unwrap_or(-1), text)
}

#[test]
fn a_recorded_learn_is_decided_as_then_and_other_records_are_turned_away() {
    let dir = tempfile::tempdir().unwrap();
    let learn = ["learn", "--port", "virtual", "--hands-clear"];
    assert_eq!(vanebench(dir.path(), &learn).0, 0);
    let (code, text) = vanebench(dir.path(), &["learn", "--replay", "units/healthy/0001-learn"]);
    assert_eq!(code, 0, "{text}");
    assert!(text.contains("the same decision as then"), "{text}");
    assert!(!text.contains("drive the unit differently"), "the replay is not exact: {text}");

    let relearn = ["learn", "--relearn", "--port", "virtual", "--hands-clear"];
    assert_eq!(vanebench(dir.path(), &relearn).0, 0);
    let (code, text) = vanebench(dir.path(), &["learn", "--replay", "units/healthy/0002-learn"]);
    assert_eq!(code, 2, "{text}");
    assert!(text.contains("key-off relearn"), "{text}");

    let samples = dir.path().join("units/healthy/0001-learn/samples.csv");
    let edited = std::fs::read_to_string(&samples).unwrap().replacen("release", "release ", 1);
    std::fs::write(&samples, edited).unwrap();
    let (code, text) = vanebench(dir.path(), &["learn", "--replay", "units/healthy/0001-learn"]);
    assert_eq!(code, 3, "{text}");
    assert!(text.contains("changed since it was recorded"), "{text}");
}
