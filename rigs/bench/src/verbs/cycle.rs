//! `cycle`: strokes by the hundred or thousand, on an accepted calibration, until they are done or a limit is passed.
//!
//! The same command line goes on with an endurance that was cut short: its count stands in the record. Motion never
//! resumes by itself: cautions and a typed yes come first, whatever was given on the command line.

use crate::caution;
use crate::console::Console;
use crate::document::MotionDocument;
use crate::exit::{Exit, Failure, VerbResult};
use crate::link_rig;
use crate::procedure::{CyclePlan, Target, TargetArgs, hours_of, record_cycle, strokes_in};
use crate::record::{Endurance, Run};
use crate::screen::{LiveScreen, Subject};
use crate::unit_store::{self, OnUnproven};
use crate::whole_number::whole;

/// Most strokes of an endurance: 17 days of rig time.
const MOST_STROKES: u64 = 1_000_000;
/// Hottest housing that may be let pass, °C.
const HOTTEST_C: (f64, f64) = (30.0, 200.0);

/// What `cycle` takes.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(flatten)]
    target: TargetArgs,
    #[command(flatten)]
    goal: GoalArgs,
    /// Keep all samples of the first stroke and of every Nth, and a summary of each other stroke
    #[arg(long, value_name = "N", default_value_t = 1000, allow_negative_numbers = true, value_parser = whole::<u32>(1..=MOST_STROKES))]
    keep_every: u32,
    /// End when the housing is hotter than this, °C, where it is measured
    #[arg(long, value_name = "C", allow_negative_numbers = true, value_parser = celsius)]
    hottest: Option<f64>,
    /// Give up an endurance that was cut short, and count from 0
    #[arg(long)]
    anew: bool,
}

/// How long it goes on.
#[derive(Debug, Clone, Copy, clap::Args)]
#[group(required = true, multiple = false)]
struct GoalArgs {
    /// Strokes in all, closed to open and back, those before an interruption included
    #[arg(long, value_name = "N", allow_negative_numbers = true, value_parser = whole::<u32>(1..=MOST_STROKES))]
    strokes: Option<u32>,
    /// Hours of rig time in all, in whole strokes
    #[arg(long, value_name = "H", allow_negative_numbers = true, value_parser = hours)]
    hours: Option<f64>,
}

fn celsius(word: &str) -> Result<f64, String> {
    let (least, most) = HOTTEST_C;
    let number = word.parse::<f64>().ok().filter(|number| (least..=most).contains(number));
    number.ok_or_else(|| format!("allowed {least} to {most} °C"))
}

fn hours(word: &str) -> Result<f64, String> {
    let allowed = || format!("allowed: above 0, up to {:.0}", hours_of(MOST_STROKES as u32));
    let number = word.parse::<f64>().ok().filter(|hours| *hours > 0.0).ok_or_else(allowed)?;
    let strokes = strokes_in(number).filter(|strokes| u64::from(*strokes) <= MOST_STROKES);
    strokes.map(|_| number).ok_or_else(allowed)
}

impl GoalArgs {
    fn strokes(self) -> u32 {
        self.strokes.or_else(|| self.hours.and_then(strokes_in)).unwrap_or(1)
    }
}

/// Makes the strokes.
///
/// # Errors
/// A [`Failure`] when no accepted calibration carries them, when nobody says yes, when a limit is passed, or when the run
/// was cut short.
pub fn run(args: &Args, console: &Console) -> VerbResult {
    let target = args.target.read()?;
    let in_force = unit_store::ground(&target.wanted(), OnUnproven::Refuse)?;
    let wanted = args.goal.strokes();
    let unfinished = unfinished(args, &target, wanted)?;
    let before = unfinished.as_ref().map_or(0, |endurance| endurance.done);
    let cautions = match &unfinished {
        None => args.target.hands_clear.confirm(target.motion())?,
        Some(cut) => {
            let why = cut.cut.as_deref().unwrap_or("the tool was ended");
            console.note(&format!(
                "{}: continues at stroke {} of {wanted}; {} was cut short: {why}\n",
                target.unit,
                before + 1,
                cut.run
            ));
            caution::confirm_again(
                target.motion(),
                &format!("endurance, stroke {before} of {wanted}: {why}"),
            )?
        }
    };
    let mut bench = link_rig::open(&target, cautions)?;
    in_force.learned_with(&target.unit, &bench.board())?;
    let subject =
        Subject::moved(&target, "strokes, closed to open and back", Some(&in_force.held.calibration));
    let mut screen = LiveScreen::new(console, subject, target.port.pacing());
    let plan = CyclePlan { wanted, before, keep_every: args.keep_every, hottest_c: args.hottest };
    let dir = record_cycle(&mut bench, &target, plan, &in_force, &mut screen);
    drop(screen);
    let dir = dir?;
    let run = Run::open(&dir).map_err(Failure::undetermined)?;
    let lines = Endurance::of(&run).map(|endurance| endurance.lines()).unwrap_or_default();
    let text = format!("{}: {}\n  record {}", target.unit, lines.join("\n  "), dir.display());
    let document = MotionDocument {
        unit: target.unit.clone(),
        run: run.name.to_string(),
        folder: dir.display().to_string(),
        lost: run.loss().text(),
        endurance: lines,
        diagnostic: None,
    };
    console.result(&text, &document)?;
    Ok(Exit::Done)
}

/// The endurance that this command line goes on with; none where it begins one.
fn unfinished(args: &Args, target: &Target, wanted: u32) -> Result<Option<Endurance>, Failure> {
    let newest = Endurance::newest(&target.unit_dir).map_err(|error| {
        Failure::undetermined(format!(
            "{error}. How far the endurance went is unknown: start over with --anew."
        ))
    });
    let newest = if args.anew { None } else { newest? };
    let Some(cut) = newest.filter(|endurance| endurance.ended.is_none()) else { return Ok(None) };
    if cut.wanted == wanted {
        return Ok(Some(cut));
    }
    Err(Failure::usage(format!(
        "{}: nothing moved. An endurance of {} strokes was cut short at {} ({}); this command asks for \
         {wanted}. Continue with --strokes {}, or start over with --anew.",
        target.unit, cut.wanted, cut.done, cut.run, cut.wanted
    )))
}
