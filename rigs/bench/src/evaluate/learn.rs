//! A learn: stops, their repeatability, and why a unit was refused.

use firmware_core::calibration::Calibration;
use firmware_core::learn::{CheckSet, Stop};

use super::traces::LearnTrace;
use super::{Exhibit, Shown, conditions, seconds};
use crate::figures::{Figure, Measure};
use crate::judge::{Evidence, FaultOf, Finding};
use crate::profile::{Profile, WINDOWS_OF_ITS_OWN};
use crate::record::{Confirmation, Gauged, Mark, Row, Run};
use crate::unit_store::how_to_confirm;

pub(super) fn evaluate(run: &Run, profile: &Profile) -> Shown {
    let mut evidence = Evidence::default();
    let outcome = &run.file.outcome;
    if let Some(calibration) = &outcome.calibration {
        evidence.figures = figures(calibration, &conditions(run));
    } else if outcome.refusal.is_none() && run.is_complete() {
        evidence.findings.push(Finding {
            code: "no-outcome".into(),
            seen: format!("{} came to its end without an outcome", run.name),
            advice: "Learn again.".into(),
            fault_of: FaultOf::Rig,
        });
    }
    evidence.findings.extend(run.open_checks().iter().map(|check| Finding {
        code: "not-proven".into(),
        seen: format!("not proven: sensor and current cannot show it; still to do: {}", check.text()),
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
    format!("Do it, then say so, which moves nothing: `{how}`.")
}

/// The minimum-flow stop as a person gauged it.
fn gauged(confirmed: &Confirmation) -> Option<Figure> {
    let Gauged { value, unit, tolerance } = confirmed.gauged?;
    let conditions =
        format!("gauged by {} with {}, {}; ± {tolerance}", confirmed.by, confirmed.with, confirmed.on);
    Some(Figure { tolerance, ..Figure::new(Measure::MinimumFlowStop(unit), value, &conditions) })
}

fn figures(calibration: &Calibration, conditions: &str) -> Vec<Figure> {
    let span = f64::from(calibration.span_counts()).abs();
    let mut figures = vec![Figure::new(Measure::Span, span, conditions)];
    for stop in [Stop::Closed, Stop::Open] {
        let learned = stop.of(calibration);
        let repeat = 100.0 * f64::from(learned.repeat_range_counts) / span;
        figures.push(Figure::new(Measure::StopPosition(stop), learned.zero_push_counts.into(), conditions));
        figures.push(Figure::new(Measure::StopRepeatability(stop), repeat, conditions));
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
