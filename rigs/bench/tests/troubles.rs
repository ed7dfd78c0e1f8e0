//! What a user can get wrong, or what can break under them: a clear message, the right exit code, nothing
//! half-written.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on says where it stopped")]

#[path = "own/mod.rs"]
mod own;

use std::fs;
use std::io::{Read, Write};
use std::path::Path;

use assert_cmd::Command;
use own::own_copy;
use virtual_rig::line::LineEnd;

/// The demonstration's actuator under a name of its own, as a user's copy would have it.
fn own_profile(folder: &Path) -> [String; 4] {
    let named = |text: &str| own_copy(text);
    let put = |file: &str, text: &str| {
        let path = folder.join(file);
        fs::write(&path, named(text)).expect("the folder takes a file");
        path.display().to_string()
    };
    let profile = put("own.toml", vanebench::actuator::DEMO.profile_text);
    let limits = put("own.limits.toml", vanebench::actuator::DEMO.limits_text);
    ["--profile".into(), profile, "--limits".into(), limits]
}

/// What `learn` says of a port, asked as for a real unit, with the cautions acknowledged.
fn learn_fails(port: &str, code: i32) -> String {
    let folder = tempfile::tempdir().expect("a folder");
    let own = own_profile(folder.path());
    let args = ["learn", "--port", port, "--unit", "u1", "--hands-clear"];
    fails(&args.into_iter().chain(own.iter().map(String::as_str)).collect::<Vec<_>>(), code)
}

fn vanebench() -> Command {
    Command::new(assert_cmd::cargo_bin!("vanebench"))
}

fn fails(args: &[&str], code: i32) -> String {
    let output = vanebench().args(args).output().expect("the program starts");
    let text = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(code), "{args:?} said: {text}");
    assert!(!text.contains("panicked"), "{text}");
    text
}

fn profile_with(folder: &Path, from: &str, to: &str) -> String {
    let text = vanebench::actuator::DEMO.profile_text;
    assert!(text.contains(from));
    let path = folder.join("unit.toml");
    fs::write(&path, text.replacen(from, to, 1)).expect("the folder takes a file");
    path.display().to_string()
}

#[test]
fn a_value_out_of_range_in_a_profile_is_named_with_file_line_field_and_range() {
    let folder = tempfile::tempdir().unwrap();
    let path = profile_with(folder.path(), "max_current = 4.0", "max_current = 99.0");
    let records = folder.path().join("units").display().to_string();
    let said = fails(&["learn", "--port", "virtual", "--profile", &path, "--records", &records], 2);
    for part in ["unit.toml", "line ", "max_current", "99", "0.1", "30"] {
        assert!(said.contains(part), "{part} is missing in: {said}");
    }
    assert!(!folder.path().join("units").exists(), "nothing may be written");
}

#[test]
fn a_file_that_is_no_toml_is_named_with_its_line() {
    let folder = tempfile::tempdir().unwrap();
    let path = profile_with(folder.path(), "[plan.sweep]", "[plan.sweep");
    let said = fails(&["learn", "--port", "virtual", "--profile", &path], 2);
    assert!(said.contains("unit.toml") && said.contains("line "), "{said}");
}

#[test]
fn a_port_that_is_not_there_is_named_with_what_to_try() {
    let said = learn_fails("/dev/no-such-port", 2);
    assert!(said.contains("/dev/no-such-port") && said.contains("vanebench ports"), "{said}");
}

#[test]
fn a_real_port_moves_nothing_before_the_cautions_are_acknowledged() {
    let folder = tempfile::tempdir().unwrap();
    let own = own_profile(folder.path());
    let args = ["learn", "--port", "/dev/no-such-port", "--unit", "u1"];
    let said = fails(&args.into_iter().chain(own.iter().map(String::as_str)).collect::<Vec<_>>(), 2);
    assert!(said.contains("pinch") && said.contains("--hands-clear"), "{said}");
}

#[test]
fn a_real_unit_is_not_moved_by_the_invented_profile() {
    let built_in = concat!(env!("CARGO_MANIFEST_DIR"), "/../profiles/bench-actuator-a/profile.toml");
    let args = ["learn", "--port", "/dev/no-such-port", "--unit", "u1", "--hands-clear"];
    for more in [&[][..], &["--profile", built_in]] {
        let said = fails(&[&args[..], more].concat(), 2);
        assert!(said.contains("--profile") && said.contains("invented"), "{said}");
    }
}

#[test]
fn another_profile_is_not_judged_by_foreign_limits_nor_under_another_name() {
    let folder = tempfile::tempdir().unwrap();
    let [_, own, _, limits] = own_profile(folder.path());
    let records = folder.path().display().to_string();
    let said = fails(&["learn", "--port", "virtual", "--profile", &own, "--records", &records], 2);
    assert!(said.contains("--limits is missing") && said.contains("bench-actuator-a"), "{said}");
    let said = fails(&["learn", "--port", "virtual", "--limits", &limits, "--records", &records], 2);
    assert!(said.contains("own.limits.toml") && said.contains("bench-actuator-a"), "{said}");
    vanebench().args(["learn", "--port", "virtual", "--records", &records]).assert().success();
    let unit = folder.path().join("healthy").display().to_string();
    let said = fails(&["judge", &unit, "--profile", &own, "--limits", &limits], 2);
    for part in ["0001-learn", "bench-actuator-a", "own", "--profile"] {
        assert!(said.contains(part), "{part} is missing in: {said}");
    }
}

#[test]
fn a_real_unit_without_a_name_is_refused() {
    let said = fails(&["learn", "--port", "/dev/no-such-port", "--hands-clear"], 2);
    assert!(said.contains("--unit"), "{said}");
    let said = fails(&["learn", "--port", "virtual", "--unit", "../away"], 2);
    assert!(said.contains("../away") && said.contains("letters"), "{said}");
}

#[test]
fn a_sweep_of_a_unit_that_was_never_learned_says_to_learn_it_first() {
    let folder = tempfile::tempdir().unwrap();
    let records = folder.path().display().to_string();
    let said = fails(&["sweep", "--port", "virtual", "--records", &records], 2);
    assert!(said.contains("vanebench learn"), "{said}");
}

#[test]
fn a_port_in_use_is_said_to_be_in_use() {
    let pty = virtual_rig::pty::Pty::open().unwrap();
    let path = pty.path().display().to_string();
    let _holder = vanebench::client::open(pty.path()).unwrap();
    let said = learn_fails(&path, 3);
    assert!(said.contains(&path) && said.contains("in use"), "{said}");
}

#[test]
fn something_else_talking_on_the_port_is_quoted() {
    let pty = virtual_rig::pty::Pty::open().unwrap();
    let path = pty.path().display().to_string();
    let talker = std::thread::spawn(move || {
        for _ in 0..60 {
            let _full = pty.send(b"$GPGGA,120000,0000.000,N\r\n");
            std::thread::sleep(std::time::Duration::from_millis(50));
        }
    });
    let said = learn_fails(&path, 3);
    assert!(said.contains("something else is talking"), "{said}");
    talker.join().unwrap();
}

#[test]
fn a_silent_port_is_told_from_a_wrong_speed() {
    let pty = virtual_rig::pty::Pty::open().unwrap();
    let path = pty.path().display().to_string();
    let said = learn_fails(&path, 3);
    assert!(said.contains("no answer"), "{said}");
}

#[test]
fn a_file_that_is_no_serial_port_is_refused() {
    let mut file = tempfile::NamedTempFile::new().unwrap();
    file.write_all(b"not a port").unwrap();
    let path = file.path().display().to_string();
    let said = learn_fails(&path, 2);
    assert!(said.contains("not a usable serial port"), "{said}");
    let mut kept = String::new();
    file.reopen().unwrap().read_to_string(&mut kept).unwrap();
    assert_eq!(kept, "not a port");
}

#[test]
fn every_verb_explains_itself() {
    let help = vanebench().arg("--help").output().unwrap();
    let text = String::from_utf8(help.stdout).unwrap();
    let verbs: Vec<&str> = text
        .lines()
        .skip_while(|line| !line.starts_with("Commands:"))
        .skip(1)
        .take_while(|line| !line.trim().is_empty())
        .filter_map(|line| {
            line.strip_prefix("  ").filter(|rest| !rest.starts_with(' '))?.split_whitespace().next()
        })
        .filter(|word| *word != "help" && word.chars().all(|c| c.is_ascii_lowercase() || c == '-'))
        .collect();
    assert!(verbs.len() >= 6, "{verbs:?}");
    for verb in verbs {
        let said = vanebench().args([verb, "--help"]).output().unwrap();
        assert!(said.status.success() && said.stdout.len() > 100, "{verb}");
    }
}

#[test]
fn errors_for_machines_are_one_json_document() {
    let output = vanebench()
        .args(["--json", "sweep", "--port", "virtual", "--records", "/nonexistent"])
        .output()
        .unwrap();
    let value: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(value["exit"], 2);
    assert!(value["error"].as_str().unwrap().contains("learn"));
}
