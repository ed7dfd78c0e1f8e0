//! The page of `simulate`: every run in the same pictures, then the metrics side by side.

use firmware_core::faults::FaultSet;
use study::metrics::METRICS;
use study::run::TimedFaults;
use study::scenario::Scenario;
use study::trace::TraceRow;

use super::{INKS, ON_WHAT_GROUND, ShownRun, cell, foresight, spans, words};
use crate::caution::CAUTIONS;
use crate::document::SimulationDocument;
use crate::report::{Axis, Chart, ChartMark, EventKind, Ink, Report, Section, Table};

/// One picture with a line for each run, and on each line what guard and fault detection did.
fn chart(title: &str, axis: Axis, shown: &[ShownRun], value: fn(&TraceRow) -> f64) -> Chart {
    let start = Chart::new(title, Axis::fit("time, s"), axis);
    let lines = shown.iter().zip(INKS.iter().cycle()).fold(start, |chart, (run, ink)| {
        let points = run.outcome.trace.rows.iter().map(|row| (row.t_s, value(row))).collect();
        chart.trace(&run.label, *ink, points)
    });
    shown.iter().fold(lines, |chart, run| {
        let outcome = &run.outcome;
        let at = |t_s: f64| value_at(&outcome.trace.rows, t_s, value).map(|value| (t_s, value));
        let changes = outcome.events.iter().filter_map(|timed| at(timed.t_s)).collect();
        let seen = onsets(&outcome.fault_changes).into_iter().filter_map(at).collect();
        let of = if shown.len() > 1 { run.label.as_str() } else { "" };
        let chart = chart.events("guard changes its stage", of, EventKind::Guard, changes);
        chart.events("controller sees a fault", of, EventKind::Fault, seen)
    })
}

/// The value of the last row up to a time.
fn value_at(rows: &[TraceRow], t_s: f64, value: fn(&TraceRow) -> f64) -> Option<f64> {
    let later = rows.partition_point(|row| row.t_s <= t_s);
    rows.get(later.saturating_sub(1)).map(value)
}

/// When a fault was seen that was not seen just before.
fn onsets(changes: &[TimedFaults]) -> Vec<f64> {
    let mut before = FaultSet::NONE;
    let mut onsets = Vec::new();
    for change in changes {
        if change.faults.union(before) != before {
            onsets.push(change.t_s);
        }
        before = change.faults;
    }
    onsets
}

/// The boost picture of a single run also says what the guard did, the first few times; of several the lanes say it.
fn with_stages(chart: Chart, shown: &[ShownRun]) -> Chart {
    const NAMED: usize = 4;
    let [run] = shown else { return chart };
    run.outcome.events.iter().take(NAMED).fold(chart, |chart, timed| {
        let boost = |row: &TraceRow| row.boost_kpa;
        let Some(y) = value_at(&run.outcome.trace.rows, timed.t_s, boost) else { return chart };
        let text = words::short_stage(timed.event.to).to_owned();
        chart.with(ChartMark::Label { x: timed.t_s, y, ink: Ink::Limit, text })
    })
}

/// Every run in the same pictures.
fn pictures(scenario: &Scenario, shown: &[ShownRun]) -> Section {
    let limits = &scenario.limits;
    let wanted = shown.first().map(|run| {
        run.outcome.trace.rows.iter().map(|row| (row.t_s, row.boost_target_kpa)).collect::<Vec<_>>()
    });
    let boost = chart("Boost", Axis::fit("boost, kPa absolute"), shown, |row| row.boost_kpa)
        .line("wanted", Ink::Command, wanted.unwrap_or_default())
        .level(limits.boost_kpa, Ink::Limit, "limit");
    let boost = with_stages(boost, shown);
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
    let pictures = Section::new("Runs").text(&scenario.about).charts([boost]);
    let pictures = match spans::spans(scenario, shown) {
        Some(spans) => pictures.spans(spans),
        None => pictures.text("The controller saw no fault and its guard never stepped in."),
    };
    pictures
        .charts([opening.half(), turbo.half()])
        .charts([exhaust.half(), fuel.half()])
        .charts([current.half()])
}

/// The page.
pub(super) fn page(scenario: &Scenario, shown: &[ShownRun], told: &SimulationDocument<'_>) -> Report {
    let mut facts = vec![
        ("scenario".to_owned(), scenario.name.clone()),
        ("seed".to_owned(), told.seed.to_string()),
        (
            "engine and actuator".to_owned(),
            "invented bench unit A unless the scenario says otherwise".to_owned(),
        ),
    ];
    let turbos = words::turbos(shown);
    facts.extend(turbos.iter().map(|(names, parts)| (format!("turbo of {names}"), parts.name.clone())));
    let described = turbos.iter().map(|(names, parts)| format!("{names}: {}", parts.lines().join("; ")));
    let described = described.fold(Section::new("Turbos"), |section, line| section.text(&line));
    let described = (!turbos.is_empty()).then_some(described);
    let grounds = (!turbos.is_empty()).then(|| ON_WHAT_GROUND.to_owned());
    Report {
        subject: scenario.name.clone(),
        kind: "simulation".to_owned(),
        facts,
        verdict: None,
        sections: [
            Some(pictures(scenario, shown)),
            Some(metrics_section(shown)),
            traded(shown, told),
            described,
        ]
        .into_iter()
        .flatten()
        .collect(),
        sheet: None,
        cautions: core::iter::once(
            "Simulated: a good run here is no proof on an engine. Surge is not modelled.",
        )
        .chain(CAUTIONS)
        .map(str::to_owned)
        .chain(grounds)
        .collect(),
    }
}

/// What each run pays in travel for its boost; of a single run there is nothing to compare.
fn traded(shown: &[ShownRun], told: &SimulationDocument<'_>) -> Option<Section> {
    let chart = foresight::picture(shown, told.foresight.as_ref());
    let section = Section::new("Boost against wear").charts([chart]);
    let section =
        told.foresight.iter().fold(section, |section, told| section.text(&foresight::how_far(told)));
    (shown.len() > 1).then_some(section)
}

fn metrics_section(shown: &[ShownRun]) -> Section {
    let heads: Vec<&str> =
        core::iter::once("metric").chain(shown.iter().map(|run| run.label.as_str())).collect();
    let table = Table::new(&heads).captioned("Metrics of each run");
    let table = METRICS.iter().fold(table, |table, column| {
        let name = format!("{}, {}", column.name, column.unit);
        let values = shown.iter().map(|run| cell(column, run));
        table.row(core::iter::once(name).chain(values))
    });
    let guards = shown.iter().map(|run| format!("{}, guard: {}.", run.label, words::guard_line(run)));
    guards.fold(Section::new("Metrics").table(table), |section, line| section.text(&line))
}
