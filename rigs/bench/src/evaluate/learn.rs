//! A learn: stops, their repeatability, and why a unit was refused.

use firmware_core::calibration::Calibration;
use firmware_core::learn::{CheckSet, Stop};

use super::traces::LearnTrace;
use super::{Exhibit, Shown, conditions, seconds};
use crate::figures::{Figure, Measure};
use crate::judge::{Evidence, FaultOf, Finding};
use crate::limits::Bounds;
use crate::profile::{Profile, WINDOWS_OF_ITS_OWN};
use crate::record::{Confirmation, Gauged, Mark, Row, Run};
use crate::unit_store::how_to_confirm;

pub(super) fn evaluate(run: &Run, profile: &Profile) -> Shown {
    let mut evidence = Evidence::default();
    let outcome = &run.file.outcome;
    if let Some(calibration) = &outcome.calibration {
        let figures = figures(run, profile, calibration, &conditions(run));
        evidence.figures = figures.iter().map(|(figure, _)| figure.clone()).collect();
        // A key-off relearn is held against the calibration before it, which its record does not carry.
        evidence.learned = if run.file.is_relearn() { Vec::new() } else { figures };
    } else if outcome.refusal.is_none() && run.is_complete() {
        evidence.findings.push(Finding {
            code: "no-outcome".into(),
            seen: format!("{} ended without an outcome", run.name),
            advice: "Learn again.".into(),
            fault_of: FaultOf::Rig,
        });
    }
    evidence.findings.extend(run.open_checks().iter().map(|check| Finding {
        code: "not-proven".into(),
        seen: format!("not proven: sensor and current cannot show it. Still to do: {}", check.text()),
        advice: advice(run, profile, CheckSet::NONE.with(check)),
        fault_of: FaultOf::Rig,
    }));
    evidence.figures.extend(run.confirmed.iter().filter_map(gauged));
    Shown { evidence, exhibit: Some(Exhibit::Learn(trace(run, profile))) }
}

/// How an open check is settled on this profile.
fn advice(run: &Run, profile: &Profile, check: CheckSet) -> String {
    if check.minus(profile.beyond_confirming()).is_empty() {
        return WINDOWS_OF_ITS_OWN.to_owned();
    }
    let how = how_to_confirm(run.dir.parent().unwrap_or(&run.dir), check);
    format!("Do it, then record it without moving the unit: `{how}`.")
}

/// The minimum-flow stop as a person gauged it.
fn gauged(confirmed: &Confirmation) -> Option<Figure> {
    let Gauged { value, unit, tolerance } = confirmed.gauged?;
    let conditions =
        format!("gauged by {} with {}, {}; ± {tolerance}", confirmed.by, confirmed.with, confirmed.on);
    Some(Figure { tolerance, ..Figure::new(Measure::MinimumFlowStop(unit), value, &conditions) })
}

/// Every figure of a learn, each with what the controller held it against.
fn figures(
    run: &Run,
    profile: &Profile,
    calibration: &Calibration,
    conditions: &str,
) -> Vec<(Figure, Bounds)> {
    let settings = &profile.settings;
    let windows = settings.learn.windows.of(run.file.run.setup, run.file.run.warmth);
    let limits = &settings.learn.limits;
    let travel = f64::from(settings.actuator.nominal_span_counts);
    let apart = f64::from(windows.open.centre() - windows.closed.centre()).abs();
    let span = f64::from(calibration.span_counts()).abs();
    let figure = |measure: Measure, value, min: Option<f64>, max: f64| {
        // Products of settings in f32: no more digits than mean something.
        let digits = measure.definition().digits as i32 + 1;
        let round = |bound: f64| (bound * 10_f64.powi(digits)).round() / 10_f64.powi(digits);
        let (min, max) = (min.map(round), Some(round(max)));
        let allowed = Bounds { min, max, expanded_uncertainty: None, sound_units: None };
        (Figure::new(measure, value, conditions), allowed)
    };
    let share = |share: f32, of: f64| f64::from(share) * of;
    let (shortest, longest) = (share(limits.span_min, apart), share(limits.span_max, apart));
    let mut figures = vec![figure(Measure::Span, span, Some(shortest), longest)];
    for (stop, window) in [(Stop::Closed, windows.closed), (Stop::Open, windows.open)] {
        let learned = stop.of(calibration);
        let [low, high] = [window.min, window.max].map(|edge| f64::from(edge.as_f32()));
        let percent = |counts: f64| 100.0 * counts / span;
        let (least, most) = (share(limits.compliance_min, travel), share(limits.compliance_max, travel));
        figures.extend([
            figure(Measure::StopPosition(stop), learned.zero_push_counts.into(), Some(low), high),
            figure(
                Measure::StopRepeatability(stop),
                percent(learned.repeat_range_counts.into()),
                None,
                percent(share(limits.repeat, travel)),
            ),
            figure(Measure::StopYield(stop), learned.compliance_counts_per_a.into(), Some(least), most),
        ]);
    }
    figures
}

fn trace(run: &Run, profile: &Profile) -> LearnTrace {
    let mut trace = LearnTrace::default();
    for row in &run.rows {
        match row {
            Row::Sample(sample) => {
                let time = seconds(run, sample.tick);
                trace.position.push((time, f64::from(sample.position.0)));
                if let Some(current) = sample.motor_current {
                    trace.current.push((time, f64::from(current.0)));
                }
            }
            Row::Mark(tick, Mark::Touch { stop, zero_push, .. }) => {
                trace.touches.push((seconds(run, *tick), f64::from(*zero_push), *stop));
            }
            Row::Mark(..) => {}
        }
    }
    let windows = profile.settings.learn.windows.of(run.file.run.setup, run.file.run.warmth);
    trace.windows = [(Stop::Closed, windows.closed), (Stop::Open, windows.open)]
        .map(|(stop, window)| (stop, window.min.as_f32().into(), window.max.as_f32().into()))
        .to_vec();
    trace
}
