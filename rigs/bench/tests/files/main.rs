//! What the tool reads and writes on disk and on standard output, tried as its users would.
//!
//! `VANEBENCH_BINARY=path cargo test -p vanebench --test files` tries another build of the tool.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on says where it stopped")]

mod input;
mod names;
mod output;

use std::ffi::OsStr;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// The tool, with its memory bounded: a file without an end must not take the machine along.
fn vanebench<I: AsRef<OsStr>>(args: impl IntoIterator<Item = I>) -> Command {
    const MOST_KIB: u32 = 8_000_000;
    const MOST_SECONDS: &str = "120";
    let mut command = Command::new("sh");
    let bounded = format!("ulimit -v {MOST_KIB}; exec timeout {MOST_SECONDS} \"$0\" \"$@\"");
    command.args(["-c", &bounded]).arg(binary()).args(args);
    command
}

fn binary() -> PathBuf {
    std::env::var_os("VANEBENCH_BINARY")
        .map_or_else(|| assert_cmd::cargo_bin!("vanebench").to_owned(), PathBuf::from)
}

/// Runs the tool in a folder; what it said on standard error, once it ended with `code`.
fn ends(at: &Path, code: i32, args: &[&str]) -> String {
    ended(vanebench(args).current_dir(at).output().unwrap(), code, args)
}

fn ended(output: Output, code: i32, args: &[&str]) -> String {
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    let beginning: String = said.chars().take(2000).collect();
    assert_eq!(output.status.code(), Some(code), "{args:?} said: {beginning}");
    said
}

fn has(said: &str, parts: &[&str]) {
    for part in parts {
        assert!(said.contains(part), "{part:?} is missing in: {said}");
    }
}

/// A learned virtual unit in `at/units/healthy`.
fn learned(at: &Path) {
    ends(at, 0, &["learn", "--port", "virtual:healthy"]);
}

/// Every file below a folder with its content and the time of its last change; links with where they point.
fn state_of(folder: &Path) -> Vec<(PathBuf, String)> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).unwrap().map(Result::unwrap) {
        let (path, kind) = (entry.path(), entry.file_type().unwrap());
        let changed = entry.metadata().unwrap().modified().unwrap();
        if kind.is_dir() {
            found.extend(state_of(&path));
        }
        let bytes = if kind.is_file() { fs::read(&path).unwrap() } else { Vec::new() };
        found.push((path, format!("{kind:?} {changed:?} {bytes:?}")));
    }
    found.sort();
    found
}

fn fifo(path: &Path) {
    nix::unistd::mkfifo(path, nix::sys::stat::Mode::S_IRWXU).unwrap();
}
