//! Learns the end stops of a unit and records every touch.

use std::path::PathBuf;

use firmware_core::calibration::Calibration;
use firmware_core::held::{Held, OriginTag};
use firmware_core::learn::{CheckSet, LearnEvent, LearnOrder, LearnOutcome, LearnRefusal};
use firmware_core::link::Source;
use firmware_core::link::state::ReleaseReason;
use firmware_core::units::Tick;

use super::bench::Bench;
use super::doubt::UnsaidEnd;
use super::look::Look;
use super::observer::{Observed, Observer, PlanPart};
use super::recording::{NewRun, Recording};
use super::stop::RunStop;
use super::target::Target;
use crate::judge::fault_of;
use crate::record::{self, Checked, Conditions, LEARN_KIND, RELEARN, Run, RunKind, RunResult, runs_in};
use crate::rig::{Asked, Measurand, StreamItem};
use crate::unit_store;

/// Longest learn, ticks: twice what the learner itself allows for the slowest sound unit.
const LEARN_LIMIT_TICKS: u32 = 60_000;

/// Condition that names what a person or gauge confirmed.
pub(super) const CONFIRMED: &str = "confirmed_beyond_signals";

const WRONG_WAY: &str = "The wrong actuator on the bench, or the wrong profile? Compare the actuator's tag with the \
     profile; then check motor leads, sensor and counts_direction.";

/// What to learn.
#[derive(Debug, Clone, Copy)]
pub struct LearnChoice {
    /// What is held, to relearn from; nothing for a full learn.
    pub previous: Option<Held>,
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
    observer: &mut dyn Observer,
) -> Result<Learned, RunStop> {
    bench.must_measure("a learn", &Measurand::ALL)?;
    let choice = LearnChoice { checked: choice.checked.minus(target.profile.beyond_confirming()), ..choice };
    let order = order(target, choice);
    let mut conditions = Conditions::new();
    conditions.insert("sample_rate".into(), "1000 1/s".into());
    conditions.insert(CONFIRMED.into(), confirmed(choice.checked));
    let kind = if choice.previous.is_some() { RELEARN } else { "full" };
    conditions.insert(LEARN_KIND.into(), kind.into());
    let serials = target.serials.clone();
    let calibration = choice.previous.map(|held| held.calibration);
    let run = NewRun { kind: RunKind::Learn, calibration, conditions, serials };
    bench.be_ready(target)?;
    if let Some(held) = choice.previous {
        // The board relearns only from what it holds.
        bench.rig.set_calibration(held)?;
    }
    let last = last_learn(target);
    let mut recording = Recording::create(target, bench, run, observer)?;
    recording.look_on(Look::at_unlearned(&target.profile.settings, last.as_ref()));
    let tag = unit_store::tag(&target.unit, &target.serials, recording.writer.name());
    let ended = follow(bench, &mut recording, order, tag);
    if let Ok((outcome, tick)) = &ended {
        recording.writer.outcome(RunResult { decided_at: Some(tick.0), ..record_of(outcome) });
    }
    let ((outcome, _), dir) = recording.close(bench, ended)?;
    Ok(Learned { dir, outcome })
}

/// The unit's newest learn that its log vouches for and that was made in this warmth.
fn last_learn(target: &Target) -> Option<Run> {
    let checked = Checked::of(&target.unit_dir, |run| run.kind == RunKind::Learn).ok()?;
    let runs = runs_in(&target.unit_dir).ok()?.into_iter().rev();
    let learns = runs.filter(|(run, _)| run.kind == RunKind::Learn && checked.vouches_for(*run));
    learns.filter_map(|(_, dir)| Run::open(&dir).ok()).find(|run| run.file.run.warmth == target.warmth)
}

fn order(target: &Target, choice: LearnChoice) -> LearnOrder {
    let order = match choice.previous {
        Some(held) => LearnOrder::relearn(held.calibration, choice.checked),
        None => LearnOrder::full(target.setup, target.warmth, choice.checked),
    };
    LearnOrder { free: choice.free, ..order }
}

fn confirmed(checked: CheckSet) -> String {
    if checked.is_empty() { "nothing".into() } else { checked.to_string() }
}

/// The outcome, and the tick in which it was decided.
fn follow(
    bench: &mut Bench,
    recording: &mut Recording<'_>,
    order: LearnOrder,
    tag: OriginTag,
) -> Result<(LearnOutcome, Tick), RunStop> {
    let start = bench.rig.start_learn(order, tag)?;
    recording.see(Observed::Begins(PlanPart { start, ..WHOLE_LEARN }))?;
    let due = start.after(LEARN_LIMIT_TICKS);
    let mut outcome = None;
    let mut doubt = UnsaidEnd::new(start, Source::Learn);
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
            StreamItem::Sample(sample) => match outcome {
                // Up to the tick of the outcome, so that the record holds what the decision was made on.
                Some((end, outcome)) if sample.tick.has_reached(end) => return Ok((outcome, end)),
                Some(_) => {}
                None if doubt.is_due(&sample) => ask_outcome(bench)?,
                None => {}
            },
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
    match bench.rig.ask_learn_outcome()? {
        Asked::Comes => Ok(()),
        Asked::NothingLearned => Err(RunStop::released(bench.rig.last_release()?.reason)),
    }
}

/// What a sound unit takes, ticks: only who looks on goes by it.
const EXPECTED_TICKS: u32 = 10_000;
const WHOLE_LEARN: PlanPart =
    PlanPart { start: Tick(0), ticks: EXPECTED_TICKS, before: 0, planned: EXPECTED_TICKS };

pub(super) fn record_of(outcome: &LearnOutcome) -> RunResult {
    match outcome {
        LearnOutcome::Accepted(calibration) => {
            RunResult { calibration: Some(*calibration), ..RunResult::default() }
        }
        LearnOutcome::NotProven { calibration, check } => RunResult {
            calibration: Some(*calibration),
            not_proven: check.iter().map(|open| open.text().to_owned()).collect(),
            ..RunResult::default()
        },
        LearnOutcome::Refused(refusal) => {
            RunResult { refusal: Some(refusal_of(refusal)), ..RunResult::default() }
        }
    }
}

fn refusal_of(refusal: &LearnRefusal) -> record::RunRefusal {
    record::RunRefusal {
        reason: refusal.name().replace(' ', "-"),
        seen: refusal.to_string(),
        advice: advice(refusal).to_owned(),
        fault_of: fault_of(refusal),
    }
}

/// The learner knows of wires and sensor only; here somebody may have taken another actuator, or another profile.
fn advice(refusal: &LearnRefusal) -> &'static str {
    if matches!(refusal, LearnRefusal::WrongDirection { .. }) { WRONG_WAY } else { refusal.advice() }
}
