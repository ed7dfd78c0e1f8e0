//! `campaign learn`: every fault of the catalogue, many times, judged by the truth of the simulated world.

mod words;

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use study::campaign::learn::{
    LearnCampaign, LearnCampaignError, LearnCounts, LearnExtras, LearnRuns, ablation, campaign, two_faults,
};
use study::catalogue::{self, Preset, Tag};

use super::campaign_job::{Counting, PartArgs, refused_part};
use super::learn_picture;
use crate::actuator::{BuiltInActuator, DEMO, read_name};
use crate::console::Console;
use crate::exit::{Exit, Failure, VerbResult};
use crate::fold::Fold;
use crate::output::write_file;
use crate::whole_number::whole;

/// Most units with two faults: each is kept until all are learned.
const MOST_PAIRS: u64 = 1_000_000;

/// What `campaign learn` takes.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Learns of each fault
    #[arg(long, default_value_t = 100, value_parser = clap::value_parser!(u64).range(1..=1_000_000))]
    runs: u64,
    /// Seed; the same seed gives the same bytes
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Built-in actuator whose units are learned, under its own profile; `vanebench ports` lists them
    #[arg(long, value_name = "NAME", value_parser = read_name, default_value = DEMO.name)]
    actuator: &'static BuiltInActuator,
    /// Only this fault; may be given more than once
    #[arg(long, value_name = "FAULT")]
    only: Vec<String>,
    /// Also switch each sign of the learner off in turn, over the same draws: about twenty times as
    /// long. Not with --part
    #[arg(long)]
    ablate: bool,
    /// Also learn this many units with two faults at once, any two. Not with --part
    #[arg(long, value_name = "UNITS", value_parser = whole::<u64>(1..=MOST_PAIRS))]
    two_faults: Option<u64>,
    /// Also draw acceptance against error and severity as an SVG picture
    #[arg(long, value_name = "FILE", conflicts_with = "part")]
    picture: Option<PathBuf>,
    #[command(flatten)]
    job: PartArgs,
}

/// What a result names beside its numbers; a part keeps it.
#[derive(Debug, Serialize, Deserialize)]
pub(super) struct LearnTold {
    actuator: String,
    seed: u64,
    runs: u64,
}

/// Runs the campaign and tells what it found.
///
/// # Errors
/// A [`Failure`] for an unknown fault, a world that runs away or a file that cannot be written.
pub fn run(args: &Args, console: &Console) -> VerbResult {
    args.job.without_pages()?;
    args.job
        .without_extras(&[args.ablate.then_some("--ablate"), args.two_faults.and(Some("--two-faults"))])?;
    let plan = LearnRuns {
        presets: chosen(&args.only)?,
        nominal: args.actuator.plant().map_err(Failure::usage)?,
        settings: args.actuator.profile().map_err(Failure::usage)?.settings,
        runs: args.runs,
        seed: args.seed,
    };
    if args.two_faults.is_some()
        && plan.presets.iter().filter(|preset| preset.tag != Tag::MustAccept).count() < 2
    {
        return Err(Failure::usage(
            "--two-faults: --only leaves fewer than two faults; name two with --only, or leave one of both out",
        ));
    }
    let told = LearnTold { actuator: args.actuator.name.to_owned(), seed: args.seed, runs: args.runs };
    match args.job.count(
        ("learn campaign", console),
        &told,
        |job, watch| campaign(&plan, job, watch),
        refused,
    )? {
        Counting::Part(exit) => Ok(exit),
        Counting::Whole(so_far) => {
            let counts = args.job.whole(so_far)?;
            let extras = extras(args, &plan, console)?;
            tell(&told, (counts, extras), args.picture.as_deref(), console)
        }
    }
}

/// What is asked for beside the campaign.
fn extras(args: &Args, plan: &LearnRuns, console: &Console) -> Result<LearnExtras, Failure> {
    let signs = args.ablate.then(|| {
        let what = ("signs switched off in turn", "--ablate");
        args.job.beside(what, console, |watch| ablation(plan, watch), refused)
    });
    let two_faults = args.two_faults.map(|units| {
        let what = ("two faults at once", "--two-faults");
        args.job.beside(what, console, |watch| two_faults(plan, units, watch), refused)
    });
    Ok(LearnExtras { signs: signs.transpose()?.unwrap_or_default(), two_faults: two_faults.transpose()? })
}

/// Tells the result of a whole campaign.
///
/// # Errors
/// When the picture or standard output cannot be written.
pub(super) fn tell(
    told: &LearnTold,
    (counts, extras): (LearnCounts, LearnExtras),
    picture: Option<&Path>,
    console: &Console,
) -> VerbResult {
    let result = LearnCampaign::new((&told.actuator, told.seed, told.runs), counts.finish(), extras);
    if let Some(path) = picture {
        write_file(path, learn_picture::drawn(&result).as_bytes())?;
    }
    console.result(&words::text(&result, Fold::of_the_reader()), &result)?;
    Ok(if result.failures().is_empty() { Exit::Done } else { Exit::OutOfLimits })
}

fn refused(error: LearnCampaignError) -> Failure {
    match error {
        LearnCampaignError::Part(error) => refused_part(error),
        LearnCampaignError::Learn { .. } | LearnCampaignError::Pair { .. } => Failure::undetermined(error),
    }
}

/// The faults that are named, each once, or all.
fn chosen(only: &[String]) -> Result<Vec<&'static Preset>, Failure> {
    if only.is_empty() {
        return Ok(catalogue::all().collect());
    }
    let mut presets: Vec<&Preset> = Vec::new();
    for name in only {
        let preset = catalogue::find(name).map_err(Failure::usage)?;
        if presets.iter().all(|chosen| chosen.name != preset.name) {
            presets.push(preset);
        }
    }
    Ok(presets)
}
