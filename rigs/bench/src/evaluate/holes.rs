//! Holes in a record: figures that need what is not there are set aside, and loss of line is never blamed on
//! the unit.

use super::Shown;
use crate::figures::{Figure, Measure};
use crate::judge::{Evidence, FaultOf, Finding, Holed, LOSS_ADVICE};
use crate::record::{Loss, RecordedSample, Run};
use crate::span::Span;

/// Each hole with what `at` says of the samples on either side of it, where it says something of both.
pub(super) fn across(
    run: &Run,
    loss: &Loss,
    at: impl Fn(&RecordedSample) -> Option<f64>,
) -> Vec<(Span, f64, f64)> {
    let samples: Vec<&RecordedSample> = run.samples().collect();
    let sides = |hole: &Span| {
        let after = samples.partition_point(|sample| !sample.tick.has_reached(hole.last));
        let (before, after) = (samples.get(after.checked_sub(1)?)?, samples.get(after)?);
        Some((*hole, at(before)?, at(after)?))
    };
    loss.holes().iter().filter_map(sides).collect()
}

/// Moves figures whose ticks are not all there from what was measured to what is open.
pub(super) fn set_aside(evidence: &mut Evidence, run: &Run) {
    let loss = run.loss();
    let hole_of = |figure: &Figure| figure.needs.iter().find_map(|span| loss.in_span(*span));
    let (holed, whole): (Vec<Figure>, Vec<Figure>) =
        std::mem::take(&mut evidence.figures).into_iter().partition(|figure| hole_of(figure).is_some());
    evidence.figures = whole;
    for figure in holed {
        if let Some(hole) = hole_of(&figure) {
            let place = if figure.place.is_empty() { String::new() } else { format!(", {}", figure.place) };
            evidence.holed.push(self::holed(figure.measure, run, hole, &place));
        }
    }
}

/// A measure that this hole leaves open.
pub(super) fn holed(measure: Measure, run: &Run, hole: Span, place: &str) -> Holed {
    Holed { measure, seen: format!("{}{place}: {}", run.name, missing(hole)) }
}

fn missing(hole: Span) -> String {
    format!("ticks {} to {} are missing in the record, lost on the line", hole.first.0, hole.last.0)
}

/// What is missing of a run that lost some of its ticks.
pub(super) fn finding(run: &Run, loss: &Loss, what: &str) -> Finding {
    let lost = loss.text().unwrap_or_else(|| "no loss is marked".into());
    Finding {
        code: "lost-on-line".into(),
        seen: format!("{}: {what}; {lost}", run.name),
        advice: LOSS_ADVICE.into(),
        fault_of: FaultOf::Rig,
    }
}

/// A run that shows nothing because too much of it was lost.
pub(super) fn nothing(run: &Run, loss: &Loss, what: &str) -> Shown {
    let evidence = Evidence { findings: vec![finding(run, loss, what)], ..Evidence::default() };
    Shown { evidence, exhibit: None }
}
