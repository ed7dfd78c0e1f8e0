//! What `match` tells a person: tables of figures, map, settings, engine, tolerances, travel.

use std::path::Path;

use parts::Origin;
use parts::figures::Figure;
use parts::matching::{Knot, Met, MinimumFlow, Response, Sensitivity, SheetValue, Side, Study, TravelCheck};

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
        aligned(&map_rows(&study.map)),
        aligned(&settings_rows(told)),
        aligned(&air_rows(told)),
        sensitivity(&study.sensitivity),
    ];
    parts.extend(told.travel.as_ref().map(travel));
    parts.push(verdict(study));
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
            "set the stop so that the vanes stand at {to_deg:.2}° from the tangent (found at {from_deg:.2}°), \
             then check on a flow gauge and learn again"
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
pub(super) fn map_rows(map: &[Knot]) -> Vec<Vec<String>> {
    let head =
        row(["old opening", "new opening", "area wanted, mm²", "area given, mm²", "vane old/new, °", ""]);
    let rows = map.iter().map(|knot| {
        row([
            format!("{:.2}", knot.old_opening),
            format!("{:.4}", knot.new_opening),
            number(knot.wanted_mm2),
            number(knot.given_mm2),
            format!("{:.2} / {:.2}", knot.vane_deg.0, knot.vane_deg.1),
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

/// The engine, three ways, head first.
pub(super) fn air_rows(told: &MatchDocument) -> Vec<Vec<String>> {
    let mut rows = vec![row([
        "load step (simulated)",
        "opening",
        "boost, kPa",
        "after 1 s",
        "90 % in, s",
        "exhaust, kPa",
        "turbo peak, rpm",
        "margin, kPa",
    ])];
    for run in &told.study.air {
        let ways = [
            ("old", run.point.old_opening, &run.old),
            ("new, not re-mapped", run.point.old_opening, &run.new_before),
            ("new, re-mapped", run.new_opening, &run.new_after),
        ];
        for ((name, opening, response), margin) in ways.into_iter().zip(run.boost_margin_kpa) {
            rows.push(air_row(&format!("{}, {name}", run.point.name), opening, response, margin));
        }
    }
    rows
}

fn air_row(name: &str, opening: f64, response: &Response, margin_kpa: f64) -> Vec<String> {
    row([
        name.to_owned(),
        format!("{opening:.3}"),
        number(response.boost_kpa),
        number(response.boost_after_kpa),
        response.rise_s.map_or_else(|| "–".into(), |s| format!("{s:.2}")),
        format!("{} (peak {})", number(response.exhaust_kpa), number(response.exhaust_peak_kpa)),
        number(response.turbo_rpm),
        number(margin_kpa),
    ])
}

/// The longest bars of the tornado, head first.
pub(super) fn bar_rows(sensitivity: &Sensitivity, shown: usize) -> Vec<Vec<String>> {
    let mut rows =
        vec![row(["what moves boost 1 s after tip-in", "value", "at low end, kPa", "at high end, kPa"])];
    rows.extend(sensitivity.bars.iter().take(shown).map(|bar| {
        let mark = if bar.estimated { " (estimated: measure it)" } else { "" };
        row([
            format!("{}{mark}", bar.field),
            format!("{} ± {} {}", number(bar.value), number(bar.tolerance), bar.unit),
            format!("{:+.2}", bar.low_kpa - sensitivity.nominal_kpa),
            format!("{:+.2}", bar.high_kpa - sensitivity.nominal_kpa),
        ])
    }));
    rows
}

fn sensitivity(sensitivity: &Sensitivity) -> String {
    let rows = bar_rows(sensitivity, BARS_SHOWN);
    let spread = &sensitivity.campaign;
    format!(
        "{}\nAll tolerances at once, {} draws, seed {}: {:.1} kPa, standard deviation {:.1}, from {:.1} to {:.1}",
        aligned(&rows),
        spread.runs,
        spread.seed,
        spread.mean_kpa,
        spread.deviation_kpa,
        spread.range_kpa.0,
        spread.range_kpa.1
    )
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

fn row<T: ToString, const N: usize>(cells: [T; N]) -> Vec<String> {
    cells.iter().map(ToString::to_string).collect()
}

/// Columns wide enough for their longest cell, two spaces between.
fn aligned(rows: &[Vec<String>]) -> String {
    let columns = rows.iter().map(Vec::len).max().unwrap_or(0);
    let width = |column: usize| {
        rows.iter().filter_map(|row| row.get(column)).map(|cell| cell.chars().count()).max().unwrap_or(0)
    };
    let widths: Vec<usize> = (0..columns).map(width).collect();
    let line = |row: &Vec<String>| {
        let cells = row.iter().zip(&widths).map(|(cell, width)| format!("{cell:<width$}"));
        cells.collect::<Vec<_>>().join("  ").trim_end().to_owned()
    };
    rows.iter().map(line).collect::<Vec<_>>().join("\n")
}

#[cfg(test)]
mod tests {
    use super::{aligned, number, row, with_uncertainty};

    #[test]
    fn an_uncertainty_has_two_digits_and_its_value_ends_at_the_same_place() {
        let cases = [
            ((94.291_77, 27.123), "94 ± 27"),
            ((57.76, 0.142_3), "57.76 ± 0.14"),
            ((12_345.6, 234.5), "12350 ± 230"),
            ((2.834e-5, 4.123e-6), "2.83e-5 ± 4.1e-6"),
            ((5.0, 0.0), "5.000 ± 0.000"),
        ];
        for ((value, uncertainty), text) in cases {
            assert_eq!(with_uncertainty(value, uncertainty), text);
        }
    }

    #[test]
    fn numbers_keep_four_digits() {
        let cases =
            [(0.0, "0.000"), (57.76, "57.76"), (0.0524, "0.0524"), (2.8e-5, "2.800e-5"), (-123.45, "-123.5")];
        for (value, text) in cases {
            assert_eq!(number(value), text);
        }
        assert_eq!(number(f64::NAN), "–");
    }

    #[test]
    fn columns_line_up() {
        let rows = [row(["a", "b"]), row(["long", "c"])];
        assert_eq!(aligned(&rows), "a     b\nlong  c");
    }
}
