//! Slow reversals: how far the command comes back before the position follows.
//!
//! In: a sweep's record. Out: one [`Reversal`] for each planned place that was recorded whole, and the widest
//! dead band; a place without either is a finding.

use firmware_core::command::Command;

use crate::figures::motion::{Reversal, dead_band};
use crate::figures::{Figure, Measure, mean};
use crate::judge::{Evidence, FaultOf, Finding, advice};
use crate::procedure::{REVERSAL_RANGE, REVERSAL_TICKS};
use crate::profile::SweepPlan;
use crate::record::{MOTION_ENDED, Mark, Row, Run, Sample};

/// Readings averaged into one point: the command then moves by 0.01 % of travel from point to point.
const AVERAGED: usize = 20;
/// Way back that counts as following, opening: over six deviations of the difference of two averages of
/// readings that each scatter by 2.5 of 10 700 counts, the most of a sound sensor.
const FOLLOWED: f64 = 0.000_5;
/// Share of the ramps' readings that must be there.
const WHOLE: f64 = 0.95;
/// How near recorded commands must lie to planned ones, opening.
const SAME_COMMAND: f64 = 0.000_5;
const RAMPS: u32 = 3;
const TURNS: usize = 2;

pub(super) fn reversals(run: &Run, plan: &SweepPlan) -> Vec<Reversal> {
    let ends = run.rows.iter().filter_map(|row| match row {
        Row::Mark(tick, Mark::Note(text)) if text == MOTION_ENDED => Some(tick.0),
        _ => None,
    });
    let ends: Vec<u32> = ends.collect();
    let samples: Vec<&Sample> = run.samples().collect();
    let motion = |sample: &Sample| ends.partition_point(|end| *end <= sample.tick.0);
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
        seen: format!("{at}: not recorded whole"),
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

fn reversal(motion: &[&Sample], plan: &SweepPlan) -> Option<Reversal> {
    let last = motion.last()?.tick;
    let ramps: Vec<(f64, f64)> = motion
        .iter()
        .filter(|sample| last.since(sample.tick) < RAMPS * REVERSAL_TICKS)
        .filter_map(|sample| match (sample.command, sample.opening) {
            (Command::Opening(to), Some(at)) => Some((f64::from(to.get()), f64::from(at))),
            _ => None,
        })
        .collect();
    let commands = || ramps.iter().map(|(command, _)| *command);
    let (low, high) = (commands().reduce(f64::min)?, commands().reduce(f64::max)?);
    let place = *plan.reversals.iter().find(|place| (**place - high).abs() < SAME_COMMAND)?;
    let is_planned = (high - low - REVERSAL_RANGE).abs() < SAME_COMMAND;
    let is_whole = ramps.len() as f64 >= WHOLE * f64::from(RAMPS * REVERSAL_TICKS);
    if !is_planned || !is_whole {
        return None;
    }
    let averaged = |points: &[(f64, f64)]| {
        let (commands, positions): (Vec<f64>, Vec<f64>) = points.iter().copied().unzip();
        (mean(&commands), mean(&positions))
    };
    let course: Vec<(f64, f64)> = ramps.chunks(AVERAGED).map(averaged).collect();
    let third = course.len() / RAMPS as usize;
    let turns = [course.get(..2 * third)?, course.get(third..)?];
    let dead_bands = turns.iter().filter_map(|turn| dead_band(turn, FOLLOWED)).collect();
    Some(Reversal { place, course, dead_bands })
}
