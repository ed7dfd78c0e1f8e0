//! Ctrl-C and SIGTERM, sent to the program as a user or a system sends them: at the question, while it connects,
//! while a unit moves.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on says where it stopped")]

use std::fs;
use std::io::{BufRead, BufReader, Read};
use std::os::fd::OwnedFd;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use nix::pty::openpty;
use nix::sys::signal::{Signal, kill};
use nix::unistd::Pid;

/// Longest time from the signal to the prompt.
const PROMPT_WITHIN: Duration = Duration::from_secs(1);
const SIGNALS: [Signal; 2] = [Signal::SIGINT, Signal::SIGTERM];

fn vanebench() -> Command {
    let mut command = Command::new(assert_cmd::cargo_bin!("vanebench"));
    command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    command
}

fn send(child: &Child, signal: Signal) {
    kill(Pid::from_raw(i32::try_from(child.id()).unwrap()), signal).unwrap();
}

/// How the program ended, how long after `asked_at`, and the rest of what it said.
fn ended(mut child: Child, asked_at: Instant) -> (Option<i32>, Duration, String) {
    let status = child.wait().unwrap();
    let took = asked_at.elapsed();
    let mut said = String::new();
    child.stderr.take().unwrap().read_to_string(&mut said).unwrap();
    (status.code(), took, said)
}

/// A real unit's options with the demonstration's actuator under a name of its own.
fn real_unit(folder: &Path, port: &str) -> Vec<String> {
    let put = |file: &str, text: &str| {
        let path = folder.join(file).display().to_string();
        fs::write(&path, text.replacen("name = \"bench-actuator-a\"", "name = \"own\"", 1)).unwrap();
        path
    };
    let profile = put("own.toml", vanebench::profile::DEMO_PROFILE);
    let limits = put("own.limits.toml", vanebench::profile::DEMO_LIMITS);
    let records = folder.join("units").display().to_string();
    [
        "learn",
        "--port",
        port,
        "--unit",
        "u1",
        "--records",
        &records,
        "--profile",
        &profile,
        "--limits",
        &limits,
    ]
    .map(str::to_owned)
    .to_vec()
}

/// A person's terminal: the person's end and the program's.
fn terminal() -> (OwnedFd, OwnedFd) {
    let pair = openpty(None, None).unwrap();
    (pair.master, pair.slave)
}

/// Reads standard error up to and with `text`.
fn until_said(child: &mut Child, text: &str) -> String {
    let mut said = Vec::new();
    let stream = child.stderr.as_mut().unwrap();
    let mut byte = [0];
    while !said.ends_with(text.as_bytes()) {
        assert_ne!(stream.read(&mut byte).unwrap(), 0, "ended after: {}", String::from_utf8_lossy(&said));
        said.push(byte[0]);
    }
    String::from_utf8(said).unwrap()
}

#[test]
fn at_the_question_a_signal_ends_the_program_with_130_and_nothing_moved() {
    for signal in SIGNALS {
        let folder = tempfile::tempdir().unwrap();
        let (_person, program) = terminal();
        let args = real_unit(folder.path(), "/dev/no-such-port");
        let mut child = vanebench().args(args).stdin(program).spawn().unwrap();
        until_said(&mut child, "Type yes to start: ");
        let asked_at = Instant::now();
        send(&child, signal);
        let (code, took, said) = ended(child, asked_at);
        assert_eq!(code, Some(130), "{signal}: {said}");
        assert!(took < PROMPT_WITHIN, "{signal}: {took:?}");
        assert!(said.contains("nothing moved"), "{signal}: {said}");
        assert!(!folder.path().join("units").exists(), "{signal}");
    }
}

#[test]
fn a_yes_typed_before_the_question_is_no_answer_and_one_typed_after_it_is() {
    let folder = tempfile::tempdir().unwrap();
    let (person, program) = terminal();
    nix::unistd::write(&person, b"yes\n").unwrap();
    let args = real_unit(folder.path(), "/dev/no-such-port");
    let mut child = vanebench().args(args).stdin(program).spawn().unwrap();
    until_said(&mut child, "Type yes to start: ");
    thread::sleep(Duration::from_millis(300));
    assert_eq!(child.try_wait().unwrap(), None, "it still waits for an answer");
    nix::unistd::write(&person, b"yes\n").unwrap();
    let (code, _, said) = ended(child, Instant::now());
    assert_eq!(code, Some(2), "{said}");
    assert!(said.contains("no such port"), "{said}");
}

#[test]
fn while_a_virtual_unit_moves_a_signal_closes_the_record_and_ends_with_130() {
    for signal in SIGNALS {
        let folder = tempfile::tempdir().unwrap();
        let records = folder.path().display().to_string();
        let args = ["learn", "--port", "virtual:healthy,paced", "--records", &records];
        let child = vanebench().args(args).spawn().unwrap();
        let samples = folder.path().join("healthy/0001-learn/samples.csv");
        let moving = || fs::File::open(&samples).is_ok_and(|file| BufReader::new(file).lines().count() > 500);
        while !moving() {
            thread::sleep(Duration::from_millis(20));
        }
        let asked_at = Instant::now();
        send(&child, signal);
        let (code, took, said) = ended(child, asked_at);
        assert_eq!(code, Some(130), "{signal}: {said}");
        assert!(took < PROMPT_WITHIN, "{signal}: {took:?}");
        let run = fs::read_to_string(samples.with_file_name("run.toml")).unwrap();
        assert!(run.contains("stopped by the user"), "{signal}: {run}");
    }
}

#[test]
fn where_nothing_moves_the_first_signal_ends_the_program() {
    for signal in SIGNALS {
        let child = vanebench().args(["campaign", "learn", "--runs", "100000"]).spawn().unwrap();
        thread::sleep(Duration::from_millis(500));
        let asked_at = Instant::now();
        send(&child, signal);
        let (code, took, said) = ended(child, asked_at);
        assert_eq!(code, Some(130), "{signal}: {said}");
        assert!(took < PROMPT_WITHIN, "{signal}: {took:?}");
    }
}
