//! `campaign`: one scenario over thousands of units and engines that differ as units do.
//!
//! In: a scenario, controller settings, a spread, a number of runs, a seed. Out: distributions of every metric
//! and the worst runs by index, each of which `simulate --member` replays. Goes on from a checkpoint.

use std::path::PathBuf;

use study::campaign::{
    CampaignError, CampaignPlan, CampaignStats, CheckpointError, MetricSummary, Next, run_campaign,
};

use super::parts_on_engine::{ON_WHAT_GROUND, put_on};
use super::{gauge_study, guard_campaign, learn_campaign, simulate};
use crate::caution::Effect;
use crate::console::Console;
use crate::document::{CampaignDocument, MetricRow, PartsOfRun};
use crate::exit::{Exit, Failure, VerbResult};
use crate::interrupt;
use crate::number::shown_to;
use crate::whole_number::{MOST_RUNS, whole};

/// Most threads; more than a computer has cores only take turns.
const MOST_THREADS: u64 = 1024;

/// What `campaign` takes.
#[derive(Debug, clap::Args)]
#[command(args_conflicts_with_subcommands = true, subcommand_negates_reqs = true)]
pub struct Args {
    #[command(subcommand)]
    about: Option<CampaignVerb>,
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
    /// File that keeps the progress; an interrupted campaign goes on from it
    #[arg(long, value_name = "FILE")]
    checkpoint: Option<PathBuf>,
    /// Threads; without it, one for each core. The result does not depend on it
    #[arg(long, value_name = "N", allow_negative_numbers = true, value_parser = whole::<usize>(1..=MOST_THREADS))]
    threads: Option<usize>,
}

#[derive(Debug, clap::Subcommand)]
enum CampaignVerb {
    /// Does end-stop learning ever believe a wrong stop? Every fault of the catalogue, many times
    Learn(learn_campaign::Args),
    /// Does the guard keep every limit, whatever is wrong? Named faults in random worlds
    Guard(guard_campaign::Args),
    /// How well does a learn repeat? Units by set-ups by learns
    Gauge(gauge_study::Args),
}

impl Args {
    pub(crate) fn effect(&self) -> Effect {
        match self.about {
            None | Some(CampaignVerb::Learn(_) | CampaignVerb::Guard(_) | CampaignVerb::Gauge(_)) => {
                Effect::Neither
            }
        }
    }

    /// The scenario; the command line has seen to it that there is one.
    fn scenario(&self) -> &str {
        self.scenario.as_deref().unwrap_or_default()
    }
}

/// Runs the campaign.
///
/// # Errors
/// A [`Failure`] that names file and field; an interrupted campaign ends with 130 and keeps its checkpoint.
pub fn run(args: &Args, console: &Console) -> VerbResult {
    match &args.about {
        Some(CampaignVerb::Learn(args)) => learn_campaign::run(args, console),
        Some(CampaignVerb::Guard(args)) => guard_campaign::run(args, console),
        Some(CampaignVerb::Gauge(args)) => gauge_study::run(args, console),
        None => run_scenario(args, console),
    }
}

fn run_scenario(args: &Args, console: &Console) -> VerbResult {
    let settings = simulate::controller_or_built_in(args.with.as_deref())?;
    let scenario = simulate::scenario(args.scenario())?;
    let (scenario, parts) = match &args.parts {
        None => (scenario, None),
        Some(sheet) => {
            put_on(sheet, &scenario, args.scenario()).map(|(scenario, told)| (scenario, Some(told)))?
        }
    };
    let plan = CampaignPlan {
        scenario,
        settings,
        spread: simulate::spread(args.spread.as_ref())?,
        seed: args.seed,
        runs: args.runs,
    };
    let threads = rayon::ThreadPoolBuilder::new().num_threads(args.threads.unwrap_or(0));
    let pool = threads.build().map_err(Failure::undetermined)?;
    let bar = console.progress("campaign", args.runs);
    let watch = interrupt::watch();
    let stats = pool.install(|| {
        run_campaign(&plan, args.checkpoint.as_deref(), |progress| {
            bar.set_position(progress.done);
            if interrupt::asked() { Next::Stop } else { Next::GoOn }
        })
    });
    drop(watch);
    bar.finish_and_clear();
    let stats = stats.map_err(refused)?;
    console.result(&text(args, &plan, parts.as_ref(), &stats), &document(&plan, parts, &stats))?;
    Ok(if stats.runs() < plan.runs { Exit::Interrupted } else { Exit::Done })
}

/// A plan or a checkpoint that cannot be used is the caller's; a disk that refuses is nobody's.
fn refused(error: CampaignError) -> Failure {
    match error {
        CampaignError::Checkpoint(CheckpointError::Unwritable { .. }) => Failure::undetermined(error),
        CampaignError::Checkpoint(
            CheckpointError::Unreadable { .. }
            | CheckpointError::Foreign { .. }
            | CheckpointError::Changed { .. }
            | CheckpointError::OtherPlan { .. },
        )
        | CampaignError::Parameter(_)
        | CampaignError::Settings(_) => Failure::usage(error),
    }
}

fn document(plan: &CampaignPlan, parts: Option<PartsOfRun>, stats: &CampaignStats) -> CampaignDocument {
    CampaignDocument {
        scenario: plan.scenario.name.clone(),
        parts,
        seed: plan.seed,
        runs: stats.runs(),
        failures: stats.failures(),
        failed: stats.failed().to_vec(),
        metrics: stats.table().into_iter().map(MetricRow::from).collect(),
    }
}

fn text(args: &Args, plan: &CampaignPlan, parts: Option<&PartsOfRun>, stats: &CampaignStats) -> String {
    let mut lines = vec![format!(
        "{}: {} of {} runs, seed {}, {} could not be finished; simulated, nothing moved",
        plan.scenario.name,
        stats.runs(),
        plan.runs,
        plan.seed,
        stats.failures()
    )];
    if stats.runs() < plan.runs {
        lines.push(match &args.checkpoint {
            Some(file) => format!("  interrupted; the same command line goes on from {}", file.display()),
            None => "  interrupted, progress lost; --checkpoint FILE keeps it".to_owned(),
        });
    }
    lines.extend(parts.iter().flat_map(|parts| parts.lines()).map(|line| format!("  {line}")));
    lines.push(format!(
        "  {:<36}{:>16}{:>10}{:>10}{:>10}{:>10}{:>10}{:>10}  worst runs",
        "", "runs", "least", "5 %", "median", "95 %", "99 %", "most"
    ));
    lines.extend(stats.table().iter().map(|row| metric_line(row, stats.runs())));
    lines.push("  runs: those that have the metric; one that never settles has no settling time".to_owned());
    for failed in stats.failed().iter().take(3) {
        lines.push(format!("  run {} failed: {}", failed.run, failed.reason));
    }
    lines.extend(parts.map(|_| format!("  {ON_WHAT_GROUND}")));
    lines.push(format!("  replay one: {}", replay(args)));
    lines.join("\n")
}

/// The command that runs one member again.
fn replay(args: &Args) -> String {
    let files = [("--with", &args.with), ("--parts", &args.parts), ("--spread", &args.spread)];
    let given = files.iter().filter_map(|(option, file)| Some((option, file.as_ref()?)));
    let options: String = given.map(|(option, file)| format!(" {option} {}", file.display())).collect();
    format!("vanebench simulate {}{options} --seed {} --member RUN", args.scenario(), args.seed)
}

/// One metric: extremes as they were, quantiles to the decimal place that they are known to.
fn metric_line(row: &MetricSummary, runs: u64) -> String {
    // Rounding must not push a quantile past the extremes.
    let quantile = |value: f64| {
        let step = row.step.max(10_f64.powf(row.known_to(value).log10().floor()));
        let rounded = (value / step).round() * step;
        let kept = rounded.clamp(row.least, row.most);
        shown_to(kept, if kept == rounded { step } else { row.step })
    };
    let cells = [
        format!("{} of {runs}", row.count),
        shown_to(row.least, row.step),
        quantile(row.q05),
        quantile(row.q50),
        quantile(row.q95),
        quantile(row.q99),
        shown_to(row.most, row.step),
    ];
    let [count, values @ ..] = cells;
    let values: Vec<String> = values.iter().map(|cell| format!("{cell:>10}")).collect();
    // Where all runs are the same, none is the worst.
    let named = if row.most > row.least { 3 } else { 0 };
    let worst: Vec<String> = row.worst.iter().take(named).map(|worst| worst.run.to_string()).collect();
    format!(
        "  {:<36}{count:>16}{}  {}",
        format!("{}, {}", row.name, row.unit),
        values.concat(),
        worst.join(", ")
    )
}
