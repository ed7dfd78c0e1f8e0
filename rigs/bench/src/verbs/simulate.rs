//! `simulate`: one scenario under one or several controller settings, side by side.
//!
//! In: a scenario (built in or a file), controller settings, a seed. Out: one table of metrics, and with
//! `--out` one page with all runs in the same pictures, a CSV for each run and one JSON. Nothing moves.

use std::path::{Path, PathBuf};

use firmware_core::settings::Settings;
use host_sim::campaign::{self, CampaignPlan, Spread};
use host_sim::metrics::{METRICS, Metrics};
use host_sim::run::{Record, RunError, RunOutcome, TraceRow, run_world};
use host_sim::scenario::{BuiltIn, Scenario, builtins};
use serde::Serialize;

use crate::caution::CAUTIONS;
use crate::console::Console;
use crate::exit::{Exit, Failure, VerbResult};
use crate::record::write_whole;
use crate::report::{Axis, Chart, Ink, Report, Section, Table};
use crate::toml_file::TomlFile;

/// What `simulate` takes.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Name of a built-in scenario or path of a TOML file; without one, the built-in ones are listed
    scenario: Option<String>,
    /// Controller settings to try, a TOML file each; without any, the built-in settings
    #[arg(long = "with", value_name = "CONTROLLER.toml")]
    with: Vec<PathBuf>,
    /// Seed of the sensors' noise (with --member: seed of the campaign)
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Replay this run of a campaign over the same scenario
    #[arg(long, value_name = "RUN")]
    member: Option<u64>,
    /// Spread of that campaign, where it was not the built-in one
    #[arg(long, value_name = "SPREAD.toml", requires = "member")]
    spread: Option<PathBuf>,
    /// Folder for the page, the CSV files and the JSON
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
}

#[derive(Debug, Serialize)]
struct Listed {
    name: String,
    about: String,
    duration_s: f64,
}

/// One controller's run.
struct Shown {
    controller: String,
    outcome: RunOutcome,
}

#[derive(Debug, Serialize)]
struct ToldEvent {
    t_s: f64,
    event: firmware_core::guard::GuardEvent,
}

#[derive(Debug, Serialize)]
struct ToldRun<'a> {
    controller: &'a str,
    metrics: &'a Metrics,
    guard_events: Vec<ToldEvent>,
    faults: Vec<firmware_core::faults::Fault>,
}

#[derive(Debug, Serialize)]
struct Told<'a> {
    scenario: &'a str,
    seed: u64,
    member: Option<u64>,
    runs: Vec<ToldRun<'a>>,
}

/// Runs the scenario under each controller and shows them side by side.
///
/// # Errors
/// A [`Failure`] that names the file and field, or the time at which the simulated world ran away.
pub fn run(args: &Args, console: &Console) -> VerbResult {
    let Some(name) = &args.scenario else { return list(console) };
    let scenario = scenario(name)?;
    let mut shown = Vec::new();
    for (controller, settings) in controllers(&args.with)? {
        let outcome = one_run(args, &scenario, settings)?;
        shown.push(Shown { controller, outcome });
    }
    let told = told(args, &scenario, &shown);
    if let Some(dir) = &args.out {
        write_out(dir, &scenario, &shown, &told)?;
        console.note(&format!("written to {}", dir.display()));
    }
    console.result(&text(args, &scenario, &shown), &told);
    Ok(Exit::Done)
}

fn list(console: &Console) -> VerbResult {
    let mut listed = Vec::new();
    for built_in in builtins() {
        let scenario = built_in.scenario().map_err(Failure::usage)?;
        listed.push(Listed { name: scenario.name, about: scenario.about, duration_s: scenario.duration_s });
    }
    let lines: Vec<String> = listed.iter().map(|l| format!("{:<15} {}", l.name, l.about)).collect();
    console.result(&lines.join("\n"), &listed);
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
            "no scenario `{name}`; built in: {allowed}; or give the path of a TOML file"
        )));
    }
    Scenario::load(path).map_err(Failure::usage)
}

/// Every controller with the name it goes by.
pub(super) fn controllers(files: &[PathBuf]) -> Result<Vec<(String, Settings)>, Failure> {
    if files.is_empty() {
        return Ok(vec![("built-in".to_owned(), Settings::default())]);
    }
    files
        .iter()
        .map(|path| {
            let file = TomlFile::read(path).map_err(Failure::usage)?;
            let settings: Settings = file.parse().map_err(Failure::usage)?;
            settings.validate().map_err(|error| {
                let allowed = format!("allowed {} to {}", error.range.min, error.range.max);
                let next = "Correct this line and run again; nothing was run.";
                Failure::usage(file.refuse(error.field, allowed, next))
            })?;
            let stem =
                path.file_stem().map_or_else(|| path.display().to_string(), |s| s.to_string_lossy().into());
            Ok((stem, settings))
        })
        .collect()
}

/// The spread in a file, or the built-in one.
pub(super) fn spread(file: Option<&PathBuf>) -> Result<Spread, Failure> {
    let Some(path) = file else { return Ok(Spread::default()) };
    let text = host_sim::settings_file::text_of(path).map_err(Failure::usage)?;
    Spread::from_toml(&text, &path.display().to_string()).map_err(Failure::usage)
}

fn one_run(args: &Args, scenario: &Scenario, settings: Settings) -> Result<RunOutcome, Failure> {
    let record = Record::EveryTicks(10);
    let outcome = match args.member {
        None => run_world(scenario, &scenario.world, &settings, args.seed, record),
        Some(run) => {
            let spread = spread(args.spread.as_ref())?;
            let plan =
                CampaignPlan { scenario: scenario.clone(), settings, spread, seed: args.seed, runs: run + 1 };
            campaign::replay(&plan, run, record)
        }
    };
    outcome.map_err(|error| match error {
        RunError::World(_) | RunError::Settings(_) => Failure::usage(error),
        RunError::Start(_) | RunError::Diverged(_) => Failure::undetermined(error),
    })
}

fn told<'a>(args: &Args, scenario: &'a Scenario, shown: &'a [Shown]) -> Told<'a> {
    let runs = shown.iter().map(|run| ToldRun {
        controller: &run.controller,
        metrics: &run.outcome.metrics,
        faults: run.outcome.faults.iter().collect(),
        guard_events: run.outcome.events.iter().map(|e| ToldEvent { t_s: e.t_s, event: e.event }).collect(),
    });
    Told { scenario: &scenario.name, seed: args.seed, member: args.member, runs: runs.collect() }
}

/// A metric's value in a table.
fn cell(value: Option<f64>) -> String {
    value.map_or_else(|| "–".to_owned(), |value| format!("{value:.3}"))
}

fn text(args: &Args, scenario: &Scenario, shown: &[Shown]) -> String {
    let mut lines = vec![format!("{}: {}", scenario.name, scenario.about)];
    let member = args.member.map_or_else(String::new, |run| format!(", run {run} of its campaign"));
    lines.push(format!("{} s, seed {}{member}; simulated, nothing moved", scenario.duration_s, args.seed));
    let heads: Vec<String> = shown.iter().map(|run| format!("{:>16}", run.controller)).collect();
    lines.push(format!("  {:<34}{}", "", heads.join("")));
    for column in METRICS {
        let values: Vec<Option<f64>> = shown.iter().map(|run| (column.value)(&run.outcome.metrics)).collect();
        if values.iter().any(Option::is_some) {
            let cells: Vec<String> = values.into_iter().map(|value| format!("{:>16}", cell(value))).collect();
            lines.push(format!("  {:<34}{}", format!("{}, {}", column.name, column.unit), cells.join("")));
        }
    }
    for run in shown {
        lines.push(format!("  guard under {}: {}", run.controller, guard_line(run)));
        lines.push(format!("  faults seen under {}: {}", run.controller, faults_line(run)));
    }
    lines.join("\n")
}

fn guard_line(run: &Shown) -> String {
    const NAMED: usize = 4;
    let events = &run.outcome.events;
    if events.is_empty() {
        return "never stepped in".to_owned();
    }
    let named = events
        .iter()
        .take(NAMED)
        .map(|e| format!("{:.2} s {:?} to {:?} ({:?})", e.t_s, e.event.from, e.event.to, e.event.cause));
    let more = events.len().saturating_sub(NAMED);
    let tail = if more > 0 { format!("; and {more} more") } else { String::new() };
    format!("{}{tail}", named.collect::<Vec<_>>().join("; "))
}

/// Faults that the controller saw, by name.
fn faults_line(run: &Shown) -> String {
    let names: Vec<String> = run.outcome.faults.iter().map(|fault| format!("{fault:?}")).collect();
    if names.is_empty() { "none".to_owned() } else { names.join(", ") }
}

fn write_out(dir: &Path, scenario: &Scenario, shown: &[Shown], told: &Told<'_>) -> Result<(), Failure> {
    let cannot = |error: std::io::Error| {
        Failure::usage(format!("{}: cannot be made ({error}); give another folder", dir.display()))
    };
    std::fs::create_dir_all(dir).map_err(cannot)?;
    for run in shown {
        let file = dir.join(format!("{}.csv", run.controller));
        write_whole(&file, run.outcome.trace.to_csv().as_bytes()).map_err(Failure::undetermined)?;
    }
    let json = serde_json::to_string_pretty(told).map_err(Failure::undetermined)?;
    write_whole(&dir.join("simulate.json"), json.as_bytes()).map_err(Failure::undetermined)?;
    let page = page(scenario, shown, told).render().map_err(Failure::undetermined)?;
    write_whole(&dir.join("simulate.html"), page.as_bytes()).map_err(Failure::undetermined)
}

const INKS: [Ink; 4] = [Ink::Main, Ink::Other, Ink::Opening, Ink::Closing];

/// One picture with a line for each run.
fn chart(title: &str, axis: Axis, shown: &[Shown], value: fn(&TraceRow) -> f64) -> Chart {
    let start = Chart::new(title, Axis::fit("time, s"), axis);
    shown.iter().zip(INKS.iter().cycle()).fold(start, |chart, (run, ink)| {
        let points = run.outcome.trace.rows.iter().map(|row| (row.t_s, value(row))).collect();
        chart.line(&run.controller, *ink, points)
    })
}

fn page(scenario: &Scenario, shown: &[Shown], told: &Told<'_>) -> Report {
    let limits = &scenario.limits;
    let wanted = shown.first().map(|run| {
        run.outcome.trace.rows.iter().map(|row| (row.t_s, row.boost_target_kpa)).collect::<Vec<_>>()
    });
    let boost = chart("Boost", Axis::fit("boost, kPa absolute"), shown, |row| row.boost_kpa)
        .line("wanted", Ink::Command, wanted.unwrap_or_default())
        .level(limits.boost_kpa, Ink::Limit, "limit");
    let opening = chart("Opening", Axis::fixed("opening, fraction", 0.0, 1.0), shown, |row| row.opening);
    let turbo = chart("Turbo speed", Axis::fit("turbo speed, rpm"), shown, |row| row.turbo_rpm).level(
        limits.turbo_rpm,
        Ink::Limit,
        "limit",
    );
    let exhaust = chart("Exhaust pressure", Axis::fit("exhaust, kPa absolute"), shown, |row| row.exhaust_kpa)
        .level(limits.exhaust_kpa, Ink::Limit, "limit");
    let fuel = chart("Fuel delivered", Axis::with_zero("fuel, mg per stroke"), shown, |row| row.fuel_mg);
    let current = chart("Motor current", Axis::fit("current toward open, A"), shown, |row| row.current_a);
    let pictures = Section::new("Runs")
        .text(&scenario.about)
        .charts([boost])
        .charts([opening.half(), turbo.half()])
        .charts([exhaust.half(), fuel.half()])
        .charts([current.half()]);
    Report {
        subject: scenario.name.clone(),
        kind: "simulation".to_owned(),
        facts: vec![
            ("scenario".to_owned(), scenario.name.clone()),
            ("seed".to_owned(), told.seed.to_string()),
            (
                "engine and actuator".to_owned(),
                "invented bench unit A unless the scenario says otherwise".to_owned(),
            ),
        ],
        verdict: None,
        sections: vec![pictures, metrics_section(shown)],
        sheet: None,
        cautions: core::iter::once(
            "Simulated: a good run here is no proof on an engine. Surge is not modelled.",
        )
        .chain(CAUTIONS)
        .map(str::to_owned)
        .collect(),
    }
}

fn metrics_section(shown: &[Shown]) -> Section {
    let heads: Vec<&str> =
        core::iter::once("metric").chain(shown.iter().map(|run| run.controller.as_str())).collect();
    let table = METRICS.iter().fold(Table::new(&heads), |table, column| {
        let name = format!("{}, {}", column.name, column.unit);
        let values = shown.iter().map(|run| cell((column.value)(&run.outcome.metrics)));
        table.row(core::iter::once(name).chain(values))
    });
    let guards = shown.iter().map(|run| format!("Guard under {}: {}.", run.controller, guard_line(run)));
    guards.fold(Section::new("Metrics").table(table), |section, line| section.text(&line))
}
