//! Slow reversals: how far the command comes back before the position follows.
//!
//! In: a sweep's record. Out: one [`Reversal`] for each planned place that was recorded whole, and the widest
//! dead band; a place without either is a finding.

use firmware_core::command::Command;

use crate::figures::motion::{Reversal, dead_band};
use crate::figures::{Figure, Measure, mean};
use crate::judge::{Evidence, FaultOf, Finding, advice};
use crate::profile::{REVERSAL_HOLE, REVERSAL_RANGE, REVERSAL_TICKS, SweepPlan};
use crate::record::{MOTION_ENDED, RecordedSample, Row, Run};

/// Readings averaged into one point: the command then moves by 0.01 % of travel from point to point.
const AVERAGED: u32 = 20;
/// Way back that counts as following, opening: over six deviations of the difference of two averages of
/// readings that each scatter by 2.5 of 10 700 counts, the most of a sound sensor.
const FOLLOWED: f64 = 0.000_5;
/// Share of the ramps' readings that must be there.
const WHOLE: f64 = 0.8;
/// How near recorded commands must lie to planned ones, opening.
const SAME_COMMAND: f64 = 0.000_5;
const RAMPS: u32 = 3;
const TURNS: usize = 2;

pub(super) fn reversals(run: &Run, plan: &SweepPlan) -> Vec<Reversal> {
    let notes = run.rows.iter().filter_map(Row::note);
    let ends: Vec<u32> = notes.filter(|(_, text)| *text == MOTION_ENDED).map(|(tick, _)| tick.0).collect();
    let samples: Vec<&RecordedSample> = run.samples().collect();
    let motion = |sample: &RecordedSample| ends.partition_point(|end| *end <= sample.tick.0);
    samples.chunk_by(|a, b| motion(a) == motion(b)).filter_map(|part| reversal(part, plan)).collect()
}

/// The largest dead band of them all, with its place; findings where one is wider than the ramps or missing.
pub(super) fn judged(reversals: &[Reversal], plan: &SweepPlan, run: &Run) -> Evidence {
    let mut evidence = Evidence::default();
    for place in &plan.reversals {
        let at = format!("{}: slow reversal at {:.0} % of travel", run.name, 100.0 * place);
        match reversals.iter().find(|reversal| reversal.place == *place) {
            None => evidence.findings.push(missing(at)),
            Some(reversal) if reversal.dead_bands.len() < TURNS => evidence.findings.push(wide(at)),
            Some(_) => {}
        }
    }
    if evidence.findings.is_empty() {
        evidence.figures.extend(widest(reversals, &super::conditions(run)));
    }
    evidence
}

fn missing(at: String) -> Finding {
    Finding {
        code: "no reversal".into(),
        seen: format!("{at}: not fully recorded"),
        advice: "What was recorded is kept; sweep again for the dead band.".into(),
        fault_of: FaultOf::Rig,
    }
}

fn wide(at: String) -> Finding {
    Finding {
        code: "dead band too wide".into(),
        seen: format!("{at}: the position did not follow within {:.1} % of travel", 100.0 * REVERSAL_RANGE),
        advice: advice(Measure::DeadBand).into(),
        fault_of: FaultOf::Unit,
    }
}

fn widest(reversals: &[Reversal], conditions: &str) -> Option<Figure> {
    let of = |r: &Reversal| r.dead_bands.iter().copied().reduce(f64::max).map(|width| (width, r.place));
    let (width, place) = reversals.iter().filter_map(of).max_by(|a, b| a.0.total_cmp(&b.0))?;
    let conditions = format!(
        "{conditions}; {:.1} % of travel each way in {} ms, the position follows beyond {:.2} %",
        100.0 * REVERSAL_RANGE,
        REVERSAL_TICKS,
        100.0 * FOLLOWED
    );
    let place = format!("at {:.0} % of travel", 100.0 * place);
    Some(Figure::new(Measure::DeadBand, 100.0 * width, &conditions).placed(place))
}

fn reversal(motion: &[&RecordedSample], plan: &SweepPlan) -> Option<Reversal> {
    let last = motion.last()?.tick;
    // Ticks before the end, command, position.
    let ramps: Vec<(u32, f64, f64)> = motion
        .iter()
        .filter(|sample| last.since(sample.tick) < RAMPS * REVERSAL_TICKS)
        .filter_map(|sample| match (sample.command, sample.opening) {
            (Command::Opening(to), Some(at)) => {
                Some((last.since(sample.tick), f64::from(to.get()), f64::from(at)))
            }
            _ => None,
        })
        .collect();
    let commands = || ramps.iter().map(|(_, command, _)| *command);
    let (low, high) = (commands().reduce(f64::min)?, commands().reduce(f64::max)?);
    let place = *plan.reversals.iter().find(|place| (**place - high).abs() < SAME_COMMAND)?;
    let is_planned = (high - low - REVERSAL_RANGE).abs() < SAME_COMMAND;
    let is_whole = ramps.len() as f64 >= WHOLE * f64::from(RAMPS * REVERSAL_TICKS)
        && ramps.windows(2).all(|pair| matches!(pair, [a, b] if a.0 - b.0 <= REVERSAL_HOLE));
    if !is_planned || !is_whole {
        return None;
    }
    let averaged = |points: &[(u32, f64, f64)]| {
        let commands: Vec<f64> = points.iter().map(|point| point.1).collect();
        let positions: Vec<f64> = points.iter().map(|point| point.2).collect();
        (mean(&commands), mean(&positions))
    };
    // By ticks and not by count: a hole does not shift what comes after it.
    let course_of = |from: u32, ramps_long: u32| -> Vec<(f64, f64)> {
        let inside = |point: &&(u32, f64, f64)| {
            let since = RAMPS * REVERSAL_TICKS - 1 - point.0;
            (from..from + ramps_long * REVERSAL_TICKS).contains(&since)
        };
        let points: Vec<_> = ramps.iter().filter(inside).copied().collect();
        points.chunk_by(|a, b| a.0 / AVERAGED == b.0 / AVERAGED).map(averaged).collect()
    };
    let turns = [course_of(0, 2), course_of(REVERSAL_TICKS, 2)];
    let dead_bands = turns.iter().filter_map(|turn| dead_band(turn, FOLLOWED)).collect();
    Some(Reversal { place, course: course_of(0, RAMPS), dead_bands })
}
