//! Which places of a picture stand out.

use firmware_core::learn::Stop;

use super::{BindingPlace, Picture, RampSample, Sound};
use crate::figures::VaneDirection;

/// Movement below this share of the sound travel is the give of gear and lever.
const GIVE_SHARE: f64 = 0.05;
/// Share of the sound travel by which an end may lie beside its window before it stands out.
const BESIDE_SHARE: f64 = 0.01;
/// Rise of the push from one stretch to the next that stands out, as a share of the largest push.
const HANG_SHARE: f64 = 0.15;
/// Share of the largest push from which on the lever counts as held by it.
const HELD_SHARE: f64 = 0.98;

/// Share of the current asked for below which the winding takes none of it.
const FLOWS_SHARE: f64 = 0.25;

/// Where the largest push held the lever, counts: not how far it flew before it came back.
#[derive(Debug, Clone, Copy)]
struct Ends {
    closed: f64,
    open: f64,
}

impl Ends {
    fn of(pushes: &[RampSample], peak_a: f64) -> Option<Self> {
        let held = |way: f64| pushes.iter().rfind(|push| way * push.asked >= HELD_SHARE * peak_a);
        Some(Self { closed: held(-1.0)?.counts, open: held(1.0)?.counts })
    }
}

/// The places that stand out: ends beside their windows, and where the push had to rise. Nothing before both ways were
/// pushed.
pub(super) fn find(picture: &Picture, pushes: &[RampSample], sound: &Sound) -> Vec<BindingPlace> {
    let Some(ends) = Ends::of(pushes, picture.peak_a) else { return Vec::new() };
    if let Some(place) = no_current(pushes, picture.peak_a) {
        return vec![place];
    }
    let opened = sound.open_sign * (ends.open - ends.closed);
    let give = GIVE_SHARE * sound.span;
    if opened < -give {
        return vec![BindingPlace::WrongWay { closing: ends.closed, opening: ends.open }];
    }
    if opened < give {
        return vec![BindingPlace::DoesNotMove {
            counts: ends.open,
            moved: opened.abs(),
            share: opened.abs() / sound.span,
        }];
    }
    let beside = [(Stop::Open, ends.open, sound.open), (Stop::Closed, ends.closed, sound.closed)]
        .into_iter()
        .filter_map(|(stop, counts, window)| end(stop, counts, window, sound));
    let hangs = [VaneDirection::Opening, VaneDirection::Closing].into_iter();
    beside.chain(hangs.filter_map(|way| hang(picture, way, ends, give))).collect()
}

fn no_current(pushes: &[RampSample], peak_a: f64) -> Option<BindingPlace> {
    let held: Vec<&RampSample> =
        pushes.iter().filter(|push| push.asked.abs() >= HELD_SHARE * peak_a).collect();
    let flowed_a = held.iter().map(|push| push.current.abs()).sum::<f64>() / held.len() as f64;
    (flowed_a < FLOWS_SHARE * peak_a).then_some(BindingPlace::NoCurrent { asked_a: peak_a, flowed_a })
}

fn end(stop: Stop, counts: f64, window: (f64, f64), sound: &Sound) -> Option<BindingPlace> {
    let outward = match stop {
        Stop::Open => sound.open_sign,
        Stop::Closed => -sound.open_sign,
    };
    let beside = BESIDE_SHARE * sound.span;
    let (one, other) = (outward * window.0, outward * window.1);
    let at = outward * counts;
    if at < one.min(other) - beside {
        Some(BindingPlace::StopsShort { stop, counts, window })
    } else if at > one.max(other) + beside {
        Some(BindingPlace::PassesStop { stop, counts, window })
    } else {
        None
    }
}

/// The stretch in which the push had to rise most. At its two ends a lever always waits for the push: they are left
/// out.
fn hang(picture: &Picture, direction: VaneDirection, ends: Ends, give: f64) -> Option<BindingPlace> {
    let pushes: Vec<(f64, f64)> = match direction {
        VaneDirection::Closing => {
            picture.stretches.iter().filter_map(|s| Some((s.counts, s.closing_a?))).collect()
        }
        VaneDirection::Opening => {
            picture.stretches.iter().rev().filter_map(|s| Some((s.counts, s.opening_a?))).collect()
        }
    };
    let is_between = |counts: f64| (counts - ends.open).abs() > give && (counts - ends.closed).abs() > give;
    let rise = |pair: &[(f64, f64)]| match pair {
        [before, (counts, freed_a)] if is_between(*counts) => {
            Some(((freed_a - before.1).abs(), *counts, *freed_a))
        }
        _ => None,
    };
    let (most, counts, freed_a) = pushes.windows(2).filter_map(rise).max_by(|a, b| a.0.total_cmp(&b.0))?;
    (most > HANG_SHARE * picture.peak_a).then_some(BindingPlace::Hangs { direction, counts, freed_a })
}
