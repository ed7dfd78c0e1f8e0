//! Which places of a picture stand out.

use firmware_core::learn::Stop;

use super::{Place, Push, Sound, Stretch};
use crate::figures::Direction;

/// Movement below this share of the sound travel is the give of gear and lever.
const GIVE_SHARE: f64 = 0.05;
/// Share of the sound travel by which an end may lie beside its window before it stands out.
const BESIDE_SHARE: f64 = 0.01;
/// Rise of the push inside one stretch that stands out, as a share of the largest push.
const HANG_SHARE: f64 = 0.15;

/// The places that stand out: ends beside their windows, and where the push had to rise.
pub(super) fn find(pushes: &[Push], stretches: &[Stretch], sound: &Sound, peak_a: f64) -> Vec<Place> {
    let opened = |push: &&Push| sound.open_sign * push.counts;
    let by_open = |a: &&Push, b: &&Push| opened(a).total_cmp(&opened(b));
    let (Some(most_open), Some(most_closed)) = (pushes.iter().max_by(by_open), pushes.iter().min_by(by_open))
    else {
        return Vec::new();
    };
    let moved = (most_open.counts - most_closed.counts).abs();
    if moved < GIVE_SHARE * sound.span {
        return vec![Place::DoesNotMove { counts: most_open.counts, moved }];
    }
    if let Some(place) = wrong_way(pushes, sound) {
        return vec![place];
    }
    let ends = [(Stop::Open, most_open.counts, sound.open), (Stop::Closed, most_closed.counts, sound.closed)];
    let ends = ends.into_iter().filter_map(|(stop, counts, window)| end(stop, counts, window, sound));
    ends.chain(
        [Direction::Opening, Direction::Closing].into_iter().filter_map(|way| hang(stretches, way, peak_a)),
    )
    .collect()
}

/// Held more open by the largest closing push than by the largest opening one.
fn wrong_way(pushes: &[Push], sound: &Sound) -> Option<Place> {
    let by_push = |a: &&Push, b: &&Push| a.asked.total_cmp(&b.asked);
    // The last of equals: the lever has come to rest by then.
    let opening = pushes.iter().max_by(by_push)?.counts;
    let closing = pushes.iter().rev().min_by(by_push)?.counts;
    let opened_by_closing = sound.open_sign * (closing - opening);
    (opened_by_closing > GIVE_SHARE * sound.span).then_some(Place::WrongWay { closing, opening })
}

fn end(stop: Stop, counts: f64, window: (f64, f64), sound: &Sound) -> Option<Place> {
    let outward = match stop {
        Stop::Open => sound.open_sign,
        Stop::Closed => -sound.open_sign,
    };
    let beside = BESIDE_SHARE * sound.span;
    let (near, far) = (outward * window.0, outward * window.1);
    let at = outward * counts;
    if at < near.min(far) - beside {
        Some(Place::StopsShort { stop, counts, window })
    } else if at > near.max(far) + beside {
        Some(Place::PassesStop { stop, counts, window })
    } else {
        None
    }
}

/// The stretch, past the one that it set out from, in which the push had to rise most.
fn hang(stretches: &[Stretch], direction: Direction, peak_a: f64) -> Option<Place> {
    let pushes: Vec<(f64, f64)> = match direction {
        Direction::Closing => stretches.iter().filter_map(|s| Some((s.counts, s.closing_a?))).collect(),
        Direction::Opening => stretches.iter().rev().filter_map(|s| Some((s.counts, s.opening_a?))).collect(),
    };
    let rise = |pair: &[(f64, f64)]| match pair {
        [before, (counts, freed_a)] => Some(((freed_a - before.1).abs(), *counts, *freed_a)),
        _ => None,
    };
    let (most, counts, freed_a) = pushes.windows(2).filter_map(rise).max_by(|a, b| a.0.total_cmp(&b.0))?;
    (most > HANG_SHARE * peak_a).then_some(Place::Hangs { direction, counts, freed_a })
}
