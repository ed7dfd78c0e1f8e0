//! Steps: each jump of the commanded opening that the plan holds, and what followed until the next one.

use firmware_core::command::Command;
use firmware_core::units::{TICKS_PER_SECOND, Tick};

use super::{Exhibit, Shown, conditions, holes};
use crate::figures::motion::stroke_time;
use crate::figures::step::{StepBands, StepTrace};
use crate::figures::{Figure, Measure, VaneDirection, mean};
use crate::judge::{Evidence, FaultOf, Finding};
use crate::profile::{Profile, SweepPlan};
use crate::record::{Loss, RecordedSample, Run};
use crate::span::Span;

/// Samples before the step whose mean is its start.
const BEFORE: usize = 50;
/// Samples before the step over which the lever must stand: its mean over [`BEFORE`] of them at either end is
/// compared. The hold of the plan is the time it has to come to rest.
const STANDING: usize = 200;
/// How near a recorded jump must lie to a planned size, opening.
const SAME_SIZE: f64 = 0.001;

pub(super) fn evaluate(run: &Run, profile: &Profile) -> Shown {
    let bands = bands(profile);
    let conditions = format!(
        "{}; moved means beyond ±{:.2} %, settled within ±{:.2} % of travel",
        conditions(run),
        100.0 * bands.moved,
        100.0 * bands.settled,
    );
    let mut evidence = Evidence::default();
    let (mut steps, mut figures) = (Vec::new(), Vec::new());
    let loss = run.loss();
    for (trace, drift) in traces(run, &profile.plan.step.sizes_percent) {
        let hole = loss.in_span(span_of(&trace));
        if drift.abs() > bands.moved {
            evidence.findings.push(not_at_rest(run, &trace, drift, bands));
            continue;
        }
        match trace.evaluate(bands) {
            Ok(response) => {
                let direction = response.direction;
                figures.extend(response.figures(&conditions).into_iter().map(|figure| (direction, figure)));
                steps.push((trace, response));
            }
            // Made once more, and whole then.
            Err(_) if hole.is_some() && is_made_again(run, &trace, &loss) => {}
            Err(error) if hole.is_some() => {
                let what = format!("step {}: {error}", size_of(&trace));
                evidence.findings.push(holes::finding(run, &loss, &what));
            }
            Err(error) => evidence.findings.push(Finding {
                code: "no step".into(),
                seen: format!("{}: {error}", told(run, &trace)),
                advice: "Look at the trace in the report, then step again.".into(),
                fault_of: if run.is_complete() { FaultOf::Unit } else { FaultOf::Rig },
            }),
        }
    }
    figures.extend(strokes(run, profile, &conditions));
    evidence.figures = without_repeated(figures, &loss);
    if !loss.is_none() {
        evidence.findings.extend(unseen(run, &loss, profile));
    }
    Shown { evidence, exhibit: (!steps.is_empty()).then_some(Exhibit::Steps(steps)) }
}

/// The figures without those that a hole leaves open, where the same step was made once more and tells them.
fn without_repeated(figures: Vec<(VaneDirection, Figure)>, loss: &Loss) -> Vec<Figure> {
    let is_whole = |figure: &Figure| figure.needs.iter().all(|span| loss.in_span(*span).is_none());
    let told: Vec<(VaneDirection, Measure)> = figures
        .iter()
        .filter(|(_, figure)| is_whole(figure))
        .map(|(direction, figure)| (*direction, figure.measure))
        .collect();
    let counts = |(direction, figure): &(VaneDirection, Figure)| {
        is_whole(figure) || !told.contains(&(*direction, figure.measure))
    };
    figures.into_iter().filter(counts).map(|(_, figure)| figure).collect()
}

/// True when the same step stands in the record a second time, without a hole.
fn is_made_again(run: &Run, step: &StepTrace, loss: &Loss) -> bool {
    let size = 100.0 * (step.command_after - step.command_before);
    traces(run, &[size.abs()]).iter().any(|(other, _)| {
        let same_way = (other.command_after > other.command_before) == (size > 0.0);
        same_way && loss.in_span(span_of(other)).is_none()
    })
}

/// Planned steps of which the record holds no beginning: a hole lies over it.
fn unseen(run: &Run, loss: &Loss, profile: &Profile) -> Vec<Finding> {
    let mut sizes = profile.plan.step.sizes_percent.clone();
    sizes.push(stroke_percent(&profile.plan.sweep));
    let is_opening = |(trace, _): &(StepTrace, f64)| trace.command_after > trace.command_before;
    let finding = |size: &f64, way: &str| {
        holes::finding(run, loss, &format!("the {way} step of {size:.0} % of travel is not in the record"))
    };
    let of_size = |size: &f64| {
        let (opening, closing): (Vec<_>, Vec<_>) = traces(run, &[*size]).into_iter().partition(is_opening);
        [(opening, "opening"), (closing, "closing")]
            .into_iter()
            .filter(|(seen, _)| seen.is_empty())
            .map(|(_, way)| finding(size, way))
            .collect::<Vec<_>>()
    };
    sizes.iter().flat_map(of_size).collect()
}

fn stroke_percent(range: &SweepPlan) -> f64 {
    100.0 * (range.highest - range.lowest)
}

/// From the rest before the step to the end of its hold.
fn span_of(trace: &StepTrace) -> Span {
    let last = trace.readings.last().map_or(0.0, |&(t, _)| t);
    let ticks = (last * f64::from(TICKS_PER_SECOND)).round() as u32;
    Span { first: Tick(trace.at.0.wrapping_sub(STANDING as u32)), last: trace.at.after(ticks) }
}

/// A step from a lever that still creeps or hunts gives no time of its own.
fn not_at_rest(run: &Run, trace: &StepTrace, drift: f64, bands: StepBands) -> Finding {
    Finding {
        code: "not at rest before the step".into(),
        seen: format!(
            "{}: the lever still moved by {:.2} % of travel in the {STANDING} ms before it (allowed ±{:.2} %)",
            told(run, trace),
            100.0 * drift,
            100.0 * bands.moved
        ),
        advice: "Look at the trace before the step for hunting or creep: friction, play in the joint, the \
            loop's gains. If it only comes to rest late, raise plan.step.hold_ticks in the profile. Then \
            step again."
            .into(),
        fault_of: FaultOf::Unit,
    }
}

fn told(run: &Run, trace: &StepTrace) -> String {
    format!("{}: step {}", run.name, size_of(trace))
}

fn size_of(trace: &StepTrace) -> String {
    let (from, to) = (100.0 * trace.command_before, 100.0 * trace.command_after);
    format!("from {from:.0} to {to:.0} % of travel")
}

/// The bands that a profile gives.
pub(crate) fn bands(profile: &Profile) -> StepBands {
    StepBands { moved: profile.plan.bands.moved, settled: profile.plan.bands.settled }
}

/// How long the steps over the range of the sweep took; one that never arrived has no time, and its limit
/// stays unanswered.
fn strokes(run: &Run, profile: &Profile, conditions: &str) -> Vec<(VaneDirection, Figure)> {
    let (range, band) = (&profile.plan.sweep, profile.plan.bands.stroke_end);
    let time = |(trace, _): (StepTrace, f64)| {
        let (from, to) = (trace.command_before, trace.command_after);
        let direction = if to > from { VaneDirection::Opening } else { VaneDirection::Closing };
        let seconds = stroke_time(&trace.readings, to, band)?;
        let before = trace.readings.iter().rev().find(|(t, _)| *t < seconds).map_or(0.0, |&(t, _)| t);
        let tick = |t: f64| trace.at.after((t * f64::from(TICKS_PER_SECOND)).round() as u32);
        let needs = vec![Span { first: tick(before), last: tick(seconds) }];
        let conditions = format!("{conditions}; a stroke ends within {:.1} % of travel", 100.0 * band);
        let place = format!("{:.0} to {:.0} % of travel", 100.0 * from, 100.0 * to);
        let figure = Figure::new(Measure::StrokeTime(direction), 1000.0 * seconds, &conditions);
        Some((direction, figure.placed(place).needing(needs)))
    };
    traces(run, &[stroke_percent(range)]).into_iter().filter_map(time).collect()
}

/// The steps of these sizes, each with what the opening moved by just before it.
fn traces(run: &Run, sizes_percent: &[f64]) -> Vec<(StepTrace, f64)> {
    let samples: Vec<(&RecordedSample, f64)> = run
        .samples()
        .filter_map(|sample| match sample.command {
            Command::Opening(opening) => Some((sample, f64::from(opening.get()))),
            Command::Release | Command::Duty(_) | Command::Current(_) => None,
        })
        .collect();
    let holds: Vec<_> = samples.chunk_by(|a, b| a.1 == b.1).collect();
    holds.windows(2).filter_map(|pair| trace(pair.first()?, pair.last()?, sizes_percent)).collect()
}

/// The step between two holds, if it is of one of these sizes.
fn trace(
    before: &[(&RecordedSample, f64)],
    after: &[(&RecordedSample, f64)],
    sizes_percent: &[f64],
) -> Option<(StepTrace, f64)> {
    let (&(last, from), &(first, to)) = (before.last()?, after.first()?);
    let planned = |size: &f64| ((to - from).abs() - size / 100.0).abs() < SAME_SIZE;
    if !sizes_percent.iter().any(planned) || first.tick.since(last.tick) != 1 {
        return None;
    }
    let is_near = |s: &&(&RecordedSample, f64)| (last.tick.since(s.0.tick) as usize) < STANDING;
    let held: Vec<_> =
        before.iter().rev().take_while(is_near).filter_map(|s| s.0.opening).map(f64::from).collect();
    let short = held.len().min(BEFORE);
    let (latest, earliest) = (mean(&held[..short]), mean(&held[held.len() - short..]));
    // The sample of the step's own tick was taken before the drive heard of it.
    let later = after.iter().skip(1).filter_map(|(sample, _)| {
        let seconds = f64::from(sample.tick.since(first.tick)) / f64::from(TICKS_PER_SECOND);
        Some((seconds, f64::from(sample.opening?)))
    });
    let trace = StepTrace {
        at: first.tick,
        command_before: from,
        command_after: to,
        start: latest,
        readings: later.collect(),
    };
    Some((trace, latest - earliest))
}
