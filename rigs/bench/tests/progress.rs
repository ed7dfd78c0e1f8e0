//! How far a long verb is, where there is no terminal: a line from the first second, on standard error alone.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on says where it stopped")]

use std::process::{Command, Stdio};

/// Long enough for a line: a second and more on any computer.
const LONG: [&str; 6] = ["campaign", "learn", "--runs", "12", "--threads", "1"];

/// Standard output, standard error.
fn told(args: &[&str]) -> (String, String) {
    let mut tool = Command::new(assert_cmd::cargo_bin!("vanebench"));
    let output = tool.args(args).stdin(Stdio::null()).output().unwrap();
    let text = |bytes| String::from_utf8(bytes).unwrap();
    (text(output.stdout), text(output.stderr))
}

#[test]
fn progress_is_told_by_time_and_silenced_by_quiet() {
    let (out, said) = told(&LONG);
    let lines: Vec<&str> = said.lines().filter(|line| line.contains(" so far, ")).collect();
    assert!(!lines.is_empty() && lines.len() < 10, "{said}");
    assert!(
        lines.iter().all(|line| line.contains(" % done, ") && line.ends_with(": learn campaign")),
        "{said}"
    );
    assert!(lines[0].contains(", 1 s so far, about ") && lines[0].contains(" left"), "{said}");
    assert!(!said.contains('\r') && !said.contains('\u{1b}'), "{said:?}");
    let (quiet_out, quiet_said) = told(&[&["--quiet"][..], &LONG].concat());
    assert!(quiet_out == out && quiet_said.is_empty(), "{quiet_said}");
}
