//! Boost figures of a simulated run.
//!
//! In: the run's traces and guard marks. Out: peak, overshoot and rise of boost after the first upward step
//! of its target, and the traces for the report. A run without traces says so.

use super::traces::BoostTrace;
use super::{Exhibit, Shown};
use crate::figures::{Figure, Measure};
use crate::judge::{Evidence, FaultOf, Finding};
use crate::record::{GUARD_LIMIT, Row, Run, Series};

/// Change of the target between two rows that counts as a step, kPa.
const STEP_KPA: f64 = 1.0;
/// Share of the step that counts as risen.
const RISEN: f64 = 0.9;

pub(super) fn evaluate(run: &Run) -> Shown {
    let series = match run.series() {
        Ok(series) => series,
        Err(error) => {
            let advice = "Simulate again; the record holds no usable traces.";
            return Shown::nothing("no-traces", error.to_string(), advice, FaultOf::Rig);
        }
    };
    let trace = trace(run, &series);
    let conditions = run.file.conditions.get("scenario").cloned().unwrap_or_default();
    let figures = figures(&trace, &conditions);
    let findings = over_limit(&trace).into_iter().collect();
    Shown {
        evidence: Evidence { figures, findings, ..Evidence::default() },
        exhibit: Some(Exhibit::Boost(trace)),
    }
}

fn trace(run: &Run, series: &Series) -> BoostTrace {
    let guard_stages = run.rows.iter().filter_map(Row::note).filter_map(|(tick, text)| {
        text.strip_prefix("guard ").map(|stage| (f64::from(tick.0) / 1000.0, stage.to_owned()))
    });
    BoostTrace {
        boost: series.against_time("boost"),
        target: series.against_time("boost target"),
        guard_limit: series.against_time(GUARD_LIMIT).first().map(|(_, limit)| *limit),
        opening: series.against_time("opening"),
        guard_stages: guard_stages.collect(),
    }
}

/// Boost past the limit that the guard is there to keep.
fn over_limit(trace: &BoostTrace) -> Option<Finding> {
    let limit = trace.guard_limit?;
    let peak = trace.boost.iter().map(|(_, boost)| *boost).reduce(f64::max)?;
    (peak > limit).then(|| Finding {
        code: "boost-over-limit".into(),
        seen: format!("simulated boost reached {peak:.1} kPa absolute, its limit is {limit:.1} kPa absolute"),
        advice:
            "These controller settings do not keep the limit in this scenario: do not put them on an engine."
                .into(),
        fault_of: FaultOf::Unit,
    })
}

fn figures(trace: &BoostTrace, conditions: &str) -> Vec<Figure> {
    let figure = |measure, value| Figure::new(measure, value, conditions);
    let mut figures = Vec::new();
    if let Some(peak) = trace.boost.iter().map(|(_, boost)| *boost).reduce(f64::max) {
        figures.push(figure(Measure::BoostPeak, peak));
    }
    let Some((at, from, to, until)) = step_up(&trace.target) else {
        return figures;
    };
    let after = trace.boost.iter().filter(|(t, _)| (at..until).contains(t));
    if let Some(highest) = after.clone().map(|(_, boost)| *boost).reduce(f64::max) {
        figures.push(figure(Measure::BoostOvershoot, highest - to));
    }
    let risen = after.clone().find(|(_, boost)| *boost >= from + RISEN * (to - from));
    if let Some((t, _)) = risen {
        figures.push(figure(Measure::BoostRise, t - at));
    }
    figures
}

/// First upward step of the target: when, from what, to what, and until when it holds.
fn step_up(target: &[(f64, f64)]) -> Option<(f64, f64, f64, f64)> {
    let rise = target.windows(2).position(|w| matches!(w, [a, b] if b.1 - a.1 > STEP_KPA))?;
    let (_, from) = *target.get(rise)?;
    let (at, to) = *target.get(rise + 1)?;
    let next = target.iter().skip(rise + 2).find(|(_, value)| (value - to).abs() > STEP_KPA);
    Some((at, from, to, next.map_or(f64::INFINITY, |(t, _)| *t)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn boost_past_its_limit_is_a_reason() {
        let trace = |boost| BoostTrace {
            boost: vec![(0.0, 150.0), (1.0, boost)],
            guard_limit: Some(280.0),
            ..BoostTrace::default()
        };
        assert!(over_limit(&trace(279.9)).is_none());
        assert!(over_limit(&trace(280.1)).unwrap().seen.contains("280.1"));
    }

    #[test]
    fn peak_overshoot_and_rise_are_read_off_the_first_upward_step() {
        let times = || (0..100).map(|i| f64::from(i) / 10.0);
        let trace = BoostTrace {
            target: times().map(|t| (t, if (1.0..6.0).contains(&t) { 175.0 } else { 150.0 })).collect(),
            boost: times().map(|t| (t, (150.0 + 26.0 * (t - 1.0).clamp(0.0, 1.0)).min(176.0))).collect(),
            ..BoostTrace::default()
        };
        let figures = figures(&trace, "");
        let value = |measure| figures.iter().find(|f| f.measure == measure).unwrap().value;
        assert!((value(Measure::BoostPeak) - 176.0).abs() < 1e-9);
        assert!((value(Measure::BoostOvershoot) - 1.0).abs() < 1e-9);
        assert!((value(Measure::BoostRise) - 0.9).abs() < 1e-9);
    }
}
