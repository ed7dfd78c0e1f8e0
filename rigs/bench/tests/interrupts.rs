//! Ctrl-C and SIGTERM, sent to the program as a user or a system sends them: at the question, while it connects,
//! while a unit moves.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on says where it stopped")]

#[path = "own/mod.rs"]
mod own;

use std::fs;
use std::io::{BufRead, BufReader, Read};
use std::os::fd::OwnedFd;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use firmware_core::link::Pacing;
use nix::pty::openpty;
use nix::sys::signal::{Signal, kill};
use nix::unistd::Pid;
use own::own_copy;
use virtual_rig::rig::SimulatedRig;
use virtual_rig::runner::RunningRig;

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
        fs::write(&path, own_copy(text)).unwrap();
        path
    };
    let profile = put("own.toml", vanebench::actuator::DEMO.profile_text);
    let limits = put("own.limits.toml", vanebench::actuator::DEMO.limits_text);
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

/// The virtual rig behind a device path, paced: to the tool a real unit.
fn paced_unit() -> RunningRig {
    let case = study::catalogue::find("healthy").unwrap().unit(None);
    RunningRig::start(SimulatedRig::of_case(&case, 1, Pacing::Paced).unwrap()).unwrap()
}

fn learning(folder: &Path, rig: &RunningRig) -> Child {
    let args = real_unit(folder, &rig.path().display().to_string());
    vanebench().args(args).args(["--hands-clear", "--checked", "all"]).spawn().unwrap()
}

fn until_moving(folder: &Path, run: &str) {
    let samples = folder.join("units/u1").join(run).join("samples.csv");
    let moving = || fs::File::open(&samples).is_ok_and(|file| BufReader::new(file).lines().count() > 1000);
    let asked_at = Instant::now();
    while !moving() {
        assert!(asked_at.elapsed() < Duration::from_secs(30), "it never moved");
        thread::sleep(Duration::from_millis(20));
    }
}

#[test]
fn while_it_connects_to_a_silent_port_a_signal_ends_the_program() {
    for signal in SIGNALS {
        let folder = tempfile::tempdir().unwrap();
        let pty = virtual_rig::pty::Pty::open().unwrap();
        let args = real_unit(folder.path(), &pty.path().display().to_string());
        let child = vanebench().args(args).arg("--hands-clear").spawn().unwrap();
        thread::sleep(Duration::from_millis(500));
        let asked_at = Instant::now();
        send(&child, signal);
        let (code, took, said) = ended(child, asked_at);
        assert_eq!(code, Some(130), "{signal}: {said}");
        assert!(took < PROMPT_WITHIN, "{signal}: {took:?}");
    }
}

#[test]
fn a_unit_that_moves_is_stopped_and_a_second_signal_ends_at_once() {
    for signal in SIGNALS {
        let folder = tempfile::tempdir().unwrap();
        let rig = paced_unit();
        let child = learning(folder.path(), &rig);
        until_moving(folder.path(), "0001-learn");
        let asked_at = Instant::now();
        send(&child, signal);
        let (code, took, said) = ended(child, asked_at);
        assert_eq!(code, Some(130), "{signal}: {said}");
        assert!(took < PROMPT_WITHIN, "{signal}: {took:?}");
    }
    let folder = tempfile::tempdir().unwrap();
    let rig = paced_unit();
    let child = learning(folder.path(), &rig);
    until_moving(folder.path(), "0001-learn");
    send(&child, Signal::SIGTERM);
    send(&child, Signal::SIGINT);
    let (code, took, said) = ended(child, Instant::now());
    assert_eq!(code, Some(130), "{said}");
    assert!(took < Duration::from_millis(500), "{took:?}");
}

#[test]
fn a_restart_within_the_lease_of_a_killed_run_waits_it_out_with_a_word() {
    let folder = tempfile::tempdir().unwrap();
    let rig = paced_unit();
    let mut killed = learning(folder.path(), &rig);
    until_moving(folder.path(), "0001-learn");
    killed.kill().unwrap();
    killed.wait().unwrap();
    let again = learning(folder.path(), &rig);
    let (code, _, said) = ended(again, Instant::now());
    assert_eq!(code, Some(0), "{said}");
    assert!(said.contains("an earlier run was still driving"), "{said}");
}
