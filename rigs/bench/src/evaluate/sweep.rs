//! A staircase: the last part of each dwell is averaged, whole passes up and down make cycles.
//!
//! The two turning points are read once, where the direction turns, and stand for both directions.

use firmware_core::command::Command;

use super::reversal::{self, reversals};
use super::{Exhibit, Shown, conditions, holes};
use crate::figures::Sensor;
use crate::figures::sweep::SweepTable;
use crate::judge::{Evidence, FaultOf};
use crate::profile::{Profile, SweepPlan};
use crate::record::{Run, Sample};

/// How near a recorded command must lie to a planned point: commands travel in steps of 0.0001.
const SAME_COMMAND: f64 = 0.000_5;

/// The mean opening at one planned point.
struct Plateau {
    point: usize,
    reading: f64,
}

pub(super) fn evaluate(run: &Run, profile: &Profile) -> Shown {
    let plan = &profile.plan.sweep;
    let (up, down) = cycles(&plateaus(run, plan), plan);
    let loss = run.loss();
    if run.is_complete() && !loss.is_none() && up.len() < plan.cycles as usize {
        let what = format!("{} of {} cycles are there whole", up.len(), plan.cycles);
        return holes::nothing(run, &loss, &what);
    }
    let inputs = (0..plan.points as usize).map(|i| 100.0 * command_at(plan, i)).collect();
    match SweepTable::try_new(inputs, up, down) {
        Ok(table) => {
            let conditions =
                format!("{}; {} whole cycles, turning points read once", conditions(run), table.cycles());
            let figures = table.figures(Sensor::Own, &conditions);
            let reversals = reversals(run, plan);
            let evidence = Evidence { figures, ..Evidence::default() };
            Shown {
                evidence: evidence.and(reversal::judged(&reversals, plan, run)),
                exhibit: Some(Exhibit::Sweep(table, reversals)),
            }
        }
        Err(error) => Shown::nothing(
            "no sweep",
            format!("{}: {error}", run.name),
            "What was recorded is kept; sweep again for the figures.",
            FaultOf::Rig,
        ),
    }
}

fn command_at(plan: &SweepPlan, point: usize) -> f64 {
    plan.lowest + (plan.highest - plan.lowest) * point as f64 / f64::from(plan.points - 1)
}

/// Dwells at planned points, in order.
fn plateaus(run: &Run, plan: &SweepPlan) -> Vec<Plateau> {
    let samples: Vec<&Sample> = run.samples().collect();
    samples.chunk_by(|a, b| a.command == b.command).filter_map(|dwell| plateau(dwell, plan)).collect()
}

fn plateau(dwell: &[&Sample], plan: &SweepPlan) -> Option<Plateau> {
    let (first, last) = (dwell.first()?, dwell.last()?);
    let Command::Opening(opening) = first.command else { return None };
    // A dwell that was cut before its averaged part is no reading; a batch lost at its edge does no harm, nor
    // do holes in the averaged part that leave half of its readings.
    if last.tick.since(first.tick) < plan.dwell_ticks / 4 * 3 {
        return None;
    }
    let command = f64::from(opening.get());
    let point = (0..plan.points as usize).find(|i| (command_at(plan, *i) - command).abs() < SAME_COMMAND)?;
    let averaged = dwell.iter().filter(|s| last.tick.since(s.tick) < plan.average_ticks);
    let readings: Vec<f64> = averaged.filter_map(|s| s.opening).map(|o| 100.0 * f64::from(o)).collect();
    (2 * readings.len() >= plan.average_ticks as usize)
        .then(|| Plateau { point, reading: crate::figures::mean(&readings) })
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
