//! Puts a recorded learn back through the learning code of today.
//!
//! In: a run folder and the settings to learn by. Out: what would be decided now, beside what was decided
//! then. Refuses records that hold no full learn. Nothing moves: the recorded samples are the unit, so a
//! learner that would have driven differently from some tick on is told so with that tick.

use firmware_core::command::Command;
use firmware_core::learn::{Check, CheckSet, LearnEvent, LearnOrder, LearnOutcome, Learner};
use firmware_core::sample::{BridgeLine, Conversions, Sample};
use firmware_core::settings::Settings;
use firmware_core::units::{Ampere, Kilopascal, Tick, Volt};
use schemars::JsonSchema;
use serde::Serialize;

use super::learn::{CONFIRMED, record_of};
use crate::exit::Failure;
use crate::record::{self, Row, Run, RunKind, RunResult};

/// Commands closer than this are the same: the record holds duty in 0.01 % and current in mA, and supply
/// only as the lowest of a batch.
const SAME_COMMAND: f32 = 0.05;

/// Mark of the learner's first tick.
const FIRST_PHASE: &str = "phase: at rest";
/// Ticks that the last sample is held.
const HELD_TICKS: u32 = 60;

/// Then and now.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct Replayed {
    /// Name of the run.
    pub run: String,
    /// What was decided then.
    pub then: RunResult,
    /// What is decided now; nothing when the record ends before the learner does.
    pub now: Option<RunResult>,
    /// First tick at which the drive would have been told something else, counted from the start.
    pub drives_differently_at: Option<u32>,
    /// What changed, in words; empty when nothing did.
    pub changed: Vec<String>,
}

/// Replays a run.
///
/// # Errors
/// A usage failure when the record holds no full learn.
pub fn replay(run: &Run, settings: &Settings) -> Result<Replayed, Failure> {
    let info = &run.file.run;
    if info.kind != RunKind::Learn {
        return Err(Failure::usage(format!(
            "{}: a {} record. Allowed: a learn record, since only a learn pushes against the stops. Choose \
             a run whose name ends in -learn",
            run.dir.display(),
            info.kind
        )));
    }
    if run.file.is_relearn() {
        return Err(Failure::usage(format!(
            "{}: a key-off relearn. Allowed: a full learn; the calibration that a relearn starts from is not in \
             its record. Replay the full learn before it",
            run.dir.display()
        )));
    }
    whole(run)?;
    let order = LearnOrder::full(info.setup, info.warmth, confirmed(run));
    let mut learner = Learner::new(settings, order);
    let mut now = None;
    let mut drives_differently_at = None;
    let mut start = None;
    for (sample, told) in samples(run) {
        let tick = learner.tick(&sample);
        let since = sample.tick.since(*start.get_or_insert(sample.tick));
        if drives_differently_at.is_none() && !alike(tick.command, told) {
            drives_differently_at = Some(since);
        }
        if let Some(LearnEvent::Outcome(outcome)) = tick.event {
            now = Some(outcome);
            break;
        }
    }
    let then = run.file.outcome.clone();
    let changed = changes(&then, now.as_ref());
    let now = now.as_ref().map(record_of);
    Ok(Replayed { run: run.name.to_string(), then, now, drives_differently_at, changed })
}

/// Refuses what a learner cannot be shown again: each of its ticks follows from the one before.
fn whole(run: &Run) -> Result<(), Failure> {
    let begins = run.rows.iter().any(|row| is_first_phase(row).is_some());
    let lost = match (run.loss().text(), begins) {
        (None, true) => return Ok(()),
        (None, false) => "the mark of the learn's first tick is missing".to_owned(),
        (Some(lost), _) => lost,
    };
    Err(Failure::usage(format!(
        "{}: cannot be replayed: {lost}. Allowed: a record that holds every tick of its learn. The \
         decision itself still holds: the board made it on all ticks. To get a record that can be \
         replayed, learn again on a sound line",
        run.dir.display()
    )))
}

fn is_first_phase(row: &Row) -> Option<Tick> {
    row.note().filter(|(_, text)| text.starts_with(FIRST_PHASE)).map(|(tick, _)| tick)
}

/// The recorded samples from the learner's first tick on, each with what the drive was told, and the last
/// one held for a while: a decision that comes a few ticks later than then is still a decision.
fn samples(run: &Run) -> Vec<(Sample, Command)> {
    let begins = run.rows.iter().find_map(is_first_phase);
    let before = |tick: Tick| begins.is_some_and(|begins| !tick.has_reached(begins));
    let mut supply = run.samples().find_map(|sample| sample.supply).unwrap_or(Volt(f32::NAN));
    let mut samples = Vec::new();
    for recorded in run.samples().filter(|sample| !before(sample.tick)) {
        supply = recorded.supply.unwrap_or(supply);
        samples.push((of_record(recorded, supply), recorded.command));
    }
    if let Some((last, _)) = samples.last().copied() {
        samples.extend(
            (1..=HELD_TICKS).map(|later| (Sample { tick: last.tick.after(later), ..last }, Command::Release)),
        );
    }
    samples
}

fn of_record(recorded: &record::RecordedSample, supply: Volt) -> Sample {
    Sample {
        tick: Tick(recorded.tick.0),
        position: recorded.position,
        motor_current: recorded.motor_current.unwrap_or(Ampere(f32::NAN)),
        supply,
        temperature: None,
        boost: Kilopascal(f32::NAN),
        barometer: Kilopascal(f32::NAN),
        exhaust: None,
        turbo_speed: None,
        conversions: Conversions::all(recorded.tick.0.to_le_bytes()[0]),
        bridge: BridgeLine::Quiet,
    }
}

fn alike(now: Command, then: Command) -> bool {
    match (now, then) {
        (Command::Release, Command::Release) => true,
        (Command::Duty(now), Command::Duty(then)) => (now.get() - then.get()).abs() < SAME_COMMAND,
        (Command::Current(now), Command::Current(then)) => (now.0 - then.0).abs() < SAME_COMMAND,
        // Off and a duty or current of next to nothing drive alike.
        (Command::Release, Command::Duty(duty)) | (Command::Duty(duty), Command::Release) => {
            duty.get().abs() < SAME_COMMAND
        }
        (Command::Release, Command::Current(current)) | (Command::Current(current), Command::Release) => {
            current.0.abs() < SAME_COMMAND
        }
        _ => false,
    }
}

/// What the record says a person or gauge had confirmed.
fn confirmed(run: &Run) -> CheckSet {
    let text = run.file.conditions.get(CONFIRMED).map_or("", String::as_str);
    Check::ALL.into_iter().filter(|check| text.contains(check.text())).fold(CheckSet::NONE, CheckSet::with)
}

fn changes(then: &RunResult, now: Option<&LearnOutcome>) -> Vec<String> {
    let Some(now) = now else {
        return vec!["the record ends before today's learner decides".into()];
    };
    let now = record_of(now);
    let mut changed = Vec::new();
    let word = |outcome: &RunResult| match (&outcome.refusal, outcome.not_proven.is_empty()) {
        (Some(refusal), _) => format!("refused ({})", refusal.reason),
        (None, false) => "not proven".to_owned(),
        (None, true) => "accepted".to_owned(),
    };
    let (was, is) = (word(then), word(&now));
    if was != is {
        changed.push(format!("was {was}, is now {is}"));
    }
    if let (Some(then), Some(now)) = (&then.calibration, &now.calibration) {
        for (name, then, now) in [("closed", &then.closed, &now.closed), ("open", &then.open, &now.open)] {
            let moved = now.zero_push_counts - then.zero_push_counts;
            if moved.abs() > then.repeat_range_counts.max(1.0) {
                changed.push(format!("{name} stop would lie {moved:+.1} counts from where it was learned"));
            }
        }
    }
    changed
}
