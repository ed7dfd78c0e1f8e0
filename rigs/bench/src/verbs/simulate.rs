//! `simulate`: one scenario under one or several controller settings and measured turbos, side by side.
//!
//! In: a scenario (built in or a file), controller settings, parts sheets, a seed. Out: one table of metrics, and
//! with `--out` one page with all runs in the same pictures, a CSV for each run and one JSON. Nothing moves. Out
//! of limits (exit code 1) when a limit of the scenario is passed in any of the runs.

mod foresight;
mod page;
mod setup;
mod spans;
mod words;

use std::path::{Path, PathBuf};

use plant::shown::brief;
use plant::toml_file::TomlFile;
use study::campaign::{self, CampaignPlan, KeepRuns, Spread};
use study::metrics::{METRICS, MetricColumn};
use study::run::{Record, RunError, RunOutcome, run_world};
use study::scenario::{BuiltIn, Scenario, builtins};

use super::parts_on_engine::ON_WHAT_GROUND;
use crate::actuator::{BuiltInActuator, read_name};
use crate::console::Console;
use crate::document::{
    self, ForesightTold, PartsOfRun, ScenarioRow, ScenariosDocument, SimulatedEvent, SimulatedRun,
    SimulationDocument,
};
use crate::exit::{Exit, Failure, VerbResult};
use crate::fold::Fold;
use crate::number::shown_to;
use crate::output::{Maker, OutFolder};
use crate::progress::ProgressLine;
use crate::report::Ink;
use crate::whole_number::{MOST_RUNS, whole};
pub(super) use setup::controller_or_built_in;
use setup::{RunParts, setups};

/// What `simulate` takes.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Name of a built-in scenario or path of a TOML file; without one, the built-in ones are listed
    scenario: Option<String>,
    /// Built-in actuator on the scenario's engine; without one, the scenario's own. `vanebench ports` lists them
    #[arg(long, value_name = "NAME", value_parser = read_name)]
    actuator: Option<&'static BuiltInActuator>,
    /// Controller settings to try, a TOML file each; without any, the built-in settings
    #[arg(long = "with", value_name = "CONTROLLER.toml")]
    with: Vec<PathBuf>,
    /// Run under every boost law of the controller, side by side
    #[arg(long)]
    laws: bool,
    /// Measured turbos to put on the scenario's engine, a parts sheet each (as for match); without any, the
    /// scenario's own
    #[arg(long, value_name = "SHEET.toml")]
    parts: Vec<PathBuf>,
    /// Seed of the sensors' noise (with --member: seed of the campaign)
    #[arg(long, default_value_t = 1, allow_negative_numbers = true, value_parser = whole::<u64>(0..=u64::MAX))]
    seed: u64,
    /// Replay this run of a campaign over the same scenario
    #[arg(long, value_name = "RUN", allow_negative_numbers = true, value_parser = whole::<u64>(0..=MOST_RUNS - 1))]
    member: Option<u64>,
    /// Spread of that campaign, where it was not the built-in one
    #[arg(long, value_name = "SPREAD.toml", requires = "member")]
    spread: Option<PathBuf>,
    /// Also show the best found with foresight: a search that knows the whole run, over wanted openings under the same
    /// limits. Takes some two minutes for each 10 s of scenario; fewer generations take less and find less. With
    /// --member on that run's engine
    #[arg(long, value_name = "GENERATIONS", num_args = 0..=1, require_equals = true, default_missing_value = "30",
        allow_negative_numbers = true, value_parser = whole::<usize>(1..=10_000))]
    foresight: Option<usize>,
    /// Folder for the page, the CSV files and the JSON
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
}

/// Runs in a picture, told apart.
const INKS: [Ink; 4] = [Ink::Main, Ink::Closing, Ink::Opening, Ink::Other];

/// A run and what came of it.
struct ShownRun {
    name: String,
    label: String,
    controller: String,
    parts: Option<PartsOfRun>,
    outcome: RunOutcome,
}

/// Runs the scenario with each turbo under each controller and shows them side by side.
///
/// # Errors
/// A [`Failure`] that names the file and field, or the time at which the simulated world ran away.
pub fn run(args: &Args, console: &Console) -> VerbResult {
    let Some(name) = &args.scenario else { return list(console) };
    let mut scenario = scenario(name)?;
    if let Some(actuator) = args.actuator {
        actuator.put_into(&mut scenario.world).map_err(Failure::usage)?;
    }
    let mut setups = setups(args, &scenario)?;
    draw_member(args, &mut setups)?;
    let folder = args.out.as_deref().map(|dir| OutFolder::claim(dir, Maker::Simulate)).transpose()?;
    let best = args.foresight.map(|generations| foresight::search(&setups, generations, console));
    let best = best.transpose()?;
    let (progress, wanted) = (ProgressLine::begin(console, &scenario.name), setups.len() as u64);
    let mut shown = Vec::new();
    for (done, setup) in setups.into_iter().enumerate() {
        progress.set(done as u64, wanted);
        let outcome = one_run(&setup)?;
        let RunParts { name, label, controller, parts, .. } = setup;
        shown.push(ShownRun { name, label, controller, parts, outcome });
    }
    drop(progress);
    let best = best.map(|best| best.shown_beside(&mut shown));
    let told = document(args, &scenario, &shown, best);
    if let Some(folder) = folder {
        let dir = folder.dir().display().to_string();
        write_out(folder, &scenario, &shown, &told)?;
        console.note(&format!("written to {dir}"));
    }
    let passed = limits_passed(&shown);
    console.result(&text(args, (&scenario, &shown), &told, Fold::of_the_reader()), &told)?;
    Ok(if passed.is_empty() { Exit::Done } else { Exit::OutOfLimits })
}

fn list(console: &Console) -> VerbResult {
    let mut listed = Vec::new();
    for built_in in builtins() {
        let scenario = built_in.scenario().map_err(Failure::usage)?;
        listed.push(ScenarioRow {
            name: scenario.name,
            about: scenario.about,
            duration_s: scenario.duration_s,
        });
    }
    let rows: Vec<_> = listed.iter().map(|row| vec![row.name.clone(), row.about.clone()]).collect();
    console.result(&Fold::of_the_reader().table(&rows), &ScenariosDocument { scenarios: listed })?;
    Ok(Exit::Done)
}

/// The scenario of that name: built in, or a file.
pub(super) fn scenario(name: &str) -> Result<Scenario, Failure> {
    if let Some(built_in) = BuiltIn::named(name) {
        return built_in.scenario().map_err(Failure::usage);
    }
    let path = Path::new(name);
    if path.extension().is_none() && !path.exists() {
        let names: Vec<&str> = builtins().iter().map(|built_in| built_in.name).collect();
        let allowed = names.join(", ");
        return Err(Failure::usage(format!(
            "no scenario `{}`; built in: {allowed}; or give the path of a TOML file",
            brief(name)
        )));
    }
    Scenario::load(path).map_err(Failure::usage)
}

/// The spread in a file, or the built-in one.
pub(super) fn spread(file: Option<&PathBuf>) -> Result<Spread, Failure> {
    let Some(path) = file else { return Ok(Spread::default()) };
    let file = TomlFile::read(path).map_err(Failure::usage)?;
    Spread::from_toml(file.text(), file.name()).map_err(Failure::usage)
}

/// With `--member`, puts the engine and the noise of that run of the campaign into every setup.
fn draw_member(args: &Args, setups: &mut [RunParts]) -> Result<(), Failure> {
    let Some(run) = args.member else { return Ok(()) };
    let spread = spread(args.spread.as_ref())?;
    for setup in setups {
        let (scenario, settings, keep) = (setup.scenario.clone(), setup.settings, KeepRuns::None);
        let plan = CampaignPlan { scenario, settings, spread, seed: args.seed, runs: run + 1, keep };
        (setup.scenario.world, setup.noise_seed) = campaign::member(&plan, run);
    }
    Ok(())
}

fn one_run(RunParts { scenario, settings, noise_seed, .. }: &RunParts) -> Result<RunOutcome, Failure> {
    let outcome = run_world(scenario, &scenario.world, settings, *noise_seed, Record::EveryTicks(10));
    outcome.map_err(|error| match error {
        RunError::World(_) | RunError::Settings(_) => Failure::usage(error),
        RunError::Start(_) | RunError::Diverged(_) => Failure::undetermined(error),
    })
}

fn document<'a>(
    args: &Args,
    scenario: &'a Scenario,
    shown: &'a [ShownRun],
    foresight: Option<ForesightTold>,
) -> SimulationDocument<'a> {
    let runs = shown.iter().map(|run| SimulatedRun {
        controller: &run.controller,
        parts: run.parts.as_ref(),
        metrics: &run.outcome.metrics,
        faults: run.outcome.faults.iter().collect(),
        guard_events: run
            .outcome
            .events
            .iter()
            .map(|e| SimulatedEvent { t_s: e.t_s, event: e.event })
            .collect(),
    });
    SimulationDocument {
        scenario: &scenario.name,
        seed: args.seed,
        member: args.member,
        runs: runs.collect(),
        foresight,
    }
}

/// A metric of a run in a table.
fn cell(column: &MetricColumn, run: &ShownRun) -> String {
    (column.value)(&run.outcome.metrics).map_or_else(|| "–".to_owned(), |value| shown_to(value, column.step))
}

/// Every limit that was passed, and under what.
fn limits_passed(shown: &[ShownRun]) -> Vec<String> {
    let of = |run: &ShownRun| {
        let passed = run.outcome.metrics.limits_passed().into_iter();
        passed
            .map(|(limit, over_s)| format!("{limit} under {} for {over_s:.3} s", run.name))
            .collect::<Vec<_>>()
    };
    shown.iter().flat_map(of).collect()
}

/// What it comes to, in a line.
fn verdict(shown: &[ShownRun]) -> String {
    let passed = limits_passed(shown);
    if passed.is_empty() {
        "WITHIN LIMITS: no limit of the scenario was passed".to_owned()
    } else {
        format!("OUT OF LIMITS: passed {}", passed.join("; "))
    }
}

fn text(
    args: &Args,
    (scenario, shown): (&Scenario, &[ShownRun]),
    told: &SimulationDocument<'_>,
    fold: Fold,
) -> String {
    let verdict = verdict(shown);
    let mut lines = vec![verdict.clone(), format!("{}: {}", scenario.name, scenario.about)];
    let member = args.member.map_or_else(String::new, |run| format!(", run {run} of its campaign"));
    lines.push(format!("{} s, seed {}{member}; simulated, nothing moved", scenario.duration_s, args.seed));
    for (names, parts) in words::turbos(shown) {
        lines.extend(parts.lines().iter().map(|line| format!("  {names}: {line}")));
    }
    lines.extend([String::new(), fold.table(&metric_rows(shown)), String::new()]);
    for run in shown {
        lines.push(format!("  guard under {}: {}", run.name, words::guard_line(run)));
        lines.push(format!("  faults seen under {}: {}", run.name, words::faults_line(run)));
    }
    lines.extend(told.foresight.iter().map(|told| format!("  {}", foresight::how_far(told))));
    if shown.iter().any(|run| run.parts.is_some()) {
        lines.push(format!("  {ON_WHAT_GROUND}"));
    }
    lines.push(verdict);
    lines.join("\n")
}

/// A row for each metric that any run has, a column for each run.
fn metric_rows(shown: &[ShownRun]) -> Vec<Vec<String>> {
    let head = std::iter::once("metric".to_owned()).chain(shown.iter().map(|run| run.name.clone()));
    let is_had =
        |column: &&MetricColumn| shown.iter().any(|run| (column.value)(&run.outcome.metrics).is_some());
    let row = |column: &MetricColumn| {
        let cells = shown.iter().map(|run| cell(column, run).replace(' ', "\u{a0}"));
        std::iter::once(format!("{}, {}", column.name, column.unit)).chain(cells).collect()
    };
    std::iter::once(head.collect()).chain(METRICS.iter().filter(is_had).map(row)).collect()
}

fn write_out(
    folder: OutFolder,
    scenario: &Scenario,
    shown: &[ShownRun],
    told: &SimulationDocument<'_>,
) -> Result<(), Failure> {
    let json = document::text(told)?;
    let page = page::page(scenario, shown, told).render().map_err(Failure::undetermined)?;
    let mut texts: Vec<_> =
        shown.iter().map(|run| (format!("{}.csv", run.name), run.outcome.trace.to_csv())).collect();
    texts.extend([("simulate.json".to_owned(), json), ("simulate.html".to_owned(), page)]);
    let files: Vec<_> = texts.iter().map(|(name, text)| (name.as_str(), text.as_bytes())).collect();
    folder.replace(&files)
}
