//! `learn`: finds a unit's two end stops, or says why not.

use std::path::{Path, PathBuf};

use firmware_core::calibration::{Calibration, Setup};
use firmware_core::learn::{CheckSet, LearnOutcome};

use crate::caution::{Effect, HOLDS_UNTIL};
use crate::checks::{check_lines, check_word, parse_check};
use crate::console::Console;
use crate::criteria;
use crate::document::LearnDocument;
use crate::exit::{Exit, Failure, VerbResult};
use crate::judge::{FaultOf, Judgement};
use crate::link_rig;
use crate::procedure::{LearnChoice, Learned, Replayed, Target, TargetArgs, learn, replay, wander};
use crate::profile::WINDOWS_OF_ITS_OWN;
use crate::record::Run;
use crate::screen::{LiveScreen, Subject};
use crate::unit_result::{keep_verdict_of, vouched};
use crate::unit_store::{self, InForce, UnitStanding, WantedUnit};

/// What `learn` takes.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(flatten)]
    target: TargetArgs,
    /// Checks that a person or gauge has confirmed and signals cannot show, separated by commas:
    /// lever-attached, vanes-follow, minimum-flow, indexing, sensor-scale, or `all`
    #[arg(long, value_name = "CHECKS", value_delimiter = ',', value_parser = parse_check)]
    checked: Vec<CheckSet>,
    /// Key-off relearn: start from the unit's last calibration in this setup and only follow small moves
    #[arg(long)]
    relearn: bool,
    /// Nothing moves: run a recorded learn (its run folder) through today's learning code
    #[arg(long, value_name = "RUN", conflicts_with_all = ["port", "relearn", "checked"])]
    replay: Option<PathBuf>,
}

impl Args {
    /// A replay moves nothing.
    pub(crate) fn effect(&self) -> Effect {
        if self.replay.is_some() { Effect::Neither } else { Effect::Moves }
    }
}

/// Learns, records, judges.
///
/// # Errors
/// A [`Failure`] when nothing could be learned for a reason outside the unit.
pub fn run(args: &Args, console: &Console) -> VerbResult {
    if let Some(dir) = &args.replay {
        return run_replay(dir, args, console);
    }
    let target = args.target.read()?;
    let previous = previous(args, &target)?;
    let free = free(&target)?;
    let target = of_the_same_parts(target, previous.as_deref());
    let cautions = args.target.hands_clear.confirm(target.motion())?;
    let mut bench = link_rig::open(&target, cautions)?;
    if let Some(previous) = &previous {
        previous.learned_with(&target.unit, &bench.board())?;
    }
    let checked = args.checked.iter().fold(bench.confirmed_by_looking(), |all, one| all.union(*one));
    let previous = previous.map(|in_force| in_force.held);
    let choice = LearnChoice { previous, checked, free };
    let stops = choice.previous.map(|held| held.calibration);
    let subject = Subject::moved(&target, "learning the end stops", stops.as_ref());
    let mut screen = LiveScreen::new(console, subject, target.port.pacing());
    let learned = learn(&mut bench, &target, choice, &mut screen);
    drop(screen);
    let learned = learned?;
    tell(console, &target, &learned)
}

/// The calibration that a relearn starts from.
fn previous(args: &Args, target: &Target) -> Result<Option<Box<InForce>>, Failure> {
    if args.relearn { unit_store::to_relearn(&target.wanted()).map(Some) } else { Ok(None) }
}

/// A relearn is of the actuator and turbo whose calibration it starts from.
fn of_the_same_parts(target: Target, previous: Option<&InForce>) -> Target {
    let serials =
        previous.map_or_else(|| target.serials.clone(), |p| target.serials.or(&p.provenance.serials));
    Target { serials, ..target }
}

/// The same unit's free calibration, where one is in force: the over-travel reserve is judged against it.
fn free(target: &Target) -> Result<Option<Calibration>, Failure> {
    let wanted = WantedUnit { setup: Setup::Free, ..target.wanted() };
    let standing = unit_store::read(wanted.unit_dir, wanted.unit, wanted.setup, wanted.warmth)?;
    Ok(match standing {
        UnitStanding::InForce(in_force) if in_force.mismatch(&wanted).is_none() => {
            Some(in_force.held.calibration)
        }
        UnitStanding::InForce(_) | UnitStanding::NeverLearned | UnitStanding::NoneInForce { .. } => None,
    })
}

fn run_replay(dir: &Path, args: &Args, console: &Console) -> VerbResult {
    let run = vouched(dir)?;
    let runs = std::slice::from_ref(&run);
    let profile = criteria::profile(args.target.criteria.profile.as_deref(), criteria::recorded_on(runs))?;
    criteria::same_profile(runs, &profile)?;
    let replayed = replay(&run, &profile.settings)?;
    console.result(&replay_text(&replayed), &replayed)?;
    Ok(match (&replayed.now, replayed.changed.is_empty()) {
        (None, _) => Exit::Undetermined,
        (Some(_), true) => Exit::Done,
        (Some(_), false) => Exit::OutOfLimits,
    })
}

fn replay_text(replayed: &Replayed) -> String {
    let mut lines = vec![format!("{}: replayed", replayed.run)];
    if replayed.changed.is_empty() {
        lines.push("  the same decision as then".into());
    }
    lines.extend(replayed.changed.iter().map(|change| format!("  changed: {change}")));
    if let Some(refusal) = replayed.now.as_ref().and_then(|now| now.refusal.as_ref()) {
        lines.push(format!("  reason now: {}", refusal.text()));
    }
    if let Some(tick) = replayed.drives_differently_at {
        lines.push(format!(
            "  from {tick} ms on, today's code would drive the unit differently from the record"
        ));
    }
    lines.join("\n")
}

/// How a learn's outcome judges the unit. What nobody confirmed leaves it undetermined, never within limits.
#[must_use]
pub fn judgement(outcome: &LearnOutcome, fault_of: Option<FaultOf>) -> Judgement {
    match (outcome, fault_of) {
        (LearnOutcome::Accepted(_), _) => Judgement::WithinLimits,
        (LearnOutcome::NotProven { .. }, _) | (LearnOutcome::Refused(_), Some(FaultOf::Rig)) => {
            Judgement::Undetermined
        }
        (LearnOutcome::Refused(_), _) => Judgement::OutOfLimits,
    }
}

fn tell(console: &Console, target: &Target, learned: &Learned) -> VerbResult {
    let run = Run::open(&learned.dir).map_err(Failure::undetermined)?;
    keep_verdict_of(&run, &target.profile, &target.limits);
    let outcome = run.file.outcome.clone();
    let fault_of = outcome.refusal.as_ref().map(|refusal| refusal.fault_of);
    let judgement = judgement(&learned.outcome, fault_of);
    let settings = &target.profile.settings;
    let wander = outcome.calibration.as_ref().and_then(|now| wander(&target.unit_dir, settings, now));
    let wander = wander.filter(|wander| wander.since != run.name.to_string());
    let standing = unit_store::read(&target.unit_dir, &target.unit, target.setup, target.warmth)?;
    let lost = run.loss().text();
    let answer = answer(&target.unit, &learned.outcome);
    let mut lines = vec![answer.clone()];
    lines.extend(grounds(target, learned, &outcome, &standing));
    lines.extend(wander.iter().map(|wander| format!("  {}", wander.text())));
    let no_replay = "the board decided on all ticks; a replay is not possible";
    lines.extend(lost.iter().map(|lost| format!("  {lost}; {no_replay}")));
    lines.push(answer);
    let (unit, name) = (target.unit.clone(), run.name.to_string());
    let to_confirm = match &learned.outcome {
        LearnOutcome::NotProven { check, .. } => check.iter().map(|one| check_word(one).to_owned()).collect(),
        LearnOutcome::Accepted(_) | LearnOutcome::Refused(_) => Vec::new(),
    };
    let document = LearnDocument {
        unit,
        run: name,
        judgement,
        in_force: unit_store::in_force(&standing),
        to_confirm,
        wander,
        lost,
        outcome,
    };
    console.result(&lines.join("\n"), &document)?;
    Ok(judgement.exit())
}

/// What a person can still confirm, and how to say so.
fn confirming(target: &Target, open: CheckSet) -> Vec<String> {
    if open.is_empty() {
        return Vec::new();
    }
    vec![
        format!("  still to confirm:{}", check_lines(open)),
        "  then record it, without moving the unit again:".into(),
        format!("  {}", unit_store::how_to_confirm(&target.unit_dir, open)),
    ]
}

/// What came of it, in a line.
fn answer(unit: &str, outcome: &LearnOutcome) -> String {
    match outcome {
        LearnOutcome::Accepted(_) => format!("{unit}: learned, both stops accepted"),
        LearnOutcome::NotProven { .. } => {
            format!("{unit}: stops found, NOT PROVEN: signals alone cannot show everything")
        }
        LearnOutcome::Refused(_) => format!("{unit}: NOT learned"),
    }
}

/// What the answer rests on, and what is in force.
fn grounds(
    target: &Target,
    learned: &Learned,
    outcome: &crate::record::RunResult,
    standing: &UnitStanding,
) -> Vec<String> {
    let mut lines = Vec::new();
    match &learned.outcome {
        LearnOutcome::Accepted(_) | LearnOutcome::Refused(_) => {}
        LearnOutcome::NotProven { check, .. } => {
            let beyond = check.minus(check.minus(target.profile.beyond_confirming()));
            lines.extend(confirming(target, check.minus(beyond)));
            if !beyond.is_empty() {
                lines.push(format!("  {WINDOWS_OF_ITS_OWN} Open:{}", check_lines(beyond)));
            }
        }
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
    match standing {
        UnitStanding::NeverLearned | UnitStanding::NoneInForce { .. } => {
            lines.push("  in force now: nothing; an earlier calibration no longer counts".into());
            lines.push(
                "  sweep and step refuse to run; `vanebench friction` shows at low current where it binds"
                    .into(),
            );
        }
        UnitStanding::InForce(_) => {
            lines.push(format!("  in force now: {}", unit_store::in_force(standing)));
            lines.push(format!("  {HOLDS_UNTIL}"));
        }
    }
    lines.push(format!("  record {}", learned.dir.display()));
    lines
}
