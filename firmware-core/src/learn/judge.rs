//! The verdict over both stops: do they fit each other, the past, and the free actuator?
//!
//! In: two judged stops and the conditions. Out: a calibration, accepted or not proven, or a refusal.

use super::plan::LearnPlan;
use super::refusal::{LearnRefusal, ReserveFault};
use super::{CheckSet, LearnOutcome, Stop};
use crate::calibration::{Calibration, LearnedStop, Setup};
use crate::sample::Sample;

/// Judges a finished learn.
pub(super) fn outcome(
    plan: &LearnPlan,
    closed: LearnedStop,
    open: LearnedStop,
    sample: &Sample,
) -> Result<LearnOutcome, LearnRefusal> {
    let calibration = Calibration {
        closed,
        open,
        setup: plan.order.setup,
        warmth: plan.order.warmth,
        supply: sample.supply,
        temperature: sample.temperature,
        clearance: plan.learn.limits.clearance(plan.order.warmth),
    };
    fits(plan, &calibration)?;
    let check = CheckSet::needed_for(plan.order.setup).minus(plan.order.checked);
    Ok(if check.is_empty() {
        LearnOutcome::Accepted(calibration)
    } else {
        LearnOutcome::NotProven { calibration, check }
    })
}

fn fits(plan: &LearnPlan, calibration: &Calibration) -> Result<(), LearnRefusal> {
    span(plan, calibration)?;
    if let Some(previous) = plan.previous() {
        unmoved(plan, previous, calibration)?;
    }
    match (plan.order.setup, &plan.order.free) {
        (Setup::Attached | Setup::OnEngine, Some(free)) => reserve(plan, free, calibration),
        // A free actuator meets its own stops again: there is no ring to have a reserve over.
        (Setup::Free, _) | (Setup::Attached | Setup::OnEngine, None) => Ok(()),
    }
}

fn span(plan: &LearnPlan, calibration: &Calibration) -> Result<(), LearnRefusal> {
    let seen = plan.actuator.counts_direction.sign() * calibration.span_counts();
    let nominal = plan.open.window.centre() - plan.closed.window.centre();
    let nominal = plan.actuator.counts_direction.sign() * nominal;
    let (min, max) = (plan.learn.limits.span_min * nominal, plan.learn.limits.span_max * nominal);
    if seen > max {
        return Err(LearnRefusal::SpanLong { seen, max });
    }
    // A travel that is not a number lies in no range and is refused too.
    if (min..=max).contains(&seen) { Ok(()) } else { Err(LearnRefusal::SpanShort { seen, min }) }
}

fn unmoved(plan: &LearnPlan, previous: &Calibration, now: &Calibration) -> Result<(), LearnRefusal> {
    let max = plan.learn.limits.relearn_window * plan.travel;
    for stop in [Stop::Closed, Stop::Open] {
        let toward_open = plan.actuator.counts_direction.sign();
        let moved = toward_open * (stop.of(now).zero_push_counts - stop.of(previous).zero_push_counts);
        if !(-max..=max).contains(&moved) {
            return Err(LearnRefusal::MovedSincePrevious { stop, moved, max });
        }
    }
    Ok(())
}

/// Over-travel reserve: how far the free actuator's stops lie outside the attached ones.
fn reserve(plan: &LearnPlan, free: &Calibration, attached: &Calibration) -> Result<(), LearnRefusal> {
    let sign = plan.actuator.counts_direction.sign();
    let closed = sign * (attached.closed.zero_push_counts - free.closed.zero_push_counts);
    let open = sign * (free.open.zero_push_counts - attached.open.zero_push_counts);
    let least = plan.learn.limits.reserve_min * plan.travel;
    let lopsided = plan.learn.limits.reserve_lopsided * plan.travel;
    let refused = |fault, limit| Err(LearnRefusal::Reserve { fault, closed, open, limit });
    if closed < least || open < least {
        return refused(ReserveFault::TooSmall, least);
    }
    if (-lopsided..=lopsided).contains(&(closed - open)) {
        Ok(())
    } else {
        refused(ReserveFault::Lopsided, lopsided)
    }
}
