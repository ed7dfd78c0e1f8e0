//! The two pushes at the end of each stroke: the winding's volts, the stop's place and what it yields.

use super::segment::{TickReading, Trace, mean};
use super::value::{Value, spread};

/// Ticks over which a current is smoothed, and that a push is left to settle.
const SMOOTH: usize = 16;
const SETTLED: usize = 20;
/// Share of the second push from which it counts as reached, and least that the two are apart, in shares of the first.
const RISEN: f64 = 0.98;
const APART: f64 = 0.06;
/// Ticks of a push that are averaged.
const PUSH_READINGS: usize = 120;

/// A push at a stop.
#[derive(Debug, Clone, Copy)]
pub(super) struct Pushed {
    pub(super) amps: [f64; 2],
    pub(super) volts: [f64; 2],
    counts: [f64; 2],
}

/// The two pushes at the end of a stroke.
pub(super) fn pushed(trace: &Trace, push: f64, offset: f64) -> Option<Pushed> {
    let driven = trace.driven();
    let second = driven.get(driven.len().checked_sub(PUSH_READINGS)?..)?;
    let size = |from: &[TickReading]| mean(from.iter().map(|one| (one.amps - offset).abs()));
    let high = size(second);
    // The current rises evenly from the one push to the other: as long before its middle as after it.
    let middle = driven.windows(SMOOTH).rposition(|near| size(near) < 0.5 * (push.min(high) + high))?;
    let risen = driven.windows(SMOOTH).skip(middle).position(|near| size(near) > RISEN * high)?;
    let until = middle.checked_sub(risen + SETTLED)?;
    let first = driven.get(until.checked_sub(PUSH_READINGS)?..until)?;
    let of = |from: &[TickReading], what: fn(&TickReading) -> f64| mean(from.iter().map(what));
    let found = Pushed {
        amps: [of(first, |one| one.amps) - offset, of(second, |one| one.amps) - offset],
        volts: [of(first, |one| one.volts), of(second, |one| one.volts)],
        counts: [of(first, |one| one.counts), of(second, |one| one.counts)],
    };
    ((found.amps[1] - found.amps[0]).abs() > APART * push).then_some(found)
}

/// Where a stop lies without push, and what it yields for an ampere.
pub(super) fn stop(
    pushes: &[(f64, Pushed)],
    way: f64,
    running: f64,
    friction: f64,
    span: f64,
) -> Option<(Value, f64)> {
    let own = || pushes.iter().filter(move |(of, _)| *of == way).map(|(_, pushed)| pushed);
    let yields: Vec<f64> = own().map(|p| (p.counts[1] - p.counts[0]) / (p.amps[1] - p.amps[0])).collect();
    if yields.is_empty() {
        return None;
    }
    let soft = mean(yields.iter().copied());
    let places: Vec<f64> = own().map(|p| p.counts[0] - soft * (p.amps[0] - running)).collect();
    let mut place = spread(&places, 0.0);
    place.uncertainty += 0.5 * friction * soft.abs() + 1.0 + 0.001 * span;
    Some((place, soft.abs()))
}
