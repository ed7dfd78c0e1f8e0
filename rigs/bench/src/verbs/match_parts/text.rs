//! What `match` tells a person: tables of figures, map, settings, engine, tolerances, travel.

use std::path::Path;

use parts::Origin;
use parts::figures::Figure;
use parts::matching::{Met, MinimumFlow, SheetValue, Side, Study, TravelCheck};

use super::rows::{aligned, row};
use super::{engine, gauge, limits};
use crate::document::MatchDocument;
use crate::number::{number, with_uncertainty};

/// Bars of the tornado that the text shows; the report shows more.
const BARS_SHOWN: usize = 8;

/// The whole text.
pub(super) fn told(told: &MatchDocument, out: Option<&Path>) -> String {
    let study = &told.study;
    let mut parts = vec![
        format!("{} → {}", study.old.name, study.new.name),
        aligned(&figure_rows(study)),
        estimated(&study.new),
        format!("Minimum flow: {}", minimum_flow(&study.minimum_flow)),
        aligned(&gauge::rows(&study.gauge)),
        aligned(&map_rows(study)),
        aligned(&settings_rows(told)),
        aligned(&engine::air_rows(study)),
        aligned(&engine::same_boost_rows(study)),
        aligned(&engine::cost_rows(study)),
        aligned(&engine::change_rows(study)),
        aligned(&limits::rows(study)),
        limits::grounds(&study.plan.limits).join("\n"),
        aligned(&engine::bar_rows(&study.sensitivity, BARS_SHOWN)),
        engine::spread(&study.sensitivity),
    ];
    parts.extend(told.travel.as_ref().map(travel));
    parts.extend(gauge::pendulum(study));
    parts.push(verdict(study));
    parts.push(limit_verdict(study));
    parts.push(
        "Equal area is not equal boost. The engine runs are a model of an invented engine: they rank, they \
         do not promise. Set the minimum flow on a gauge and confirm boost on the engine."
            .into(),
    );
    parts.extend(
        out.map(|dir| format!("Written: match.html, opening-map.csv, controller.toml in {}", dir.display())),
    );
    parts.join("\n\n")
}

/// Are the areas met, and are they known.
pub(super) fn verdict(study: &Study) -> String {
    let unknown = study.not_known.join("\n  ");
    match (study.not_met.is_empty(), study.not_known.is_empty()) {
        (true, true) => "Every area that the calibration expects is met.".into(),
        (true, false) => {
            format!("Met for the numbers given, but they are not known well enough:\n  {unknown}")
        }
        (false, true) => format!("Not met:\n  {}", study.not_met.join("\n  ")),
        (false, false) => {
            format!("Not met:\n  {}\nNot known well enough:\n  {unknown}", study.not_met.join("\n  "))
        }
    }
}

/// Is every limit kept.
pub(super) fn limit_verdict(study: &Study) -> String {
    let passed = limits::passed(study);
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

/// How the minimum flow is kept, in a sentence.
pub(super) fn minimum_flow(kept: &MinimumFlow) -> String {
    match kept {
        MinimumFlow::MoveStop { from_deg, to_deg } => format!(
            "move the stop so that the vanes stand at {to_deg:.1}° from the tangent (found at {from_deg:.1}°), \
             check on the flow bench, then learn again"
        ),
        MinimumFlow::Equal => "both stops leave the same area".into(),
        MinimumFlow::HeldByMap { stop_mm2, wanted_mm2 } => format!(
            "the new stop leaves only {stop_mm2:.1} mm² of {wanted_mm2:.1} mm² and cannot be set: the opening \
             map alone keeps the minimum, no stop protects it"
        ),
        MinimumFlow::NotMet { least_mm2, at_deg, wanted_mm2 } => format!(
            "not met: {least_mm2:.1} mm² at {at_deg:.2}° is the least, {wanted_mm2:.1} mm² are expected"
        ),
    }
}

/// A figure with its uncertainty and a star where it rests on estimates.
pub(super) fn figure(figure: &Figure) -> String {
    let star = if figure.rests_on_estimates.is_empty() { "" } else { " *" };
    format!("{}{star}", with_uncertainty(figure.value, figure.standard_uncertainty))
}

/// Figures of both sides, head first.
pub(super) fn figure_rows(study: &Study) -> Vec<Vec<String>> {
    let (old, new) = (&study.old, &study.new);
    let mut rows = vec![row(["figure (± standard uncertainty; * rests on estimates)", "unit", "old", "new"])];
    for (before, after) in old.figures.iter().zip(&new.figures) {
        rows.push(row([before.name, before.unit, &figure(before), &figure(after)]));
    }
    rows.push(row(["rotor inertia, new over old", "1", "1", &number(study.inertia_ratio)]));
    let stack = |side: &Side| {
        let stack = side.indexing;
        format!("{} / {}", number(stack.worst_case_deg), number(stack.root_sum_square_deg))
    };
    rows.push(row(["indexing error of the vane, worst case / RSS", "°", &stack(old), &stack(new)]));
    let rotation = |side: &Side| {
        let linkage = side.rotation.by_linkage_deg.map_or_else(|| "not measured".into(), number);
        format!("{} / {linkage}", number(side.rotation.at_vanes_deg))
    };
    rows.push(row(["vane rotation, at the vanes / by the linkage", "°", &rotation(old), &rotation(new)]));
    let gap = |side: &Side| format!("{} / {}", number(side.vaneless_ratio.0), number(side.vaneless_ratio.1));
    rows.push(row(["vaneless gap, tip over wheel radius, closed / open", "1", &gap(old), &gap(new)]));
    rows
}

fn estimated(side: &Side) -> String {
    let rules: Vec<String> = side
        .values
        .iter()
        .filter_map(|value| match &value.quantity.origin {
            Origin::Estimated { rule } => Some(format!("  {} = {}: {rule}", value.field, quantity(value))),
            Origin::Measured { .. } => None,
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
    let head =
        row(["old opening", "new opening", "area wanted, mm²", "area given, mm²", "vane old/new, °", ""]);
    let rows = study.map.iter().zip(&study.uncertainty.openings).map(|(knot, known)| {
        row([
            format!("{:.2}", knot.old_opening),
            match known {
                Some(u) if *u > 0.0 => with_uncertainty(knot.new_opening, *u),
                Some(_) | None => format!("{:.3}", knot.new_opening),
            },
            number(knot.wanted_mm2),
            number(knot.given_mm2),
            format!("{:.1} / {:.1}", knot.vane_deg.0, knot.vane_deg.1),
            met(knot.met).to_owned(),
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
