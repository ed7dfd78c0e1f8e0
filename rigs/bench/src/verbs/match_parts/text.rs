//! What `match` tells a person: tables of figures, map, settings, engine, tolerances, travel.

use std::path::Path;

use parts::ValueOrigin;
use parts::figures::PartFigure;
use parts::matching::{Met, SheetValue, Side, Study, TravelCheck};

use super::rows::{row, with_unit};
use super::{answer, compressor, engine, gauge, limits};
use crate::document::MatchDocument;
use crate::fold::Fold;
use crate::number::{number, with_uncertainty};

/// Bars of the tornado that the text shows; the report shows more.
const BARS_SHOWN: usize = 8;
/// A row of the map for so many of its openings.
const MAP_ROWS_EVERY: usize = 5;

/// The whole text: the answer first, what it rests on, the verdict again at the end.
pub(super) fn told(told: &MatchDocument, out: Option<&Path>, fold: Fold) -> String {
    let study = &told.study;
    let table = |rows: Vec<Vec<String>>| fold.table(&rows);
    let words = |words: &str| fold.paragraph(words);
    let mut parts = vec![
        words(&format!("{} → {}", study.old.name, study.new.name)),
        table(answer::rows(study)),
        table(answer::numbers(study)),
        table(gauge::rows(&study.gauge)),
        table(settings_rows(told)),
        table(map_rows(study)),
        table(engine::same_boost_rows(study)),
        table(engine::cost_rows(study)),
        table(engine::change_rows(study)),
        table(engine::pressure_rows(study)),
        table(engine::wheel_rows(study)),
        table(compressor::margin_rows(study)),
        table(compressor::coefficient_rows(study)),
        table(compressor::potential_rows(study)),
        words(&compressor::ground(study)),
        words(&limits::grounds(&study.plan.limits).join("\n")),
        table(engine::bar_rows(&study.sensitivity, BARS_SHOWN)),
        words(&engine::spread(&study.sensitivity)),
        table(figure_rows(study)),
        words(&estimated(&study.new)),
    ];
    parts.extend(told.travel.as_ref().map(|check| words(&travel(check))));
    parts.extend(gauge::pendulum(study).map(|how| words(&how)));
    parts.push(words(&format!(
        "Equal area is not equal boost. The engine runs are a model of an invented engine: they rank, they \
         do not promise. {} Set the minimum flow on a gauge and confirm boost on the engine.",
        engine::BARE_AIR_PATH
    )));
    parts.extend(out.map(|dir| {
        words(&format!("Written: match.html, opening-map.csv, controller.toml in\n  {}", dir.display()))
    }));
    parts.push(words(&format!("{}\n{}", verdict(study), limit_verdict(study))));
    parts.join("\n\n")
}

/// Are the areas met, and are they known.
pub(super) fn verdict(study: &Study) -> String {
    let unknown = study.not_known.join("\n  ");
    match (study.not_met.is_empty(), study.not_known.is_empty()) {
        (true, true) => "Every area that the calibration expects is met.".into(),
        (true, false) => {
            format!("Met for the numbers given, but these are not known well enough:\n  {unknown}")
        }
        (false, true) => format!("Not met:\n  {}", study.not_met.join("\n  ")),
        (false, false) => {
            format!("Not met:\n  {}\nNot known well enough:\n  {unknown}", study.not_met.join("\n  "))
        }
    }
}

/// Is every limit kept.
pub(super) fn limit_verdict(study: &Study) -> String {
    let mut passed = limits::passed(study);
    passed.extend(compressor::beyond(study));
    if passed.is_empty() {
        "Every limit is kept at every load step.".into()
    } else {
        format!("Limits passed:\n  {}", passed.join("\n  "))
    }
}

/// Is an area met, in a word.
pub(super) fn met(met: Met) -> &'static str {
    match met {
        Met::SameArea => "same area",
        Met::AreaTooLarge => "too large",
        Met::AreaTooSmall => "too small",
    }
}

/// A figure with its uncertainty and a star where it rests on estimates.
pub(super) fn figure(figure: &PartFigure) -> String {
    const INCH_MM: f64 = 25.4;
    let star = if figure.rests_on_estimates.is_empty() { "" } else { " *" };
    let inches = match figure.name {
        "volute A/R" => format!(" ({:.2} in)", figure.value / INCH_MM),
        _ => String::new(),
    };
    format!("{}{inches}{star}", with_uncertainty(figure.value, figure.standard_uncertainty))
}

/// Figures of both sides, head first.
pub(super) fn figure_rows(study: &Study) -> Vec<Vec<String>> {
    let (old, new) = (&study.old, &study.new);
    let mut rows = vec![row(["figure (± standard uncertainty; * rests on estimates)", "old", "new"])];
    for (before, after) in old.figures.iter().zip(&new.figures) {
        rows.push(row([with_unit(before.name, before.unit), figure(before), figure(after)]));
    }
    rows.push(row(["rotor inertia, new over old", "1", &number(study.inertia_ratio)]));
    let stack = |side: &Side| {
        let stack = side.indexing;
        format!("{:.2} / {:.2}", stack.worst_case_deg, stack.root_sum_square_deg)
    };
    rows.push(row(["indexing error of the vane, worst case / RSS, °", &stack(old), &stack(new)]));
    let rotation = |side: &Side| {
        let linkage = side.rotation.by_linkage_deg.map_or_else(|| "not measured".into(), number);
        format!("{} / {linkage}", number(side.rotation.at_vanes_deg))
    };
    rows.push(row(["vane rotation, at the vanes / by the linkage, °", &rotation(old), &rotation(new)]));
    let gap = |side: &Side| format!("{} / {}", number(side.vaneless_ratio.0), number(side.vaneless_ratio.1));
    rows.push(row(["vaneless gap, tip over wheel radius, closed / open", &gap(old), &gap(new)]));
    rows
}

fn estimated(side: &Side) -> String {
    let rules: Vec<String> = side
        .values
        .iter()
        .filter_map(|value| match &value.quantity.origin {
            ValueOrigin::Estimated { rule } => {
                Some(format!("  {} = {}: {rule}", value.field, quantity(value)))
            }
            ValueOrigin::Measured { .. } => None,
        })
        .collect();
    if rules.is_empty() {
        format!("Every value of {} was measured.", side.name)
    } else {
        format!("Not measured on {}, so estimated:\n{}", side.name, rules.join("\n"))
    }
}

/// A value of a sheet with its tolerance and unit.
pub(super) fn quantity(value: &SheetValue) -> String {
    let (at, within) = (number(value.quantity.value), number(value.quantity.tolerance));
    match value.unit {
        "1" => format!("{at} ± {within}"),
        unit => format!("{at} ± {within} {unit}"),
    }
}

/// The opening map, head first.
pub(super) fn map_rows(study: &Study) -> Vec<Vec<String>> {
    let head = row(["old opening", "new opening", "area wanted, mm²", "old vane, °", "new vane, °", "given"]);
    let rows =
        study.map.iter().zip(&study.uncertainty.openings).step_by(MAP_ROWS_EVERY).map(|(knot, known)| {
            row([
                format!("{:.2}", knot.old_opening),
                match known {
                    Some(u) if *u > 0.0 => with_uncertainty(knot.new_opening, *u),
                    Some(_) | None => format!("{:.3}", knot.new_opening),
                },
                number(knot.wanted_mm2),
                format!("{:.1}", knot.vane_deg.0),
                format!("{:.1}", knot.vane_deg.1),
                match knot.met {
                    Met::SameArea => met(knot.met).to_owned(),
                    Met::AreaTooLarge | Met::AreaTooSmall => {
                        format!("{} mm², {}", number(knot.given_mm2), met(knot.met))
                    }
                },
            ])
        });
    std::iter::once(head).chain(rows).collect()
}

/// Changed settings, head first.
pub(super) fn settings_rows(told: &MatchDocument) -> Vec<Vec<String>> {
    let mut rows = vec![row(["setting (maps follow the opening map)", "old", "new"])];
    rows.extend(told.settings.iter().map(|c| row([c.field.clone(), number(c.old), number(c.new)])));
    rows
}

fn travel(check: &TravelCheck) -> String {
    let head = format!(
        "Learned travel: {:.2}° attached (sheet {:.2}° ± {:.2}°), {:.2}° free; reserve closed {:.2}° (sheet \
         {:.2}°), open {:.2}° (sheet {:.2}°)",
        check.attached_deg,
        check.predicted_deg,
        check.tolerance_deg,
        check.free_deg,
        check.reserves[0].found_deg,
        check.reserves[0].predicted_deg,
        check.reserves[1].found_deg,
        check.reserves[1].predicted_deg,
    );
    let findings: Vec<String> = check.findings.iter().map(|finding| format!("\n  {finding}")).collect();
    if findings.is_empty() { head + "\n  it fits the parts" } else { head + &findings.concat() }
}
