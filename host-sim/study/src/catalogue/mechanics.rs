//! Faults of ring, lever, linkage and spring.

use firmware_core::learn::Check;

use super::preset::LOOK_DEG;
use super::{Case, Family, Preset, Tag};
use plant::actuator::{Obstruction, SootPatch, StopParams, TravelEnd};
use plant::friction::RingCondition;
use plant::world::FaultKind;

const TIGHT: &[&str] = &[
    "tight travel",
    "obstructed travel",
    "no motion",
    "timeout",
    "current not followed",
    "stop not repeatable",
    "stop drifting",
    "stop not settled",
    "soft stop",
];
const BLOCKED: &[&str] =
    &["obstructed travel", "no motion", "stop outside window", "span short", "soft stop"];
const ELSEWHERE: &[&str] =
    &["stop outside window", "stop missing", "obstructed travel", "span long", "sensor out of range"];

fn rub(case: &mut Case, sliding: f64, breakaway: f64) {
    let friction = &mut case.world.actuator.ring.friction;
    friction.coulomb *= sliding;
    friction.breakaway *= breakaway;
}

/// Something in the way at an opening, shutting off one end; its stiffness in shares of a stop's.
fn block(case: &mut Case, shuts_off: TravelEnd, opening: f64, stiffness: f64) {
    let sound = case.size.stop;
    let stop = StopParams {
        angle_rad: case.size.ring_rad(opening),
        stiffness_nm_per_rad: stiffness * sound.stiffness_nm_per_rad,
        ..sound
    };
    case.fault(FaultKind::Obstruction(Obstruction { shuts_off, stop }));
}

/// Ring and both its stops stand at another angle of the lever, toward closed.
fn clock_ring(case: &mut Case, degrees: f64) {
    let by_rad = case.size.closed().sign() * case.size.rad(degrees);
    for end in [TravelEnd::Low, TravelEnd::High] {
        if let Some(stop) = case.world.actuator.ring.stops.at_mut(end) {
            stop.angle_rad += by_rad;
        }
    }
}

const HARD: f64 = 1.0;
const SOFT: f64 = 1.0 / 16.0;
/// Half the width of a soot patch on a travel of 70°, rad.
const PATCH_RAD: f64 = 0.12;

pub(super) const PRESETS: &[Preset] = &[
    Family::Mechanics.preset(
        "sooted-ring",
        "soot in the pivots: more friction everywhere",
        Tag::MustReject,
        (1.0, 4.0, "times friction"),
        TIGHT,
        |case, factor| rub(case, factor, factor * 1.2),
    ),
    Family::Mechanics.preset(
        "sticking-ring",
        "ring sticks and lets go",
        Tag::MustReject,
        (1.0, 8.0, "times break-away friction"),
        TIGHT,
        |case, factor| rub(case, 1.0 + 0.3 * (factor - 1.0), factor),
    ),
    Family::Mechanics.preset(
        "seized-ring",
        "ring does not move",
        Tag::MustReject,
        (0.0, 1.0, "no effect"),
        &["no motion", "obstructed travel", "tight travel", "soft stop"],
        |case, _| case.fault(FaultKind::Ring(RingCondition::Seized)),
    ),
    Family::Mechanics.preset(
        "soot-patch",
        "soot over part of the travel",
        Tag::MustReject,
        (1.0, 12.0, "times friction at its middle"),
        TIGHT,
        |case, factor| {
            let centre_rad = case.size.ring_rad(0.4);
            let half_width_rad = case.size.rad_of(PATCH_RAD);
            let patch = SootPatch { centre_rad, half_width_rad, factor };
            case.fault(FaultKind::SootPatch(patch));
        },
    ),
    Family::Mechanics.preset(
        "blocked-travel",
        "something hard stands in the way of closing",
        Tag::MustReject,
        (0.0, 0.97, "opening where it stands"),
        BLOCKED,
        |case, opening| block(case, case.size.closed(), opening, HARD),
    ),
    Family::Mechanics.preset(
        "blocked-opening",
        "something hard stands in the way of opening",
        Tag::MustReject,
        (1.0, 0.03, "opening where it stands"),
        BLOCKED,
        |case, opening| block(case, case.size.open(), opening, HARD),
    ),
    Family::Mechanics.preset(
        "soft-obstruction",
        "something soft stands in the way of closing",
        Tag::MustReject,
        (0.0, 0.9, "opening where it stands"),
        BLOCKED,
        |case, opening| block(case, case.size.closed(), opening, SOFT),
    ),
    Family::Mechanics.preset(
        "worn-joint",
        "play between lever and ring",
        Tag::MustReject,
        (0.4, 6.0, "degrees of play"),
        &["stop outside window", "span long", "stop missing", "stop not repeatable"],
        |case, degrees| case.world.actuator.linkage = case.size.joint(degrees),
    ),
    Family::Mechanics
        .preset(
            "ring-clocked-open",
            "nozzle ring indexed wrongly, toward open: both stops shifted alike",
            Tag::MustReject,
            (0.0, 12.0, "degrees"),
            ELSEWHERE,
            |case, degrees| clock_ring(case, -degrees),
        )
        .shown_by(Check::Indexing, LOOK_DEG),
    Family::Mechanics
        .preset(
            "ring-clocked-closed",
            "nozzle ring indexed wrongly, toward closed: both stops shifted alike",
            Tag::MustReject,
            (0.0, 12.0, "degrees"),
            ELSEWHERE,
            clock_ring,
        )
        .shown_by(Check::Indexing, LOOK_DEG),
    Family::Mechanics
        .preset(
            "lever-one-tooth-off",
            "lever one tooth off on its shaft: both stops shifted alike",
            Tag::MustReject,
            (8.0, 15.0, "degrees a tooth"),
            ELSEWHERE,
            clock_ring,
        )
        .shown_by(Check::Indexing, LOOK_DEG),
    Family::Mechanics.preset(
        "rod-off",
        "rod has come off: the lever turns alone",
        Tag::MustReject,
        (0.0, 1.0, "no effect"),
        ELSEWHERE,
        |case, _| case.fault(FaultKind::RodOff),
    ),
    Family::Mechanics.preset(
        "rod-off-inside-stops",
        "rod off, and the actuator's own stops happen to sit where the ring's were",
        Tag::UndecidableWithout(Check::LeverAttached),
        (0.0, 1.0, "no effect"),
        &["tight travel", "spring not felt"],
        |case, _| {
            let half_play = 0.5 * case.world.actuator.linkage.play_rad();
            let ring = case.world.actuator.ring.stops;
            for end in [TravelEnd::Low, TravelEnd::High] {
                let at = ring
                    .at(end)
                    .map(|stop| StopParams { angle_rad: stop.angle_rad + end.sign() * half_play, ..*stop });
                *case.world.actuator.lever_stops.at_mut(end) = at;
            }
            case.fault(FaultKind::RodOff);
            case.failed_checks.push(Check::LeverAttached);
        },
    ),
    Family::Mechanics.preset(
        "broken-vane-pin",
        "one vane no longer follows the ring",
        Tag::UndecidableWithout(Check::VanesFollow),
        (0.85, 0.95, "times friction"),
        &[],
        |case, factor| {
            rub(case, factor, factor);
            case.failed_checks.push(Check::VanesFollow);
        },
    ),
    Family::Mechanics.preset(
        "worn-vane-tips",
        "vane tips worn: minimum flow too high at a sound stop",
        Tag::UndecidableWithout(Check::MinimumFlow),
        (0.0, 1.0, "no effect"),
        &[],
        |case, _| case.failed_checks.push(Check::MinimumFlow),
    ),
    Family::Mechanics.preset(
        "spring-broken",
        "return spring broken: lost power leaves the vanes where they are",
        Tag::MustReject,
        (0.0, 1.0, "no effect"),
        &["spring not felt"],
        |case, _| case.fault(FaultKind::SpringBroken),
    ),
];
