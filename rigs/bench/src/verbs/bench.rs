//! `bench`: the whole job on a unit in one go: learn, friction, sweep, step, judge, report.
//!
//! In: what each verb takes, asked for where it is not given and a person is there. Out: records, a verdict, a report.
//! Cautions and a yes before each start; stops at the first refusal with its reason, and goes on from there when it is
//! told to.

use std::io::{self, IsTerminal};
use std::path::{Path, PathBuf};

use clap::ValueEnum;
use firmware_core::learn::{CheckSet, LearnOutcome};

use super::judge::{ReportArgs, keep_stopped_job, report_job};
use crate::caution::{self, JobCautions, LeverMotion};
use crate::checks::{check_lines, parse_check};
use crate::console::Console;
use crate::exit::{Exit, Failure, VerbResult};
use crate::interrupt;
use crate::link_rig;
use crate::procedure::{
    Basis, Bench, LearnChoice, MoveKind, SetupWord, Target, TargetArgs, learn, record_move,
};
use crate::record::{JobState, Run};
use crate::screen::{LiveScreen, Subject};
use crate::short_text::ShortText;
use crate::unit_result::keep_verdict_of;
use crate::unit_store::{self, OnUnproven};

/// What `bench` takes.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(flatten)]
    target: TargetArgs,
    /// Checks that a person or gauge has confirmed and signals cannot show, separated by commas, or
    /// `all`; `vanebench learn --help` lists them
    #[arg(long, value_name = "CHECKS", value_delimiter = ',', value_parser = parse_check)]
    checked: Vec<CheckSet>,
    /// Begin at this step, where an earlier job stopped
    #[arg(long, value_enum, default_value_t = BenchStep::Learn)]
    from: BenchStep,
    /// File for the report [default: report.html in the unit's folder]
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
}

/// One step of the job.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum BenchStep {
    /// Find both end stops
    Learn,
    /// Slow open-loop ramps
    Friction,
    /// A closed-loop staircase
    Sweep,
    /// Steps and full strokes
    Step,
}

impl BenchStep {
    fn word(self) -> String {
        self.to_possible_value().map_or_else(String::new, |value| value.get_name().to_owned())
    }

    /// What is said while it goes on.
    fn doing(self) -> &'static str {
        match self {
            Self::Learn => "learning the end stops",
            Self::Friction => MoveKind::Friction.doing(),
            Self::Sweep => MoveKind::Sweep.doing(),
            Self::Step => MoveKind::Step.doing(),
        }
    }
}

/// Does the job.
///
/// # Errors
/// A [`Failure`] with the reason of the step that was refused, and how to go on from there.
pub fn run(args: &Args, console: &Console) -> VerbResult {
    let asked = asked_for(&args.target)?;
    let target = asked.read()?;
    if target.motion() == LeverMotion::Real {
        asked.hands_clear.needs_a_name(target.operator.as_ref())?;
    }
    if let Some(out) = &args.out {
        can_take_a_file(out)?;
    }
    console.note(&heading(&target));
    let steps = BenchStep::value_variants().iter().copied().skip_while(|step| *step != args.from);
    let (unit_dir, job) = (target.unit_dir.clone(), target.job.clone());
    let report = ReportArgs::of_unit(unit_dir, args.target.criteria.clone(), job, args.out.clone());
    let (mut bench, mut cautions) = (None, JobCautions::default());
    for step in steps {
        while let Err(failure) = one(args, &target, step, (&mut bench, &mut cautions), console) {
            if !goes_on(step, &failure, console)? {
                keep_stopped_job(&report);
                return Err(how_to_go_on(step, failure));
            }
        }
    }
    drop(bench);
    report_job(&report, console)
}

/// A report that cannot be kept is told before anything moves, not after the whole job.
fn can_take_a_file(out: &Path) -> Result<(), Failure> {
    let folder = match out.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        Some(_) | None => Path::new("."),
    };
    if folder.is_dir() && !out.is_dir() {
        return Ok(());
    }
    let seen = format!("--out: {} cannot be written; allowed: a file in a folder that exists", out.display());
    Err(Failure::usage(format!("{seen}; nothing moved")))
}

/// One step, with a yes before it.
fn one(
    args: &Args,
    target: &Target,
    step: BenchStep,
    (bench, cautions): (&mut Option<Bench>, &mut JobCautions),
    console: &Console,
) -> Result<(), Failure> {
    console.note(&format!("\nNEXT  {}: {}", step.word(), step.doing()));
    let cautions = args.target.hands_clear.confirm_in(cautions, target.motion())?;
    let bench = match bench {
        Some(bench) => bench,
        None => bench.insert(link_rig::open(target, cautions)?),
    };
    match step {
        BenchStep::Learn => learn_unit(args, target, bench, console),
        BenchStep::Friction => moved(target, (MoveKind::Friction, step), bench, console),
        BenchStep::Sweep => moved(target, (MoveKind::Sweep, step), bench, console),
        BenchStep::Step => moved(target, (MoveKind::Step, step), bench, console),
    }
}

fn learn_unit(args: &Args, target: &Target, bench: &mut Bench, console: &Console) -> Result<(), Failure> {
    let checked = args.checked.iter().fold(bench.confirmed_by_looking(), |all, one| all.union(*one));
    let choice = LearnChoice { previous: None, checked, free: None };
    let subject = Subject::moved(target, BenchStep::Learn.doing(), None);
    let mut screen = LiveScreen::new(console, subject, target.port.pacing());
    let learned = learn(bench, target, choice, &mut screen);
    drop(screen);
    let learned = learned?;
    keep_verdict(target, &learned.dir)?;
    match learned.outcome {
        LearnOutcome::Accepted(_) => {
            console.note("both stops accepted");
            Ok(())
        }
        LearnOutcome::NotProven { check, .. } => Err(Failure {
            exit: Exit::Undetermined,
            message: format!(
                "both stops found, NOT PROVEN: still to confirm by eye or gauge:{}\n  then record it:\n  {}",
                check_lines(check),
                unit_store::how_to_confirm(&target.unit_dir, check)
            ),
        }),
        LearnOutcome::Refused(refusal) => Err(Failure {
            exit: Exit::OutOfLimits,
            message: format!("NOT learned: {refusal}\n  try: {}", refusal.advice()),
        }),
    }
}

fn moved(
    target: &Target,
    (kind, step): (MoveKind, BenchStep),
    bench: &mut Bench,
    console: &Console,
) -> Result<(), Failure> {
    let in_force = unit_store::ground(&target.wanted(), OnUnproven::Refuse)?;
    in_force.learned_with(&target.unit, &bench.board())?;
    let subject = Subject::moved(target, step.doing(), Some(&in_force.held.calibration));
    let mut screen = LiveScreen::new(console, subject, target.port.pacing());
    let dir = record_move(bench, target, kind, &Basis::Accepted(in_force), &mut screen);
    drop(screen);
    let dir = dir?;
    keep_verdict(target, &dir)?;
    console.note(&format!("recorded {}", dir.display()));
    Ok(())
}

fn keep_verdict(target: &Target, dir: &Path) -> Result<(), Failure> {
    let run = Run::open(dir).map_err(Failure::undetermined)?;
    keep_verdict_of(&run, &target.profile, &target.limits);
    Ok(())
}

/// Tells why a step was refused and, where a person is there, whether it is to be tried again.
fn goes_on(step: BenchStep, failure: &Failure, console: &Console) -> Result<bool, Failure> {
    if failure.exit == Exit::Usage || interrupt::asked() || !io::stdin().is_terminal() {
        return Ok(false);
    }
    console.note(&format!("\nSTOPPED at {}: {failure}", step.word()));
    let answer = caution::answer(&format!(
        "If something is wrong, put it right first. Type \"again\" to repeat {}, or press Enter to end: ",
        step.word()
    ))?;
    Ok(answer.as_deref() == Some("again"))
}

fn how_to_go_on(step: BenchStep, failure: Failure) -> Failure {
    let message = format!(
        "stopped at {step}: {failure}\nThe rest of the job was not done. Remove the cause, then continue \
         with the same command line and --from {step}.",
        step = step.word()
    );
    Failure { exit: failure.exit, message }
}

fn heading(target: &Target) -> String {
    let job = if target.job.is_unnamed() { String::new() } else { format!(", {}", target.job) };
    format!("BENCH  unit {}{job}: learn, friction, sweep, step, judge, report", target.unit)
}

/// What the command line leaves open is asked for, where a person is there.
fn asked_for(given: &TargetArgs) -> Result<TargetArgs, Failure> {
    let mut asked = given.clone();
    if !io::stdin().is_terminal() {
        return Ok(asked);
    }
    text("Name of the job", "--job", &mut asked.job.name)?;
    let states = [("f", "as found", JobState::AsFound), ("l", "as left", JobState::AsLeft)];
    choice("State", "none", "--state", &states, &mut asked.job.state)?;
    text("Customer's reference", "--customer", &mut asked.customer)?;
    text("Serial number on the actuator", "--actuator-serial", &mut asked.serials.actuator)?;
    text("Serial number on the turbo", "--turbo-serial", &mut asked.serials.turbo)?;
    let setups = [
        ("a", "attached to the ring", SetupWord::Attached),
        ("f", "free", SetupWord::Free),
        ("e", "on the engine", SetupWord::OnEngine),
    ];
    choice("Mounted", "attached", "--setup", &setups, &mut asked.setup)?;
    text("Who stands beside it", "--operator", &mut asked.operator)?;
    Ok(asked)
}

/// Asks for one of a few, each with its letter, until the answer is one of them or none.
fn choice<T: Copy>(
    question: &str,
    otherwise: &str,
    option: &str,
    among: &[(&str, &str, T)],
    into: &mut Option<T>,
) -> Result<(), Failure> {
    let letters: Vec<String> = among.iter().map(|(letter, words, _)| format!("{letter} {words}")).collect();
    let question = format!("{question}: {}, Enter for {otherwise} ({option}): ", letters.join(", "));
    while into.is_none()
        && let Some(answer) = caution::answer(&question)?
    {
        *into = among.iter().find(|(letter, ..)| *letter == answer).map(|(.., one)| *one);
    }
    Ok(())
}

fn text(question: &str, option: &str, into: &mut Option<ShortText>) -> Result<(), Failure> {
    if into.is_none()
        && let Some(words) = caution::answer(&format!("{question}, Enter for none ({option}): "))?
    {
        let refused = |error| Failure::usage(format!("{option}: {error}; nothing moved"));
        *into = Some(words.parse::<ShortText>().map_err(refused)?);
    }
    Ok(())
}
