//! Learns the end stops of a unit and records every touch.

use std::path::PathBuf;

use firmware_core::calibration::Calibration;
use firmware_core::held::OriginTag;
use firmware_core::learn::{CheckSet, LearnEvent, LearnOrder, LearnOutcome, LearnRefusal};
use firmware_core::link::state::ReleaseReason;
use firmware_core::link::{Refusal, Source};

use super::bench::Bench;
use super::doubt::Doubt;
use super::recording::Recording;
use super::stop::RunStop;
use super::target::Target;
use crate::client::{ClientError, StreamItem};
use crate::judge::fault_of;
use crate::record::{self, Conditions, Outcome, RunKind};

/// Longest learn, ticks: twice what the learner itself allows for the slowest sound unit.
const LEARN_LIMIT_TICKS: u32 = 60_000;

/// Condition that names what a person or gauge confirmed.
pub(super) const CONFIRMED: &str = "confirmed_beyond_signals";

/// Condition that says whether the learn was a full one.
pub(super) const KIND: &str = "learn";
/// Its word for a key-off relearn.
pub(super) const RELEARN: &str = "key-off relearn";

/// What to learn.
#[derive(Debug, Clone, Copy)]
pub struct LearnChoice {
    /// A calibration to relearn from; nothing for a full learn.
    pub previous: Option<Calibration>,
    /// What a person or gauge has confirmed.
    pub checked: CheckSet,
    /// The same unit's free calibration, where there is one.
    pub free: Option<Calibration>,
}

/// A learn that came to its end.
#[derive(Debug, Clone)]
pub struct Learned {
    /// Its record.
    pub dir: PathBuf,
    /// What the board decided.
    pub outcome: LearnOutcome,
}

/// Runs a learn on the unit and records it.
///
/// # Errors
/// [`RunStop`] says what cut it short; the record is kept, marked incomplete.
pub fn learn(
    bench: &mut Bench,
    target: &Target,
    choice: LearnChoice,
    progress: &dyn Fn(f64),
) -> Result<Learned, RunStop> {
    let order = order(target, choice);
    let mut conditions = Conditions::new();
    conditions.insert("sample_rate".into(), "1000 1/s".into());
    conditions.insert(CONFIRMED.into(), confirmed(choice.checked));
    let kind = if choice.previous.is_some() { RELEARN } else { "full" };
    conditions.insert(KIND.into(), kind.into());
    bench.be_ready(target)?;
    let mut recording = Recording::create(target, bench, RunKind::Learn, choice.previous, conditions)?;
    let ended = follow(bench, &mut recording, order, progress);
    if let Ok(outcome) = &ended {
        recording.writer.outcome(record_of(outcome));
    }
    let (outcome, dir) = recording.close(bench, ended)?;
    Ok(Learned { dir, outcome })
}

fn order(target: &Target, choice: LearnChoice) -> LearnOrder {
    let order = match choice.previous {
        Some(previous) => LearnOrder::relearn(previous, choice.checked),
        None => LearnOrder::full(target.setup, target.warmth, choice.checked),
    };
    LearnOrder { free: choice.free, ..order }
}

fn confirmed(checked: CheckSet) -> String {
    if checked.is_empty() { "nothing".into() } else { checked.to_string() }
}

fn follow(
    bench: &mut Bench,
    recording: &mut Recording,
    order: LearnOrder,
    progress: &dyn Fn(f64),
) -> Result<LearnOutcome, RunStop> {
    let start = bench.client.start_learn(order, OriginTag::default())?;
    let due = start.after(LEARN_LIMIT_TICKS);
    let mut outcome = None;
    let mut doubt = Doubt::new(start, Source::Learn);
    while !recording.last().has_reached(due) {
        match recording.next(bench)? {
            StreamItem::Learn { tick, event: LearnEvent::Outcome(ended), .. } => {
                outcome = Some((tick, ended))
            }
            // The frame with the outcome comes before this one; if it was lost, the board still knows.
            StreamItem::Released { reason: ReleaseReason::LearnEnded, .. } => {
                if outcome.is_none() {
                    ask_outcome(bench)?;
                }
            }
            StreamItem::Released { reason, .. } => return Err(RunStop::released(reason)),
            StreamItem::Sample(sample) => {
                progress(f64::from(sample.tick.since(start)) / EXPECTED_TICKS);
                match outcome {
                    // Up to the tick of the outcome, so that the record holds what the decision was made on.
                    Some((end, outcome)) if sample.tick.has_reached(end) => return Ok(outcome),
                    Some(_) => {}
                    None if doubt.is_due(&sample) => ask_outcome(bench)?,
                    None => {}
                }
            }
            StreamItem::Gap { .. }
            | StreamItem::State { .. }
            | StreamItem::Motion { .. }
            | StreamItem::Learn { .. }
            | StreamItem::LostEvents { .. }
            | StreamItem::Stored { .. } => {}
        }
    }
    Err(RunStop::Overdue { what: "the learn", limit_ms: LEARN_LIMIT_TICKS })
}

/// Asks how the learn ended. A board that knows of no learn tells at least why it let go.
fn ask_outcome(bench: &mut Bench) -> Result<(), RunStop> {
    match bench.client.ask_learn_outcome() {
        Err(ClientError::Refused { refusal: Refusal::NothingLearned, .. }) => {
            Err(RunStop::released(bench.client.status()?.released.reason))
        }
        asked => Ok(asked?),
    }
}

/// What a sound unit takes, ticks: only the progress bar looks at it.
const EXPECTED_TICKS: f64 = 10_000.0;

pub(super) fn record_of(outcome: &LearnOutcome) -> Outcome {
    match outcome {
        LearnOutcome::Accepted(calibration) => {
            Outcome { calibration: Some(*calibration), ..Outcome::default() }
        }
        LearnOutcome::NotProven { calibration, check } => Outcome {
            calibration: Some(*calibration),
            not_proven: check.iter().map(|open| open.text().to_owned()).collect(),
            ..Outcome::default()
        },
        LearnOutcome::Refused(refusal) => {
            Outcome { refusal: Some(refusal_of(refusal)), ..Outcome::default() }
        }
    }
}

fn refusal_of(refusal: &LearnRefusal) -> record::Refusal {
    record::Refusal {
        reason: refusal.name().replace(' ', "-"),
        seen: refusal.to_string(),
        advice: refusal.advice().to_owned(),
        fault_of: fault_of(refusal),
    }
}
