//! Turns a profile's plan into the motion segments that the board runs.
//!
//! In: a checked plan. Out: segments. Points are approached by a ramp, never by a step, so that each is
//! reached from one side only, as IEC 61298-2 asks of an accuracy test.

use firmware_core::motion::{Goal, MAX_SEGMENTS, Segment};
use firmware_core::units::{Duty, Opening};

use crate::profile::{FrictionPlan, REVERSAL_RANGE, REVERSAL_TICKS, StepPlan, SweepPlan};

/// Time of the ramp from one point of the staircase to the next, ticks: slow enough that the position loop
/// follows without passing the point.
const APPROACH_TICKS: u32 = 250;
/// Time to get from wherever the lever is to the start of a motion, ticks.
const FIRST_APPROACH_TICKS: u32 = 600;
/// Rest at the turning points of a friction ramp, ticks: the lever comes to a stop before it turns.
const TURN_TICKS: u32 = 300;

/// One up-and-down cycle over the travel; run it once for each cycle.
#[must_use]
pub fn staircase(plan: &SweepPlan) -> Vec<Segment> {
    let last = plan.points.saturating_sub(1).max(1);
    let at =
        |index: u32| opening(plan.lowest + (plan.highest - plan.lowest) * f64::from(index) / f64::from(last));
    let up = (0..=last).map(at);
    let down = (0..last).rev().map(at);
    let mut segments = vec![Segment { goal: at(0), ticks: FIRST_APPROACH_TICKS }];
    for goal in up.chain(down) {
        segments.push(Segment { goal, ticks: APPROACH_TICKS });
        segments.push(Segment { goal, ticks: plan.dwell_ticks });
    }
    segments
}

/// A slow ramp up to a place, down and up again, in closed loop.
#[must_use]
pub fn slow_reversal(place: f64) -> Vec<Segment> {
    let (low, high) = (opening(place - REVERSAL_RANGE), opening(place));
    vec![
        Segment { goal: low, ticks: FIRST_APPROACH_TICKS },
        Segment { goal: low, ticks: TURN_TICKS },
        Segment { goal: high, ticks: REVERSAL_TICKS },
        Segment { goal: low, ticks: REVERSAL_TICKS },
        Segment { goal: high, ticks: REVERSAL_TICKS },
    ]
}

/// The ramps of a slow reversal, in ticks from its start.
pub(super) fn reversal_ramps() -> std::ops::Range<u32> {
    let begin = FIRST_APPROACH_TICKS + TURN_TICKS;
    begin..begin + 3 * REVERSAL_TICKS
}

/// One slow duty ramp each way, open loop, between rests; run it once for each cycle.
#[must_use]
pub fn friction_ramps(plan: &FrictionPlan) -> Vec<Segment> {
    let closing = duty(plan.closing_duty);
    let opening = duty(plan.opening_duty);
    // In closed loop to the closed end: nothing before the first slow ramp is open loop, so nothing of it is
    // taken for friction.
    let start = Goal::Opening(Opening::saturating(plan.end_excluded as f32, Opening::CLOSED));
    vec![
        Segment { goal: start, ticks: FIRST_APPROACH_TICKS },
        Segment { goal: start, ticks: TURN_TICKS },
        Segment { goal: closing, ticks: 0 },
        Segment { goal: closing, ticks: TURN_TICKS },
        Segment { goal: opening, ticks: plan.ramp_ticks },
        Segment { goal: opening, ticks: TURN_TICKS },
        Segment { goal: closing, ticks: plan.ramp_ticks },
    ]
}

/// One step up and one down of a size in per cent of travel.
#[must_use]
pub fn steps(plan: &StepPlan, size_percent: f64) -> Vec<Segment> {
    let half = size_percent / 200.0;
    up_and_down(plan, plan.centre - half, plan.centre + half)
}

/// One step each way over the range of the sweep.
#[must_use]
pub fn full_stroke(plan: &StepPlan, range: &SweepPlan) -> Vec<Segment> {
    up_and_down(plan, range.lowest, range.highest)
}

/// Time of an endurance stroke's ramp one way, ticks.
pub(super) const STROKE_RAMP_TICKS: u32 = 500;
/// Rest at each end of it, ticks.
pub(super) const STROKE_HOLD_TICKS: u32 = 250;
/// A stroke: there and back.
pub(super) const STROKE_TICKS: u32 = 2 * (STROKE_RAMP_TICKS + STROKE_HOLD_TICKS);
/// Strokes that one motion of the board holds.
pub(super) const STROKES_A_MOTION: u32 = (MAX_SEGMENTS as u32 - 2) / 4;

/// From the start of a motion to its first stroke, ticks.
pub(super) fn stroke_lead_ticks() -> u32 {
    FIRST_APPROACH_TICKS + STROKE_HOLD_TICKS
}

/// So many strokes over the range of the sweep, ramps and rests.
pub(super) fn strokes(range: &SweepPlan, many: u32) -> Vec<Segment> {
    let (low, high) = (opening(range.lowest), opening(range.highest));
    let lead =
        [Segment { goal: low, ticks: FIRST_APPROACH_TICKS }, Segment { goal: low, ticks: STROKE_HOLD_TICKS }];
    let stroke = [
        Segment { goal: high, ticks: STROKE_RAMP_TICKS },
        Segment { goal: high, ticks: STROKE_HOLD_TICKS },
        Segment { goal: low, ticks: STROKE_RAMP_TICKS },
        Segment { goal: low, ticks: STROKE_HOLD_TICKS },
    ];
    lead.into_iter().chain((0..many).flat_map(|_| stroke)).collect()
}

/// Ticks after a step in which a sound unit comes to rest: what is lost of them cannot be told from the rest.
const DECISIVE_TICKS: u32 = 400;

/// The stretches of a step piece that decide its figures, in ticks from its start.
#[must_use]
pub(super) fn decisive(plan: &StepPlan) -> [std::ops::Range<u32>; 2] {
    let up = FIRST_APPROACH_TICKS.saturating_add(plan.hold_ticks);
    let after = |step: u32| step.saturating_sub(1)..step.saturating_add(DECISIVE_TICKS.min(plan.hold_ticks));
    [after(up), after(up.saturating_add(plan.hold_ticks))]
}

/// The slow ramps of a friction piece, in ticks from its start.
pub(super) fn slow_ramps(plan: &FrictionPlan) -> std::ops::Range<u32> {
    let begin = FIRST_APPROACH_TICKS + 2 * TURN_TICKS;
    begin..begin.saturating_add(plan.ramp_ticks.saturating_mul(2)).saturating_add(TURN_TICKS)
}

fn up_and_down(plan: &StepPlan, low: f64, high: f64) -> Vec<Segment> {
    let (low, high) = (opening(low), opening(high));
    vec![
        Segment { goal: low, ticks: FIRST_APPROACH_TICKS },
        Segment { goal: low, ticks: plan.hold_ticks },
        Segment { goal: high, ticks: 0 },
        Segment { goal: high, ticks: plan.hold_ticks },
        Segment { goal: low, ticks: 0 },
        Segment { goal: low, ticks: plan.hold_ticks },
    ]
}

/// Ticks that the segments take.
#[must_use]
pub(crate) fn duration(segments: &[Segment]) -> u32 {
    segments.iter().map(|segment| segment.ticks).fold(0, u32::saturating_add)
}

fn opening(value: f64) -> Goal {
    Goal::Opening(Opening::saturating(value as f32, Opening::OPEN))
}

fn duty(value: f64) -> Goal {
    Goal::Duty(Duty::saturating(value as f32, Duty::ZERO))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_longest_staircase_that_a_board_holds_has_eleven_points() {
        let plan = SweepPlan {
            points: 11,
            cycles: 3,
            preconditioning_cycles: 1,
            lowest: 0.05,
            highest: 0.95,
            dwell_ticks: 400,
            average_ticks: 100,
            reversals: Vec::new(),
        };
        let segments = staircase(&plan);
        assert!(segments.len() <= MAX_SEGMENTS, "{}", segments.len());
        let peak = segments.iter().filter(|s| s.goal == opening(0.95)).count();
        assert_eq!(peak, 2, "the top is reached once, by its ramp and its dwell");
        assert_eq!(duration(&segments), 600 + 21 * (250 + 400));
    }
}
