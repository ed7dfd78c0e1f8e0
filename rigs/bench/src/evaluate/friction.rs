//! Slow open-loop ramps: what is read while the lever moves the way the duty is going.

use firmware_core::command::Command;

use super::{Exhibit, Shown, conditions, holes};
use crate::figures::VaneDirection;
use crate::figures::friction::{BINS, FrictionCurve};
use crate::judge::{Evidence, FaultOf};
use crate::profile::{FrictionPlan, Profile};
use crate::record::{RecordedSample, Run};
use crate::rig::Measurand;
use crate::span::Span;

/// Ticks between the two readings that decide whether the lever moves.
const BASE: u32 = 50;
/// Movement over that base that counts as moving, opening.
const MOVING: f32 = 0.000_5;
/// How far the pace of the duty may differ from the plan's, as a share: duty travels in steps of 0.0001.
const SAME_PACE: f64 = 0.2;

/// Way of the lever within a hole that hides a place of its travel, opening: a bin of the curve, which is
/// narrower than the trouble of one vane pin.
const HIDDEN: f64 = 1.0 / BINS as f64;

/// One reading while moving.
struct MovingReading {
    direction: VaneDirection,
    opening: f64,
    current: f64,
    duty: f64,
}

pub(super) fn evaluate(run: &Run, profile: &Profile) -> Shown {
    if let Some(why) = run.file.conditions.get(Measurand::MotorCurrent.key()) {
        return Shown::nothing(
            "not-measured",
            format!(
                "{}: friction is read from the motor's current, and the rig does not measure it: {why}",
                run.name
            ),
            "Run this part again on a rig that measures the motor's current.",
            FaultOf::Rig,
        );
    }
    let plan = &profile.plan.friction;
    let moving = moving(run, plan);
    let curve = |effort: fn(&MovingReading) -> f64| {
        let of = |direction| {
            let readings = moving.iter().filter(move |m| m.direction == direction);
            readings.map(move |m| (m.opening, effort(m))).collect::<Vec<_>>()
        };
        FrictionCurve::try_new(&of(VaneDirection::Opening), &of(VaneDirection::Closing), plan.end_excluded)
    };
    let loss = run.loss();
    let unseen = holes::across(run, &loss, opening_on_a_ramp);
    let hidden: Vec<_> = unseen.iter().filter(|across| is_hidden(across, plan, &moving)).collect();
    match (curve(|m| m.current), curve(|m| m.duty)) {
        (Ok(current), Ok(duty)) => {
            let moved = |(_, from, to): &(Span, f64, f64)| (from != to).then_some((*from, *to));
            let holes = unseen.iter().filter_map(moved).collect();
            let evidence = if hidden.is_empty() {
                Evidence { figures: current.figures(&conditions(run)), ..Evidence::default() }
            } else {
                holes::nothing(run, &loss, &hidden_words(&hidden)).evidence
            };
            Shown { evidence, exhibit: Some(Exhibit::Friction { current, duty, holes }) }
        }
        (Err(error), _) | (_, Err(error)) if !loss.is_none() => {
            holes::nothing(run, &loss, &format!("the ramps are incomplete: {error}"))
        }
        (Err(error), _) | (_, Err(error)) => Shown::nothing(
            "no friction",
            format!("{}: {error}", run.name),
            "Check that the ring moves freely by hand, and that the ramps in the profile reach both ends.",
            if run.is_complete() { FaultOf::Unit } else { FaultOf::Rig },
        ),
    }
}

fn moving(run: &Run, plan: &FrictionPlan) -> Vec<MovingReading> {
    let samples: Vec<&RecordedSample> = run.samples().collect();
    let slow = (plan.opening_duty - plan.closing_duty) / f64::from(plan.ramp_ticks) * f64::from(BASE);
    let at = |index: usize, later: u32| {
        let wanted = samples.get(index)?.tick.after(later);
        // Where nothing is missing it stands as many samples on; after a hole it is nearer.
        let near = samples.get(index..=(index + later as usize).min(samples.len() - 1))?;
        near.iter().rev().find(|sample| sample.tick == wanted).copied()
    };
    (0..samples.len())
        .filter_map(|index| reading(samples.get(index)?, at(index, BASE / 2)?, at(index, BASE)?, slow))
        .collect()
}

/// The middle of the window, if over it the duty went at the planned ramp's pace and the lever with it. The
/// quicker ramp that leads to the start is no friction measurement.
fn reading(
    first: &RecordedSample,
    middle: &RecordedSample,
    last: &RecordedSample,
    slow: f64,
) -> Option<MovingReading> {
    let (Command::Duty(from), Command::Duty(to)) = (first.command, last.command) else { return None };
    let (pushed, moved) = (to.get() - from.get(), last.opening? - first.opening?);
    if (f64::from(pushed.abs()) / slow - 1.0).abs() > SAME_PACE {
        return None;
    }
    let direction = match () {
        () if pushed > 0.0 && moved > MOVING => VaneDirection::Opening,
        () if pushed < 0.0 && moved < -MOVING => VaneDirection::Closing,
        () => return None,
    };
    Some(MovingReading {
        direction,
        opening: f64::from(middle.opening?),
        current: f64::from(middle.motor_current?.0),
        duty: f64::from(middle.duty),
    })
}

fn opening_on_a_ramp(sample: &RecordedSample) -> Option<f64> {
    match sample.command {
        Command::Duty(_) => sample.opening.map(f64::from),
        Command::Release | Command::Opening(_) | Command::Current(_) => None,
    }
}

/// True for a hole of the ramps over a place that no other pass in the same direction shows: it may bind there. Ends
/// that are left out anyway hide nothing.
fn is_hidden((_, from, to): &(Span, f64, f64), plan: &FrictionPlan, moving: &[MovingReading]) -> bool {
    let inside = plan.end_excluded..=1.0 - plan.end_excluded;
    let counts = inside.contains(from) || inside.contains(to);
    counts && widest_gap(moving, *from, *to) > HIDDEN
}

/// Widest stretch of the way from one opening to another without a reading in that direction.
fn widest_gap(moving: &[MovingReading], from: f64, to: f64) -> f64 {
    let direction = if to > from { VaneDirection::Opening } else { VaneDirection::Closing };
    let (low, high) = (from.min(to), from.max(to));
    let is_there = |m: &&MovingReading| m.direction == direction && (low..=high).contains(&m.opening);
    let mut places: Vec<f64> = moving.iter().filter(is_there).map(|m| m.opening).collect();
    places.extend([low, high]);
    places.sort_by(f64::total_cmp);
    places.windows(2).filter_map(|pair| Some(pair.last()? - pair.first()?)).fold(0.0, f64::max)
}

fn hidden_words(hidden: &[&(Span, f64, f64)]) -> String {
    let word = |(_, from, to): &&(Span, f64, f64)| format!("{:.0} to {:.0} %", 100.0 * from, 100.0 * to);
    let places: Vec<String> = hidden.iter().map(word).collect();
    format!("the lever moved unseen from {} of travel", places.join(", "))
}
