//! The page of `simulate`: every run in the same pictures, then the metrics side by side.

use study::metrics::METRICS;
use study::scenario::Scenario;
use study::trace::TraceRow;

use super::{ON_WHAT_GROUND, Shown, cell, words};
use crate::caution::CAUTIONS;
use crate::document::SimulationDocument;
use crate::report::{Axis, Chart, Ink, Report, Section, Table};

const INKS: [Ink; 4] = [Ink::Main, Ink::Closing, Ink::Opening, Ink::Other];

/// One picture with a line for each run.
fn chart(title: &str, axis: Axis, shown: &[Shown], value: fn(&TraceRow) -> f64) -> Chart {
    let start = Chart::new(title, Axis::fit("time, s"), axis);
    shown.iter().zip(INKS.iter().cycle()).fold(start, |chart, (run, ink)| {
        let points = run.outcome.trace.rows.iter().map(|row| (row.t_s, value(row))).collect();
        chart.line(&run.name, *ink, points)
    })
}

/// The page.
pub(super) fn page(scenario: &Scenario, shown: &[Shown], told: &SimulationDocument<'_>) -> Report {
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
        sections: [Some(pictures), Some(metrics_section(shown)), described].into_iter().flatten().collect(),
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

fn metrics_section(shown: &[Shown]) -> Section {
    let heads: Vec<&str> =
        core::iter::once("metric").chain(shown.iter().map(|run| run.name.as_str())).collect();
    let table = METRICS.iter().fold(Table::new(&heads), |table, column| {
        let name = format!("{}, {}", column.name, column.unit);
        let values = shown.iter().map(|run| cell(column, run));
        table.row(core::iter::once(name).chain(values))
    });
    let guards = shown.iter().map(|run| format!("Guard under {}: {}.", run.name, words::guard_line(run)));
    guards.fold(Section::new("Metrics").table(table), |section, line| section.text(&line))
}
