//! What is read of a run, and what is refused.

use super::*;
use crate::caution::Acknowledged;
use crate::record::{Conditions, Made, Mark, PORT, RunInfo, RunKind, RunWriter, STARTED};
use firmware_core::calibration::{Setup, Warmth};
use firmware_core::command::Command;
use firmware_core::learn::Stop;
use firmware_core::units::{Ampere, Counts, Opening, Tick, Volt};
use std::fs;

fn info() -> RunInfo {
    RunInfo {
        kind: RunKind::Sweep,
        unit: "demo".into(),
        profile: "bench-actuator-a".into(),
        setup: Setup::Attached,
        warmth: Warmth::Cold,
        cautions: Acknowledged::VirtualRig,
        seed: Some(7),
        virtual_unit: Some("healthy".into()),
        software: "vanebench 0.1.0".into(),
        controller: "core 0.1.0".into(),
        provenance: None,
    }
}

fn sample(tick: u32) -> RecordedSample {
    RecordedSample {
        tick: Tick(tick),
        position: Counts(2600),
        opening: Some(0.1 + 0.2),
        command: Command::Opening(Opening::OPEN),
        duty: -0.25,
        motor_current: Some(Ampere(0.1)),
        supply: Some(Volt(12.0)),
        state: "moving".into(),
    }
}

fn written(unit: &Path) -> RunWriter {
    let conditions = Conditions::from([("dwell".to_owned(), "400 ms".to_owned())]);
    let mut run = RunWriter::create(unit, info(), conditions).unwrap();
    run.sample(sample(1)).unwrap();
    run.mark(Tick(2), Mark::Gap { lost: 32 }).unwrap();
    run.sample(sample(34)).unwrap();
    run.mark(
        Tick(35),
        Mark::Touch { stop: Stop::Open, pressed: 2580.5, released: 2590.25, zero_push: 2600.1 },
    )
    .unwrap();
    run.flush().unwrap();
    run
}

#[test]
fn a_closed_run_reads_back_whole() {
    let unit = tempfile::tempdir().unwrap();
    let dir = written(unit.path()).close(RunStatus::Complete).unwrap();
    let run = Run::open(&dir).unwrap();
    assert!(run.is_complete() && !run.torn_end);
    assert_eq!(run.name.to_string(), "0001-sweep");
    assert_eq!(run.file.run, info());
    assert_eq!(run.file.sums.as_ref().map(|s| (s.samples, s.lost)), Some((2, 32)));
    assert_eq!(run.rows.len(), 4);
    assert_eq!(run.samples().last(), Some(&sample(34)));
}

/// POSIX.1-2017, XBD 4.16 (seconds since the epoch); 1 000 000 000 s is 2001-09-09 01:46:40 UTC, as
/// GNU `date -u -d @1000000000` prints it.
#[test]
fn a_run_tells_when_and_where_it_was_begun() {
    let unit = tempfile::tempdir().unwrap();
    let mut writer = written(unit.path());
    writer.made(STARTED, "1000000000".into());
    writer.made(PORT, "a port".into());
    let run = Run::open(&writer.close(RunStatus::Complete).unwrap()).unwrap();
    assert_eq!(run.file.begun().as_deref(), Some("2001-09-09 01:46 UTC"));
    assert_eq!(run.file.port(), "a port");
    let file = RunFile { made: Made::from([(STARTED.to_owned(), "unknown".to_owned())]), ..run.file };
    assert_eq!(file.begun(), None);
}

#[test]
fn a_run_cut_off_without_warning_is_kept_and_marked_incomplete() {
    let unit = tempfile::tempdir().unwrap();
    let run = written(unit.path());
    let dir = run.dir().to_owned();
    // The program is gone: nothing closes the run, and a line is torn.
    std::mem::forget(run);
    let samples = dir.join(SAMPLES_FILE);
    let mut bytes = fs::read(&samples).unwrap();
    bytes.extend(b"36,26");
    fs::write(&samples, bytes).unwrap();
    let run = Run::open(&dir).unwrap();
    assert!(!run.is_complete() && run.torn_end);
    assert_eq!(run.rows.len(), 4);
}

#[test]
fn an_edited_record_is_refused() {
    let unit = tempfile::tempdir().unwrap();
    let dir = written(unit.path()).close(RunStatus::Complete).unwrap();
    let samples = dir.join(SAMPLES_FILE);
    let text = fs::read_to_string(&samples).unwrap().replace("-0.25", "-0.24");
    fs::write(&samples, text).unwrap();
    assert!(matches!(Run::open(&dir), Err(RecordError::Edited { .. })));
}

#[test]
fn a_wrong_field_of_an_unclosed_run_is_named_with_its_line() {
    let unit = tempfile::tempdir().unwrap();
    let run = written(unit.path());
    let dir = run.dir().to_owned();
    std::mem::forget(run);
    let samples = dir.join(SAMPLES_FILE);
    let text = fs::read_to_string(&samples).unwrap().replacen("-0.25", "fast", 1);
    fs::write(&samples, text).unwrap();
    let error = Run::open(&dir).unwrap_err().to_string();
    assert!(error.contains("line 2: duty [1] = \"fast\": allowed: a number"), "{error}");
}

#[test]
fn another_version_and_another_folder_are_refused() {
    let unit = tempfile::tempdir().unwrap();
    let dir = written(unit.path()).close(RunStatus::Complete).unwrap();
    let path = dir.join(RUN_FILE);
    let text = fs::read_to_string(&path).unwrap().replace("version = 1", "version = 2\nnew_field = 1");
    fs::write(&path, text).unwrap();
    assert!(matches!(Run::open(&dir), Err(RecordError::OtherVersion { seen: 2, .. })));
    assert!(matches!(Run::open(unit.path()), Err(RecordError::NoRun { .. })));
}

#[test]
fn two_equal_runs_are_equal_byte_for_byte() {
    let (first, second) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let bytes = |unit: &Path| {
        let dir = written(unit).close(RunStatus::Complete).unwrap();
        (fs::read(dir.join(RUN_FILE)).unwrap(), fs::read(dir.join(SAMPLES_FILE)).unwrap())
    };
    assert_eq!(bytes(first.path()), bytes(second.path()));
}
