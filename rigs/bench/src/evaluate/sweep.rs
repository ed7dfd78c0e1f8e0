//! A staircase: the last part of each dwell is averaged, whole passes up and down make cycles.
//!
//! The two turning points are read once, where the direction turns, and stand for both directions.

use firmware_core::command::Command;
use firmware_core::units::{Opening, Tick};

use super::reversal::{self, reversals};
use super::{Exhibit, Shown, SweepPart, conditions, holes};
use crate::figures::Sensor;
use crate::figures::sweep::SweepTable;
use crate::judge::{Evidence, FaultOf};
use crate::profile::{Profile, SweepPlan};
use crate::record::{RecordedSample, Run};

/// How near a recorded command must lie to a planned point: commands travel in steps of 0.0001.
const SAME_COMMAND: f64 = 0.000_5;

/// The mean opening at one planned point.
struct Plateau {
    point: usize,
    reading: f64,
    last: Tick,
}

pub(super) fn evaluate(run: &Run, profile: &Profile) -> Shown {
    let plan = &profile.plan.sweep;
    let plateaus = plateaus(run, plan);
    let (up, down) = cycles(&plateaus, plan);
    let loss = run.loss();
    let in_part = || Some(Exhibit::SweepInPart(part(&plateaus, plan)));
    if run.is_complete() && !loss.is_none() && up.len() < plan.cycles as usize {
        let what = format!("{} of {} cycles are complete", up.len(), plan.cycles);
        return Shown { exhibit: in_part(), ..holes::nothing(run, &loss, &what) };
    }
    let inputs = (0..plan.points as usize).map(|i| 100.0 * command_at(plan, i)).collect();
    match SweepTable::try_new(inputs, up, down) {
        Ok(table) => {
            let conditions =
                format!("{}; {} complete cycles, turning points read once", conditions(run), table.cycles());
            let figures = table.figures(Sensor::Own, &conditions);
            let reversals = reversals(run, plan);
            let evidence = Evidence { figures, ..Evidence::default() };
            Shown {
                evidence: evidence.and(reversal::judged(&reversals, plan, run)),
                exhibit: Some(Exhibit::Sweep { table, reversals, holes: in_staircase(run, &plateaus, plan) }),
            }
        }
        Err(error) => Shown {
            exhibit: in_part(),
            ..Shown::nothing(
                "no sweep",
                format!("{}: {error}", run.name),
                "What was recorded is kept; sweep again for the figures.",
                FaultOf::Rig,
            )
        },
    }
}

fn command_at(plan: &SweepPlan, point: usize) -> f64 {
    plan.lowest + (plan.highest - plan.lowest) * point as f64 / f64::from(plan.points - 1)
}

/// Dwells at planned points, in order.
fn plateaus(run: &Run, plan: &SweepPlan) -> Vec<Plateau> {
    let samples: Vec<&RecordedSample> = run.samples().collect();
    samples.chunk_by(|a, b| a.command == b.command).filter_map(|dwell| plateau(dwell, plan)).collect()
}

fn plateau(dwell: &[&RecordedSample], plan: &SweepPlan) -> Option<Plateau> {
    let (first, last) = (dwell.first()?, dwell.last()?);
    let Command::Opening(opening) = first.command else { return None };
    // A dwell that was cut before its averaged part is no reading; a batch lost at its edge does no harm, nor
    // do holes in the averaged part that leave a quarter of its readings: the lever rests.
    if last.tick.since(first.tick) < plan.dwell_ticks / 4 * 3 {
        return None;
    }
    let point = point_at(plan, opening)?;
    let averaged = dwell.iter().filter(|s| last.tick.since(s.tick) < plan.average_ticks);
    let readings: Vec<f64> = averaged.filter_map(|s| s.opening).map(|o| 100.0 * f64::from(o)).collect();
    (4 * readings.len() >= plan.average_ticks as usize).then(|| Plateau {
        point,
        reading: crate::figures::mean(&readings),
        last: last.tick,
    })
}

fn point_at(plan: &SweepPlan, command: Opening) -> Option<usize> {
    let command = f64::from(command.get());
    (0..plan.points as usize).find(|i| (command_at(plan, *i) - command).abs() < SAME_COMMAND)
}

/// Commands on either side of each hole in the staircase, per cent of travel.
fn in_staircase(run: &Run, plateaus: &[Plateau], plan: &SweepPlan) -> Vec<(f64, f64)> {
    let end = plateaus.last().map_or(Tick(0), |plateau| plateau.last);
    let command = |sample: &RecordedSample| match sample.command {
        Command::Opening(to) => point_at(plan, to).map(|point| 100.0 * command_at(plan, point)),
        Command::Release | Command::Duty(_) | Command::Current(_) => None,
    };
    let across = holes::across(run, &run.loss(), command);
    across
        .into_iter()
        .filter(|(hole, ..)| end.has_reached(hole.first))
        .map(|(_, from, to)| (from, to))
        .collect()
}

/// Passes between what is missing.
fn part(plateaus: &[Plateau], plan: &SweepPlan) -> SweepPart {
    let command = |plateau: &Plateau| 100.0 * command_at(plan, plateau.point);
    let is_next = |a: &Plateau, b: &Plateau| a.point.abs_diff(b.point) == 1;
    let points = |pass: &[Plateau]| pass.iter().map(|p| (command(p), p.reading)).collect();
    let breaks = plateaus.windows(2).filter_map(|pair| match pair {
        // A cycle begins anew at the lowest point.
        [a, b] if !is_next(a, b) && (a.point, b.point) != (0, 0) => Some((command(a), command(b))),
        _ => None,
    });
    SweepPart { passes: plateaus.chunk_by(is_next).map(points).collect(), missing: breaks.collect() }
}

/// Whole cycles of a pass up and the pass down after it, without the preconditioning ones.
fn cycles(plateaus: &[Plateau], plan: &SweepPlan) -> (Vec<Vec<f64>>, Vec<Vec<f64>>) {
    let top = plan.points as usize - 1;
    let whole = plateaus.windows(2 * top + 1).filter(|window| {
        let expected = (0..=top).chain((0..top).rev());
        window.iter().map(|p| p.point).eq(expected)
    });
    let readings = whole.map(|window| window.iter().map(|p| p.reading).collect::<Vec<_>>());
    let measured: Vec<_> = readings.skip(plan.preconditioning_cycles as usize).collect();
    let down: Vec<Vec<f64>> =
        measured.iter().map(|cycle| cycle.iter().skip(top).rev().copied().collect()).collect();
    // The lowest point is only ever reached from above: the reading at the end of the pass down stands for both.
    let up = measured
        .iter()
        .zip(&down)
        .map(|(cycle, down)| down.iter().take(1).chain(cycle.iter().skip(1).take(top)).copied().collect());
    (up.collect(), down)
}
