//! The report of a match: side-by-side table, areas, opening map, boost responses, tornado.

use parts::matching::{AirComparison, Bar, ENTERS, Sensitivity, Side, Study};

use parts::{ToleranceOrigin, ValueOrigin};

use super::engine::BARE_AIR_PATH;
use super::{engine as engine_words, gauge, limits, text};
use crate::caution::CAUTIONS;
use crate::document::MatchDocument;
use crate::number::number;
use crate::report::{Axis, Chart, ChartMark, Ink, Report, Section, Table};

/// Bars of the tornado that the picture shows.
const BARS_SHOWN: usize = 8;
/// Spacing of the boost trace, s.
const TRACE_S: f64 = 0.1;

/// The report.
pub(super) fn report(told: &MatchDocument) -> Report {
    let study = &told.study;
    Report {
        subject: format!("{} → {}", study.old.name, study.new.name),
        kind: "parts and match".into(),
        facts: vec![
            ("old turbo".into(), study.old.note.clone()),
            ("new turbo".into(), study.new.note.clone()),
        ],
        verdict: None,
        sections: sections(told),
        sheet: None,
        cautions: CAUTIONS.iter().map(ToString::to_string).collect(),
    }
}

/// The answer on two printed pages, then what it rests on.
fn sections(told: &MatchDocument) -> Vec<Section> {
    let study = &told.study;
    let mut sections = vec![
        answer(study),
        gauge_job(study),
        rings(study),
        pictures(study),
        engine(told).on_new_page(),
        compressors(study),
        tolerances(&study.sensitivity),
        map(study),
        settings(told),
    ];
    sections.extend(pendulum(study).into_iter().chain(travel(told)));
    sections.push(figures(study));
    sections
}

fn answer(study: &Study) -> Section {
    Section::new("Answer")
        .table(table_of(super::answer::rows(study)))
        .table(table_of(super::answer::numbers(study)))
}

fn rings(study: &Study) -> Section {
    Section::new("Both rings, to one scale")
        .text("Vanes, first throat (red) and turbine wheel (inlet and exducer) from the sheets; the new ring's closed stop as it is to be set.")
        .drawing(super::drawing::rings(study))
}

fn gauge_job(study: &Study) -> Section {
    Section::new("What to set on the gauge").table(table_of(gauge::rows(&study.gauge)))
}

/// Area, map and the engine's response, side by side.
fn pictures(study: &Study) -> Section {
    let responses = study.air.iter().map(|run| response(run, study.plan.limits.boost_kpa));
    Section::new("Area and boost")
        .text(&format!(
            "Responses are simulated on an invented engine scaled to the old nozzle. {BARE_AIR_PATH} Equal \
             area is not equal boost: this ranks the parts and promises nothing about any engine."
        ))
        .charts([areas(study), openings(study)].into_iter().chain(responses))
}

fn pendulum(study: &Study) -> Option<Section> {
    Some(Section::new("Appendix: how to measure what was estimated").text(&gauge::pendulum(study)?))
}

fn compressors(study: &Study) -> Section {
    Section::new("Appendix: compressor")
        .table(table_of(super::compressor::margin_rows(study)))
        .table(table_of(super::compressor::coefficient_rows(study)))
        .table(table_of(super::compressor::potential_rows(study)))
        .text(&super::compressor::ground(study))
}

fn table_of(rows: Vec<Vec<String>>) -> Table {
    let whole = |row: Vec<String>| row.iter().map(|cell| cell.replace(" ± ", "\u{a0}±\u{a0}")).collect();
    let mut rows = rows.into_iter().map(whole);
    let head = rows.next().unwrap_or_default();
    Table { head, rows: rows.collect(), ..Table::default() }
}

fn figures(study: &Study) -> Section {
    let sources = study.old.figures.iter().fold(Table::new(&["figure", "formula", "source"]), |table, f| {
        table.row([f.name, f.formula, f.source])
    });
    let mut section = Section::new("Appendix: old and new side by side")
        .text("Value ± standard uncertainty (GUM, tolerances read as rectangular). * rests on values that were estimated, not measured; a tolerance with * was not stated and is taken by rule.")
        .table(table_of(text::figure_rows(study)))
        .table(sources);
    for side in [&study.old, &study.new] {
        section = section.table(values(side));
    }
    section
}

fn values(side: &Side) -> Table {
    let head = format!("{}, measured {}", side.name, side.measured_on);
    side.values.iter().fold(Table::new(&[&head, "value", "by", "with"]), |table, value| {
        let tolerance = match value.quantity.tolerance_origin {
            ToleranceOrigin::Stated => "",
            ToleranceOrigin::Estimated => " *",
        };
        let (by, with) = match &value.quantity.origin {
            ValueOrigin::Measured { by, with } => (by.as_str(), with.as_str()),
            ValueOrigin::Estimated { rule } => ("estimated *", rule.as_str()),
        };
        table.row([&value.field, &unbroken(&(text::quantity(value) + tolerance)), &unbroken(by), with])
    })
}

/// A value that stays on one line.
fn unbroken(value: &str) -> String {
    value.replace(' ', "\u{a0}")
}

fn areas(study: &Study) -> Chart {
    let curve = |side: &Side| side.area.iter().map(|p| (p.opening, p.effective_mm2)).collect();
    let band = |side: &Side| {
        side.area
            .iter()
            .map(|p| {
                (
                    p.opening,
                    p.effective_mm2 - p.standard_uncertainty_mm2,
                    p.effective_mm2 + p.standard_uncertainty_mm2,
                )
            })
            .collect()
    };
    Chart::new(
        "Effective nozzle area, stops as found, ± standard uncertainty",
        Axis::fixed("opening", 0.0, 1.0),
        Axis::with_zero("effective area, mm²"),
    )
    .band("", Ink::Other, band(&study.old))
    .band("", Ink::Main, band(&study.new))
    .line("old", Ink::Other, curve(&study.old))
    .line("new", Ink::Main, curve(&study.new))
    .half()
}

fn openings(study: &Study) -> Chart {
    let points = study.map.iter().map(|knot| (knot.old_opening, knot.new_opening)).collect();
    Chart::new(
        "New opening for the same area",
        Axis::fixed("opening in the calibration", 0.0, 1.0),
        Axis::fixed("opening of the new ring", 0.0, 1.0),
    )
    .line("unchanged", Ink::Command, vec![(0.0, 0.0), (1.0, 1.0)])
    .line("area matched", Ink::Main, points)
    .half()
}

fn map(study: &Study) -> Section {
    Section::new("Appendix: opening map").text(&text::verdict(study)).table(table_of(text::map_rows(study)))
}

fn settings(told: &MatchDocument) -> Section {
    Section::new("Appendix: controller settings")
        .text(
            "Maps of openings follow the opening map. Gains and rates in openings are multiplied by dA/du, \
             old over new. Rates that protect the engine are never lowered.",
        )
        .table(table_of(text::settings_rows(told)))
}

fn engine(told: &MatchDocument) -> Section {
    let enters =
        ENTERS.iter().fold(Table::new(&["what else enters besides area", "how"]), |table, (what, how)| {
            table.row([*what, *how])
        });
    let limits_held = limits::grounds(&told.study.plan.limits).join(" ");
    Section::new("Appendix: what the engine would see")
        .text("The air path has no surge; margins to it stand under the compressor.")
        .table(table_of(engine_words::same_boost_rows(&told.study)))
        .table(table_of(engine_words::cost_rows(&told.study)))
        .table(table_of(engine_words::change_rows(&told.study)))
        .table(table_of(engine_words::pressure_rows(&told.study)))
        .table(table_of(engine_words::wheel_rows(&told.study)))
        .text(&limits_held)
        .table(enters)
}

fn response(run: &AirComparison, limit_kpa: f64) -> Chart {
    let trace = |boost: &[f64]| {
        boost.iter().enumerate().map(|(at, kpa)| (at as f64 * TRACE_S, *kpa)).collect::<Vec<_>>()
    };
    let title = format!("{}, {:.0} rpm", run.point.name, run.point.speed_rpm);
    let chart = Chart::new(&title, Axis::fit("time after the step, s"), Axis::fit("boost, kPa absolute"))
        .line("old", Ink::Other, trace(&run.old.boost_trace_kpa))
        .line("new, not re-mapped", Ink::Command, trace(&run.new_before.boost_trace_kpa))
        .line("new, re-mapped", Ink::Main, trace(&run.new_after.boost_trace_kpa))
        .half();
    let near = |peak: f64| peak > 0.8 * limit_kpa;
    if near(run.old.boost_peak_kpa.max(run.new_before.boost_peak_kpa)) {
        chart.level(limit_kpa, Ink::Limit, "boost limit")
    } else {
        chart
    }
}

/// The tornado: one bar per value, longest at the top.
fn tornado(sensitivity: &Sensitivity) -> Chart {
    /// Half a bar's height; bars stand 1 apart.
    const HALF_BAR: f64 = 0.32;
    /// Left of the longest bar, and right of it for the names; shares of all bars' extent.
    const MARGIN: f64 = 0.05;
    const ROOM: f64 = 0.5;
    let bars: Vec<&Bar> = engine_words::bars_that_count(sensitivity).take(BARS_SHOWN).collect();
    let shown = bars.len();
    let ends = |bar: &Bar| (bar.low_kpa.min(bar.high_kpa), bar.low_kpa.max(bar.high_kpa));
    let (low, high) = bars.iter().fold((0.0_f64, 0.0_f64), |(low, high), bar| {
        let (left, right) = ends(bar);
        (low.min(left), high.max(right))
    });
    let chart = Chart::new(
        "Boost 1 s after tip-in, new less old, each error at both its ends",
        Axis::fixed("change of boost, kPa", low - MARGIN * (high - low), high + ROOM * (high - low)),
        Axis::unmarked("longest bar on top", 0.0, shown as f64 + 1.0),
    );
    bars.into_iter().enumerate().fold(chart, |chart, (at, bar)| {
        let y = (shown - at) as f64;
        let ink = if bar.estimated { Ink::Limit } else { Ink::Main };
        let edge = |x: f64| (x, y - HALF_BAR, y + HALF_BAR);
        let (left, right) = ends(bar);
        chart
            .band("", ink, vec![edge(left), edge(right)])
            .line("", ink, vec![(left, y), (right, y)])
            .with(ChartMark::Label { x: right, y, ink, text: bar.name.clone() })
    })
}

fn tolerances(sensitivity: &Sensitivity) -> Section {
    let text = format!(
        "Values in the limit's colour were estimated: measuring those narrows the result most. Values that \
         move boost by less than 0.1 kPa are left out. {}.",
        engine_words::spread(sensitivity)
    );
    Section::new("Appendix: which measurement matters most")
        .text(&text)
        .charts([tornado(sensitivity)])
        .table(table_of(engine_words::bar_rows(sensitivity, sensitivity.bars.len())))
}

fn travel(told: &MatchDocument) -> Option<Section> {
    let check = told.travel.as_ref()?;
    let mut table = Table::new(&["lever travel", "learned, °", "by the sheet, °"]).row([
        "attached".to_owned(),
        number(check.attached_deg),
        number(check.predicted_deg),
    ]);
    for reserve in &check.reserves {
        let name = format!("reserve at the {} end", reserve.end);
        table = table.row([name, number(reserve.found_deg), number(reserve.predicted_deg)]);
    }
    let section = Section::new("Appendix: learned travel against the parts").table(table);
    if check.findings.is_empty() {
        return Some(section.text("The learned travel fits the parts."));
    }
    Some(check.findings.iter().fold(section, |section, finding| section.text(&finding.to_string())))
}
