//! `campaign SCENARIO`: one scenario over thousands of units and engines that differ as units do.
//!
//! In: a scenario, controller settings, a spread, a number of runs, a seed. Out: distributions of every metric
//! and the worst runs by index, each of which `simulate --member` replays; with `--out` a page, one JSON and a CSV with
//! a row for each run.

mod page;
mod runs;
mod words;

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use study::campaign::{CampaignError, CampaignPlan, CampaignStats, KeepRuns, MOST_KEPT, run_campaign};

use super::campaign_job::{Counting, PartArgs, refused_part};
use super::parts_on_engine::{ON_WHAT_GROUND, put_on};
use super::simulate;
use crate::console::Console;
use crate::document::{self, CampaignDocument, MetricRow, PartsOfRun};
use crate::exit::{Exit, Failure, VerbResult};
use crate::fold::Fold;
use crate::output::{Maker, OutFolder};
use crate::whole_number::{MOST_RUNS, whole};

/// The page's file, and those for machines.
const PAGE: &str = "campaign.html";
const JSON: &str = "campaign.json";
const CSV: &str = "runs.csv";

/// What `campaign SCENARIO` takes.
#[derive(Debug, clap::Args)]
pub struct ScenarioCampaignArgs {
    /// Name of a built-in scenario or path of a TOML file
    #[arg(required = true)]
    scenario: Option<String>,
    /// How many runs
    #[arg(long, default_value_t = 1000, allow_negative_numbers = true, value_parser = whole::<u64>(1..=MOST_RUNS))]
    runs: u64,
    /// Seed of the whole campaign
    #[arg(long, default_value_t = 1, allow_negative_numbers = true, value_parser = whole::<u64>(0..=u64::MAX))]
    seed: u64,
    /// Controller settings, a TOML file; without it, the built-in settings
    #[arg(long = "with", value_name = "CONTROLLER.toml")]
    with: Option<PathBuf>,
    /// Measured turbo to put on the scenario's engine, a parts sheet (as for match); without it, the scenario's
    /// own
    #[arg(long, value_name = "SHEET.toml")]
    parts: Option<PathBuf>,
    /// How units and engines differ, a TOML file; without it, the built-in spread
    #[arg(long, value_name = "SPREAD.toml")]
    spread: Option<PathBuf>,
    /// With --part: keep every run in the part too, for the runs.csv of `campaign merge --out`; at most 50 000 runs a part
    #[arg(long, requires = "part")]
    keep_runs: bool,
    #[command(flatten)]
    job: PartArgs,
}

impl ScenarioCampaignArgs {
    /// The scenario; the command line has seen to it that there is one.
    fn scenario(&self) -> &str {
        self.scenario.as_deref().unwrap_or_default()
    }

    /// Whether every run is kept: for the CSV of a folder, or of a merge to come.
    fn keep(&self) -> Result<KeepRuns, Failure> {
        let (option, advice) = match (self.job.folder(), self.keep_runs) {
            (None, false) => return Ok(KeepRuns::None),
            (Some(_), _) => ("--out", "make parts with --part K/N --keep-runs, then `campaign merge --out`"),
            (None, true) => ("--keep-runs", "make more and smaller parts"),
        };
        match self.job.runs_of(self.runs) {
            0..=MOST_KEPT => Ok(KeepRuns::Each),
            runs => Err(Failure::usage(format!(
                "{option} keeps every run: {runs}; allowed: up to {MOST_KEPT}. Nothing was run; {advice}."
            ))),
        }
    }
}

/// What a result names beside its numbers; a part keeps it.
#[derive(Debug, Serialize, Deserialize)]
pub(super) struct ScenarioTold {
    scenario: String,
    about: String,
    parts: Option<PartsOfRun>,
    runs: u64,
    seed: u64,
    /// The command that runs one member again.
    replay: String,
}

/// Runs the campaign.
///
/// # Errors
/// A [`Failure`] that names file and field; an interrupted campaign ends with 130 and keeps its file.
pub fn run(args: &ScenarioCampaignArgs, console: &Console) -> VerbResult {
    let keep = args.keep()?;
    let folder = claimed(args.job.folder())?;
    let settings = simulate::controller_or_built_in(args.with.as_deref())?;
    let scenario = simulate::scenario(args.scenario())?;
    let (scenario, parts) = match &args.parts {
        None => (scenario, None),
        Some(sheet) => {
            put_on(sheet, &scenario, args.scenario()).map(|(scenario, told)| (scenario, Some(told)))?
        }
    };
    let told = ScenarioTold {
        scenario: scenario.name.clone(),
        about: scenario.about.clone(),
        parts,
        runs: args.runs,
        seed: args.seed,
        replay: replay(args),
    };
    let plan = CampaignPlan {
        scenario,
        settings,
        spread: simulate::spread(args.spread.as_ref())?,
        seed: args.seed,
        runs: args.runs,
        keep,
    };
    match args.job.count(
        (&told.scenario, console),
        &told,
        |job, watch| run_campaign(&plan, job, watch),
        refused,
    )? {
        Counting::Part(exit) => Ok(exit),
        Counting::Whole(so_far) => tell(&told, &so_far.counted, (Some(&args.job), folder), console),
    }
}

/// The folder for page, JSON and CSV.
///
/// # Errors
/// When it holds what no such campaign made.
pub(super) fn claimed(dir: Option<&Path>) -> Result<Option<OutFolder>, Failure> {
    dir.map(|dir| OutFolder::claim(dir, Maker::ScenarioCampaign)).transpose()
}

/// Tells the result, or what there was before an interruption of `job`; what is not whole is not written.
///
/// # Errors
/// When the folder or standard output takes nothing more.
pub(super) fn tell(
    told: &ScenarioTold,
    stats: &CampaignStats,
    (job, folder): (Option<&PartArgs>, Option<OutFolder>),
    console: &Console,
) -> VerbResult {
    let document = document(told, stats);
    let is_whole = stats.runs() == told.runs;
    if let Some(folder) = folder {
        let dir = folder.dir().display().to_string();
        let written = if is_whole {
            write(folder, told, stats, &document)? + " written to"
        } else {
            "the campaign is incomplete; nothing was written to".to_owned()
        };
        console.note(&format!("{written}\n  {dir}"));
    }
    console.result(&words::text(told, stats, job, Fold::of_the_reader()), &document)?;
    Ok(if is_whole { Exit::Done } else { Exit::Interrupted })
}

/// Writes page, JSON and, where each run was kept, the CSV; says which.
fn write(
    folder: OutFolder,
    told: &ScenarioTold,
    stats: &CampaignStats,
    document: &CampaignDocument,
) -> Result<String, Failure> {
    let page = page::page(told, stats).render().map_err(Failure::undetermined)?;
    let json = document::text(document)?;
    let csv = stats.each().map(runs::csv).transpose()?;
    let mut files = vec![(PAGE, page.as_bytes()), (JSON, json.as_bytes())];
    files.extend(csv.iter().map(|csv| (CSV, csv.as_slice())));
    let kept = if csv.is_some() {
        format!(", {CSV}")
    } else {
        format!("; no {CSV}: the parts were made without --keep-runs")
    };
    folder.replace(&files)?;
    Ok(format!("{PAGE}, {JSON}{kept}"))
}

/// A plan that cannot be used is the caller's.
fn refused(error: CampaignError) -> Failure {
    match error {
        CampaignError::Part(error) => refused_part(error),
        CampaignError::Parameter(_) | CampaignError::Settings(_) => Failure::usage(error),
    }
}

fn document(told: &ScenarioTold, stats: &CampaignStats) -> CampaignDocument {
    CampaignDocument {
        scenario: told.scenario.clone(),
        parts: told.parts.clone(),
        seed: told.seed,
        runs: stats.runs(),
        failures: stats.failures(),
        failed: stats.failed().to_vec(),
        metrics: stats.table().into_iter().map(MetricRow::from).collect(),
    }
}

/// The command that runs one member again.
fn replay(args: &ScenarioCampaignArgs) -> String {
    let files = [("--with", &args.with), ("--parts", &args.parts), ("--spread", &args.spread)];
    let given = files.iter().filter_map(|(option, file)| Some((option, file.as_ref()?)));
    let options: String = given.map(|(option, file)| format!(" {option} {}", file.display())).collect();
    format!("vanebench simulate {}{options} --seed {} --member RUN", args.scenario(), args.seed)
}
