//! The answer that the page starts with: area, limits, the deciding numbers.

use parts::matching::{MinimumFlow, Study};

use super::engine::{difference, later};
use super::rows::row;
use super::{compressor, limits};
use crate::number::with_uncertainty;

/// Share of the travel by which an unchanged map may differ from the matched one and still be called the same.
const SAME_OPENING: f64 = 0.005;

/// What becomes of the area.
pub(super) fn area(study: &Study) -> String {
    let unchanged = study.map.iter().all(|knot| (knot.new_opening - knot.old_opening).abs() < SAME_OPENING);
    match (study.not_met.is_empty(), study.not_known.is_empty()) {
        (false, _) => format!("Cannot be met: {}", study.not_met.join("; ")),
        (true, false) => format!("Measure this first: {}", study.not_known.join("; ")),
        (true, true) if unchanged && study.minimum_flow == MinimumFlow::Equal => {
            "Met: the calibration fits as it is".into()
        }
        (true, true) => format!("Met after re-mapping{}", stop(&study.minimum_flow)),
    }
}

/// What becomes of the stop of a ring that is re-mapped.
fn stop(kept: &MinimumFlow) -> &'static str {
    match kept {
        MinimumFlow::MoveStop { .. } => " and setting the stop",
        MinimumFlow::Equal => "; the stop stays as it is",
        MinimumFlow::HeldByMap { .. } | MinimumFlow::NotMet { .. } => "; no stop protects the minimum",
    }
}

/// The answer, question by question.
pub(super) fn rows(study: &Study) -> Vec<Vec<String>> {
    let mut rows = vec![row(["question", "answer (highest values, no guard acting)"])];
    let mut ask = |question: &str, answer: String| rows.push(row([question.to_owned(), answer]));
    ask("nozzle area", area(study));
    if !matches!(study.minimum_flow, MinimumFlow::NotMet { .. }) {
        ask("minimum flow", minimum_flow(&study.minimum_flow));
    }
    for standing in &study.limits {
        let (what, unit) = limits::name(standing.limited);
        let value = |value| limits::shown(standing.limited, value);
        let verdict = if standing.is_passed() { "PASSED" } else { "kept" };
        let (new, limit, old) = (value(standing.new), value(standing.limit), value(standing.old));
        let answer = format!("{verdict}: {new} of {limit} {unit} ({}); old {old}", standing.at);
        ask(&format!("{what} limit"), answer);
    }
    let beyond = compressor::beyond(study);
    ask(
        "compressor",
        if beyond.is_empty() { "inside its range at every load step".into() } else { beyond.join("; ") },
    );
    rows
}

/// How the minimum flow is kept, in a sentence.
fn minimum_flow(kept: &MinimumFlow) -> String {
    match kept {
        MinimumFlow::MoveStop { from_deg, to_deg } => format!(
            "move the stop so that the vanes stand at {to_deg:.1}° from the tangent (found at \
             {from_deg:.1}°), check it on the flow bench, then learn again"
        ),
        MinimumFlow::Equal => "both stops leave the same area".into(),
        MinimumFlow::HeldByMap { stop_mm2, wanted_mm2 } => format!(
            "the new stop leaves only {stop_mm2:.1} mm² of {wanted_mm2:.1} mm² and cannot be set: the opening \
             map alone keeps the minimum, no stop protects it"
        ),
        MinimumFlow::NotMet { least_mm2, at_deg, wanted_mm2 } => {
            format!("not met: the least is {least_mm2:.1} mm² at {at_deg:.2}°; expected: {wanted_mm2:.1} mm²")
        }
    }
}

/// The deciding numbers with their intervals.
pub(super) fn numbers(study: &Study) -> Vec<Vec<String>> {
    let mut rows = vec![row(["deciding number (± standard uncertainty)", "value", "what it says"])];
    let throat = &study.gauge.throat_mm;
    rows.push(row([
        "throat width at the new closed stop, mm".to_owned(),
        with_uncertainty(throat.value, throat.standard_uncertainty),
        "mean of all throats".to_owned(),
    ]));
    for (run, known) in study.air.iter().zip(&study.uncertainty.points) {
        if let Some(same) = &run.same_boost {
            let what =
                format!("{}: time to {:.0} kPa absolute, new less old, s", run.point.name, same.boost_kpa);
            let [value, verdict] = later(same, known);
            rows.push(row([what, value, verdict]));
        }
    }
    if let Some((run, known)) =
        study.air.iter().zip(&study.uncertainty.points).find(|(r, _)| r.point.name == "full load")
    {
        let change = run.new_after.exhaust_kpa - run.old.exhaust_kpa;
        rows.push(row([
            "full load: exhaust pressure, new less old, kPa".to_owned(),
            with_uncertainty(change, known.exhaust_kpa),
            difference(change, known.exhaust_kpa, ["more", "less"]),
        ]));
    }
    rows
}
