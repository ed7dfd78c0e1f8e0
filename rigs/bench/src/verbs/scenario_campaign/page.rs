//! The page of `campaign SCENARIO`: how every metric spreads over the runs, in pictures and in a table.

use study::campaign::{CampaignStats, MetricSpread};

use super::words::{HEAD, RUNS_NOTE, answer, metric_row};
use super::{ON_WHAT_GROUND, ScenarioTold};
use crate::caution::CAUTIONS;
use crate::report::{Axis, Chart, ChartMark, Ink, Report, Section, Table};

/// Least way between two points of a line, as a share of its picture.
const LEAST_WAY: f64 = 0.0025;

/// The page.
pub(super) fn page(told: &ScenarioTold, stats: &CampaignStats) -> Report {
    let mut facts = vec![
        ("scenario".to_owned(), told.scenario.clone()),
        ("runs".to_owned(), stats.runs().to_string()),
        ("could not be finished".to_owned(), stats.failures().to_string()),
        ("seed".to_owned(), told.seed.to_string()),
        ("engines and actuators".to_owned(), "invented; simulated, nothing was moved".to_owned()),
    ];
    facts.extend(told.parts.iter().map(|parts| ("turbo".to_owned(), parts.name.clone())));
    let grounds = told.parts.as_ref().map(|_| ON_WHAT_GROUND.to_owned());
    let cautions =
        std::iter::once("Simulated: a good campaign here is no proof on an engine. Surge is not modelled.")
            .chain(CAUTIONS)
            .map(str::to_owned)
            .chain(grounds)
            .collect();
    Report {
        subject: told.scenario.clone(),
        kind: "campaign".to_owned(),
        facts,
        verdict: None,
        sections: [Some(spreads(told, stats)), Some(metrics(told, stats)), failed(stats)]
            .into_iter()
            .flatten()
            .collect(),
        sheet: None,
        cautions,
    }
}

/// A picture of each metric in which the runs differ.
fn spreads(told: &ScenarioTold, stats: &CampaignStats) -> Section {
    let spreads = stats.spreads();
    let differs = |spread: &&MetricSpread| spread.summary.most > spread.summary.least;
    let charts = spreads.iter().filter(differs).map(chart);
    let described = told.parts.iter().flat_map(|parts| parts.lines());
    let text = "Each picture: the share of the runs that lie at or below a value, with the median marked. \
        A steep line is a narrow spread; a long foot or head means a few runs far from the rest.";
    let answer = format!("{}.", answer(told, stats));
    let start = Section::new("How the runs spread").text(&told.about).text(&answer).text(text);
    described.fold(start, |section, line| section.text(&line)).charts(charts)
}

fn chart(spread: &MetricSpread) -> Chart {
    let summary = &spread.summary;
    let label = format!("{}, {}", summary.name, summary.unit);
    let points = thinned(&spread.shares).into_iter().map(|(value, share)| (value, 100.0 * share)).collect();
    Chart::new(&sentence(summary.name), Axis::fit(&label), Axis::fixed("runs at or below, %", 0.0, 100.0))
        .line("", Ink::Main, points)
        .with(ChartMark::Drop { x: summary.q50, y: 50.0, label: "median".to_owned() })
        .half()
}

fn sentence(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// The points that a person can tell apart, and both ends.
fn thinned(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let [first, .., last] = points else { return points.to_vec() };
    let wide = (last.0 - first.0).max(f64::MIN_POSITIVE);
    let mut kept: Vec<(f64, f64)> = Vec::new();
    for point in points {
        let is_far = kept.last().is_none_or(|last: &(f64, f64)| {
            (point.0 - last.0) / wide >= LEAST_WAY || point.1 - last.1 >= LEAST_WAY
        });
        if is_far {
            kept.push(*point);
        }
    }
    if kept.last() != Some(last) {
        kept.push(*last);
    }
    kept
}

fn metrics(told: &ScenarioTold, stats: &CampaignStats) -> Section {
    let rows = stats.table();
    let table = rows.iter().fold(Table::new(&HEAD), |table, row| table.row(metric_row(row)));
    Section::new("Metrics")
        .table(table)
        .text(&format!("{}.", sentence(RUNS_NOTE)))
        .text(&format!("Replay one of the worst runs, or any other, with: {}", told.replay))
}

fn failed(stats: &CampaignStats) -> Option<Section> {
    let rows = stats.failed();
    let table = rows.iter().fold(Table::new(&["run", "why it could not be finished"]), |table, run| {
        table.row([run.run.to_string(), run.reason.clone()])
    });
    (!rows.is_empty()).then(|| Section::new("Runs that could not be finished").table(table))
}
