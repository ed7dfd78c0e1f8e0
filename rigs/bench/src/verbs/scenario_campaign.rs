//! `campaign SCENARIO`: one scenario over thousands of units and engines that differ as units do.
//!
//! In: a scenario, controller settings, a spread, a number of runs, a seed. Out: distributions of every metric
//! and the worst runs by index, each of which `simulate --member` replays.

use std::path::PathBuf;

use serde::{Deserialize, Serialize};
use study::campaign::{CampaignError, CampaignPlan, CampaignStats, MetricSummary, run_campaign};

use super::campaign_job::{Counting, PartArgs, refused_part};
use super::parts_on_engine::{ON_WHAT_GROUND, put_on};
use super::simulate;
use crate::console::Console;
use crate::document::{CampaignDocument, MetricRow, PartsOfRun};
use crate::exit::{Exit, Failure, VerbResult};
use crate::fold::Fold;
use crate::number::shown_to;
use crate::whole_number::{MOST_RUNS, whole};

/// The metrics that say whether a limit was passed, each with its limit.
const TIMES_OVER: [(&str, &str); 3] = [
    ("time over boost limit", "boost"),
    ("time over turbo limit", "turbo speed"),
    ("time over exhaust limit", "exhaust pressure"),
];

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
    #[command(flatten)]
    job: PartArgs,
}

impl ScenarioCampaignArgs {
    /// The scenario; the command line has seen to it that there is one.
    fn scenario(&self) -> &str {
        self.scenario.as_deref().unwrap_or_default()
    }
}

/// What a result names beside its numbers; a part keeps it.
#[derive(Debug, Serialize, Deserialize)]
pub(super) struct ScenarioTold {
    scenario: String,
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
    args.job.without_pages()?;
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
    };
    match args.job.count(
        (&told.scenario, console),
        &told,
        |job, watch| run_campaign(&plan, job, watch),
        refused,
    )? {
        Counting::Part(exit) => Ok(exit),
        Counting::Whole(so_far) => tell(&told, &so_far.counted, Some(&args.job), console),
    }
}

/// Tells the result, or what there was before an interruption of `job`.
///
/// # Errors
/// When standard output takes nothing more.
pub(super) fn tell(
    told: &ScenarioTold,
    stats: &CampaignStats,
    job: Option<&PartArgs>,
    console: &Console,
) -> VerbResult {
    console.result(&text(told, stats, job, Fold::of_the_reader()), &document(told, stats))?;
    Ok(if stats.runs() < told.runs { Exit::Interrupted } else { Exit::Done })
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

fn text(told: &ScenarioTold, stats: &CampaignStats, job: Option<&PartArgs>, fold: Fold) -> String {
    let table = stats.table();
    let answer = answer(&table);
    let mut lines = vec![
        answer.clone(),
        format!(
            "{}: {} of {} runs, seed {}, {} could not be finished; simulated, nothing moved",
            told.scenario,
            stats.runs(),
            told.runs,
            told.seed,
            stats.failures()
        ),
    ];
    if let Some(job) = job.filter(|_| stats.runs() < told.runs) {
        lines.push(format!("  interrupted; {}", job.how_to_go_on()));
    }
    let parts = told.parts.as_ref();
    lines.extend(parts.iter().flat_map(|parts| parts.lines()).map(|line| format!("  {line}")));
    let head = ["metric", "runs", "least", "5 %", "median", "95 %", "99 %", "most", "worst runs"];
    let mut rows = vec![head.map(|word| word.replace(' ', "\u{a0}")).to_vec()];
    rows.extend(table.iter().map(metric_row));
    lines.extend([String::new(), fold.table(&rows), String::new()]);
    lines.push("  runs: those that have the metric; one that never settles has no settling time".to_owned());
    for failed in stats.failed().iter().take(3) {
        lines.push(format!("  run {} failed: {}", failed.run, failed.reason));
    }
    lines.extend(parts.map(|_| format!("  {ON_WHAT_GROUND}")));
    lines.push(format!("  replay one:\n  {}", told.replay));
    lines.push(answer);
    lines.join("\n")
}

/// Which limits any run passed, and for how long at most, in a line.
fn answer(table: &[MetricSummary]) -> String {
    let longest = |name: &str| table.iter().find(|row| row.name == name).map_or(0.0, |row| row.most);
    let passed: Vec<String> = TIMES_OVER
        .iter()
        .filter(|(metric, _)| longest(metric) > 0.0)
        .map(|(metric, limit)| format!("{limit}, for at most {:.2} s", longest(metric)))
        .collect();
    if passed.is_empty() {
        "NO LIMIT PASSED in any run".to_owned()
    } else {
        format!("LIMITS PASSED: {}", passed.join("; "))
    }
}

/// The command that runs one member again.
fn replay(args: &ScenarioCampaignArgs) -> String {
    let files = [("--with", &args.with), ("--parts", &args.parts), ("--spread", &args.spread)];
    let given = files.iter().filter_map(|(option, file)| Some((option, file.as_ref()?)));
    let options: String = given.map(|(option, file)| format!(" {option} {}", file.display())).collect();
    format!("vanebench simulate {}{options} --seed {} --member RUN", args.scenario(), args.seed)
}

/// One metric: extremes as they were, quantiles to the decimal place that they are known to.
fn metric_row(row: &MetricSummary) -> Vec<String> {
    // Rounding must not push a quantile past the extremes.
    let quantile = |value: f64| {
        let step = row.step.max(10_f64.powf(row.known_to(value).log10().floor()));
        let rounded = (value / step).round() * step;
        let kept = rounded.clamp(row.least, row.most);
        shown_to(kept, if kept == rounded { step } else { row.step })
    };
    let values = [
        shown_to(row.least, row.step),
        quantile(row.q05),
        quantile(row.q50),
        quantile(row.q95),
        quantile(row.q99),
        shown_to(row.most, row.step),
    ];
    // Where all runs are the same, none is the worst.
    let named = if row.most > row.least { 3 } else { 0 };
    let worst: Vec<String> = row.worst.iter().take(named).map(|worst| worst.run.to_string()).collect();
    let mut cells = vec![format!("{}, {}", row.name, row.unit), row.count.to_string()];
    cells.extend(values.map(|value| value.replace(' ', "\u{a0}")));
    cells.push(worst.join(", "));
    cells
}
