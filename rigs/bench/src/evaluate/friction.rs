//! Slow open-loop ramps: what is read while the lever moves the way the duty is going.

use firmware_core::command::Command;

use super::{Exhibit, Shown, conditions};
use crate::figures::Direction;
use crate::figures::friction::FrictionCurve;
use crate::judge::{Evidence, FaultOf};
use crate::profile::{FrictionPlan, Profile};
use crate::record::{Run, Sample};

/// Samples between the two readings that decide whether the lever moves.
const BASE: usize = 50;
/// Movement over that base that counts as moving, opening.
const MOVING: f32 = 0.000_5;
/// How far the pace of the duty may differ from the plan's, as a share: duty travels in steps of 0.0001.
const SAME_PACE: f64 = 0.2;

/// One reading while moving.
struct Moving {
    direction: Direction,
    opening: f64,
    current: f64,
    duty: f64,
}

pub(super) fn evaluate(run: &Run, profile: &Profile) -> Shown {
    let plan = &profile.plan.friction;
    let moving = moving(run, plan);
    let curve = |effort: fn(&Moving) -> f64| {
        let of = |direction| {
            let readings = moving.iter().filter(move |m| m.direction == direction);
            readings.map(move |m| (m.opening, effort(m))).collect::<Vec<_>>()
        };
        FrictionCurve::try_new(&of(Direction::Opening), &of(Direction::Closing), plan.end_excluded)
    };
    match (curve(|m| m.current), curve(|m| m.duty)) {
        (Ok(current), Ok(duty)) => {
            let figures = current.figures(&conditions(run));
            Shown {
                evidence: Evidence { figures, findings: Vec::new() },
                exhibit: Some(Exhibit::Friction { current, duty }),
            }
        }
        (Err(error), _) | (_, Err(error)) => Shown::nothing(
            "no friction",
            format!("{}: {error}", run.name),
            "Check that the ring moves freely by hand and that the ramps in the profile reach both ends.",
            if run.is_complete() { FaultOf::Unit } else { FaultOf::Rig },
        ),
    }
}

fn moving(run: &Run, plan: &FrictionPlan) -> Vec<Moving> {
    let samples: Vec<&Sample> = run.samples().collect();
    let slow = (plan.opening_duty - plan.closing_duty) / f64::from(plan.ramp_ticks) * BASE as f64;
    samples.windows(BASE + 1).filter_map(|window| reading(window, slow)).collect()
}

/// The middle of the window, if over it the duty went at the planned ramp's pace and the lever with it. The
/// quicker ramp that leads to the start is no friction measurement.
fn reading(window: &[&Sample], slow: f64) -> Option<Moving> {
    let (first, last, middle) = (window.first()?, window.last()?, window.get(BASE / 2)?);
    let (Command::Duty(from), Command::Duty(to)) = (first.command, last.command) else { return None };
    if last.tick.since(first.tick) as usize != BASE {
        return None;
    }
    let (pushed, moved) = (to.get() - from.get(), last.opening? - first.opening?);
    if (f64::from(pushed.abs()) / slow - 1.0).abs() > SAME_PACE {
        return None;
    }
    let direction = match () {
        () if pushed > 0.0 && moved > MOVING => Direction::Opening,
        () if pushed < 0.0 && moved < -MOVING => Direction::Closing,
        () => return None,
    };
    Some(Moving {
        direction,
        opening: f64::from(middle.opening?),
        current: f64::from(middle.motor_current?.0),
        duty: f64::from(middle.duty),
    })
}
