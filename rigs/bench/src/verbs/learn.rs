//! `learn`: finds a unit's two end stops, or says why not.

use std::path::{Path, PathBuf};

use firmware_core::calibration::Setup;
use firmware_core::learn::{Check, CheckSet, LearnOutcome};
use serde::Serialize;

use crate::console::Console;
use crate::criteria;
use crate::exit::{Exit, Failure, VerbResult};
use crate::judge::{FaultOf, Judgement};
use crate::procedure::{
    Bench, LearnChoice, Learned, Replayed, Target, TargetArgs, Wander, learn, replay, wander,
};
use crate::record::Run;
use crate::unit_store;

/// What `learn` takes.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(flatten)]
    target: TargetArgs,
    /// What a person or gauge has confirmed that signals cannot show; several with commas, or `all`
    #[arg(long, value_name = "CHECKS", value_delimiter = ',', value_parser = parse_check)]
    checked: Vec<CheckSet>,
    /// Key-off relearn: start from the unit's last calibration in this setup and only follow small moves
    #[arg(long)]
    relearn: bool,
    /// Nothing moves: put a recorded learn (its run folder) back through the learning code of today
    #[arg(long, value_name = "RUN", conflicts_with_all = ["port", "relearn", "checked"])]
    replay: Option<PathBuf>,
}

/// Reads one check by its name.
fn parse_check(word: &str) -> Result<CheckSet, String> {
    if word == "all" {
        return Ok(CheckSet::ALL);
    }
    let known = Check::ALL.iter().find(|check| check_word(**check) == word);
    known.map(|check| CheckSet::NONE.with(*check)).ok_or_else(|| {
        let words: Vec<&str> = Check::ALL.into_iter().map(check_word).collect();
        format!("allowed: all, {}", words.join(", "))
    })
}

/// A check as `--checked` takes it.
pub(super) fn check_word(check: Check) -> &'static str {
    match check {
        Check::LeverAttached => "lever-attached",
        Check::VanesFollow => "vanes-follow",
        Check::MinimumFlow => "minimum-flow",
        Check::Indexing => "indexing",
        Check::SensorScale => "sensor-scale",
    }
}

#[derive(Serialize)]
struct Told {
    unit: String,
    run: String,
    judgement: Judgement,
    #[serde(skip_serializing_if = "Option::is_none")]
    wander: Option<Wander>,
    #[serde(skip_serializing_if = "Option::is_none")]
    lost: Option<String>,
    #[serde(flatten)]
    outcome: crate::record::Outcome,
}

/// Learns, records, judges.
///
/// # Errors
/// A [`Failure`] when nothing could be learned for a reason outside the unit.
pub fn run(args: &Args, console: &Console) -> VerbResult {
    if let Some(dir) = &args.replay {
        return run_replay(dir, args, console);
    }
    let target = args.target.prepare()?;
    let previous = previous(args, &target)?;
    let mut bench = Bench::open(&target)?;
    let checked = args.checked.iter().fold(bench.confirmed_by_looking(), |all, one| all.union(*one));
    let free = unit_store::calibration(&target.unit_dir, Setup::Free, target.warmth)?;
    let choice = LearnChoice { previous, checked, free };
    let bar = console.progress("learning the end stops", 1000);
    let learned = learn(&mut bench, &target, choice, &|part| bar.set_position((part * 1000.0) as u64));
    bar.finish_and_clear();
    let learned = learned.map_err(Failure::from)?;
    unit_store::keep(&target.unit_dir, &learned.outcome)?;
    tell(console, &target, &learned)
}

fn previous(
    args: &Args,
    target: &Target,
) -> Result<Option<firmware_core::calibration::Calibration>, Failure> {
    if !args.relearn {
        return Ok(None);
    }
    let kept = unit_store::calibration(&target.unit_dir, target.setup, target.warmth)?;
    kept.map(Some).ok_or_else(|| unit_store::no_calibration(target))
}

fn run_replay(dir: &Path, args: &Args, console: &Console) -> VerbResult {
    let profile = criteria::profile(args.target.criteria.profile.as_deref())?;
    let run = Run::open(dir).map_err(Failure::usage)?;
    criteria::same_profile(std::slice::from_ref(&run), &profile)?;
    let replayed = replay(&run, &profile.settings)?;
    console.result(&replay_text(&replayed), &replayed);
    Ok(match (&replayed.now, replayed.changed.is_empty()) {
        (None, _) => Exit::Undetermined,
        (Some(_), true) => Exit::Done,
        (Some(_), false) => Exit::NotFit,
    })
}

fn replay_text(replayed: &Replayed) -> String {
    let mut lines = vec![format!("{}: replayed", replayed.run)];
    if replayed.changed.is_empty() {
        lines.push("  decided as then".into());
    }
    lines.extend(replayed.changed.iter().map(|change| format!("  changed: {change}")));
    if let Some(refusal) = replayed.now.as_ref().and_then(|now| now.refusal.as_ref()) {
        lines.push(format!("  reason now: {}", refusal.text()));
    }
    if let Some(tick) = replayed.drives_differently_at {
        lines.push(format!("  from {tick} ms on the drive would be told something else than was recorded"));
    }
    lines.join("\n")
}

/// How a learn's outcome judges the unit. What nobody confirmed leaves it undetermined, never fit.
#[must_use]
pub fn judgement(outcome: &LearnOutcome, fault_of: Option<FaultOf>) -> Judgement {
    match (outcome, fault_of) {
        (LearnOutcome::Accepted(_), _) => Judgement::Fit,
        (LearnOutcome::NotProven { .. }, _) | (LearnOutcome::Refused(_), Some(FaultOf::Rig)) => {
            Judgement::Undetermined
        }
        (LearnOutcome::Refused(_), _) => Judgement::NotFit,
    }
}

fn tell(console: &Console, target: &Target, learned: &Learned) -> VerbResult {
    let run = Run::open(&learned.dir).map_err(Failure::undetermined)?;
    let outcome = run.file.outcome.clone();
    let fault_of = outcome.refusal.as_ref().map(|refusal| refusal.fault_of);
    let judgement = judgement(&learned.outcome, fault_of);
    let settings = &target.profile.settings;
    let wander = outcome.calibration.as_ref().and_then(|now| wander(&target.unit_dir, settings, now));
    let wander = wander.filter(|wander| wander.since != run.name.to_string());
    let mut text = text(target, learned, &outcome);
    if let Some(wander) = &wander {
        text.push_str(&format!("\n  {}", wander.text()));
    }
    let lost = run.loss().text();
    if let Some(lost) = &lost {
        text.push_str(&format!("\n  {lost}; the board decided on all ticks, a replay is not possible"));
    }
    let told =
        Told { unit: target.unit.clone(), run: run.name.to_string(), judgement, wander, lost, outcome };
    console.result(&text, &told);
    Ok(judgement.exit())
}

fn text(target: &Target, learned: &Learned, outcome: &crate::record::Outcome) -> String {
    let unit = &target.unit;
    let mut lines = Vec::new();
    match &learned.outcome {
        LearnOutcome::Accepted(_) => lines.push(format!("{unit}: learned, both stops accepted")),
        LearnOutcome::NotProven { .. } => {
            lines.push(format!("{unit}: stops found, NOT PROVEN: signals alone cannot show everything"));
            lines.extend(outcome.not_proven.iter().map(|check| format!("  check: {check}")));
            lines.push("  then learn again with --checked".into());
        }
        LearnOutcome::Refused(_) => lines.push(format!("{unit}: NOT learned")),
    }
    if let Some(refusal) = &outcome.refusal {
        lines.push(format!("  reason: {}", refusal.text()));
        lines.push(format!("  try:    {}", refusal.advice));
    }
    if let Some(calibration) = &outcome.calibration {
        for (name, stop) in [("closed", &calibration.closed), ("open", &calibration.open)] {
            lines.push(format!(
                "  {name:<6} stop {:>9.1} counts without push, repeats within {:.1} counts, gives {:.1} counts/A",
                stop.zero_push_counts, stop.repeat_range_counts, stop.compliance_counts_per_a
            ));
        }
        lines.push(format!("  travel {:>13.1} counts", calibration.span_counts().abs()));
    }
    lines.push(format!("  record {}", learned.dir.display()));
    lines.join("\n")
}
