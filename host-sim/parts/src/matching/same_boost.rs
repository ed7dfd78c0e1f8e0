//! Old and new at the same boost: when each gets there, against which exhaust pressure, with how much energy in
//! the rotor.
//!
//! In: the traces of a load step, three ways. Out: the common boost and what each needed for it. None where boost
//! does not rise in all of them.

use serde::Serialize;

use super::turbo::STEP_S;
use plant::airpath::AirState;

/// A common boost lies this far from the highest start to the lowest end: near the end a rise creeps, and a small
/// change of the end makes any change of the time.
const SHARE: f64 = 0.75;
/// Least rise of boost in which a time means anything, Pa.
const LEAST_RISE_PA: f64 = 1e3;
const PA_PER_KPA: f64 = 1e3;

/// What a turbo needed to reach the common boost.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Reached {
    /// Time after the step, s.
    pub time_s: f64,
    /// Exhaust pressure at that moment, absolute kPa.
    #[serde(rename = "exhaust_kpa_absolute")]
    pub exhaust_kpa: f64,
    /// Exhaust less boost there, kPa: what the pistons push against.
    pub pumping_kpa: f64,
    /// Energy that the rotor took up, J.
    pub spool_j: f64,
}

/// A load step compared at one boost.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, schemars::JsonSchema)]
pub struct SameBoost {
    /// The common boost, absolute kPa.
    #[serde(rename = "boost_kpa_absolute")]
    pub boost_kpa: f64,
    /// Old turbo.
    pub old: Reached,
    /// New turbo, calibration as it is.
    pub new_before: Reached,
    /// New turbo, re-mapped.
    pub new_after: Reached,
}

/// A trace and the inertia of the rotor that made it.
pub(super) type Spun<'a> = (&'a [AirState], f64);

/// The common boost of three traces, Pa.
fn common_pa(traces: &[Spun<'_>; 3]) -> Option<f64> {
    let boosts = |at: fn(&[AirState]) -> Option<&AirState>| {
        traces.iter().filter_map(move |(t, _)| at(t)).map(|s| s[0])
    };
    let start = boosts(|trace| trace.first()).fold(f64::NEG_INFINITY, f64::max);
    let end = boosts(|trace| trace.last()).fold(f64::INFINITY, f64::min);
    (end - start > LEAST_RISE_PA).then_some(start + SHARE * (end - start))
}

/// Compares three traces at their common boost.
pub(super) fn same_boost([old, new_before, new_after]: [Spun<'_>; 3]) -> Option<SameBoost> {
    let level_pa = common_pa(&[old, new_before, new_after])?;
    let of = |(trace, inertia): Spun<'_>| reached(trace, inertia, level_pa);
    Some(SameBoost {
        boost_kpa: level_pa / PA_PER_KPA,
        old: of(old)?,
        new_before: of(new_before)?,
        new_after: of(new_after)?,
    })
}

/// The moment at which a trace reaches a boost, between two steps where it must be.
fn reached(trace: &[AirState], inertia_kg_m2: f64, level_pa: f64) -> Option<Reached> {
    let at = trace.iter().position(|state| state[0] >= level_pa)?.max(1);
    let (before, after) = (trace.get(at - 1)?, trace.get(at)?);
    let share = time_share(before, after, level_pa);
    let between = |i: usize| before[i] + share * (after[i] - before[i]);
    let (start, speed) = (trace.first()?[2], between(2));
    let exhaust_kpa = between(1) / PA_PER_KPA;
    Some(Reached {
        time_s: (at as f64 - 1.0 + share) * STEP_S,
        exhaust_kpa,
        pumping_kpa: exhaust_kpa - level_pa / PA_PER_KPA,
        spool_j: 0.5 * inertia_kg_m2 * (speed * speed - start * start),
    })
}

/// Share of a step at which boost passes a level.
pub(super) fn time_share(before: &AirState, after: &AirState, level_pa: f64) -> f64 {
    ((level_pa - before[0]) / (after[0] - before[0])).clamp(0.0, 1.0)
}
