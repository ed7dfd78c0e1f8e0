//! Faults of the end stops.

use firmware_core::learn::Check;

use super::preset::LOOK_DEG;
use super::{Case, Family, Preset, Tag};
use plant::actuator::{Obstruction, StopCondition, StopParams, TravelEnd};
use plant::world::{FaultKind, StopFault};

/// Stiffness and damping of a bed of soot, in shares of a stop's (invented).
const SOOT_STIFFNESS: f64 = 0.1;
const SOOT_DAMPING: f64 = 2.0;

/// A bed of soot so many degrees thick in front of a stop.
fn soot_bed(case: &mut Case, end: TravelEnd, degrees: f64) {
    let Some(stop) = case.world.actuator.ring.stops.at(end).copied() else { return };
    let sound = case.size.stop;
    let stop = StopParams {
        angle_rad: stop.angle_rad - end.sign() * case.size.rad(degrees),
        stiffness_nm_per_rad: SOOT_STIFFNESS * sound.stiffness_nm_per_rad,
        damping_nm_s_per_rad: SOOT_DAMPING * sound.damping_nm_s_per_rad,
    };
    case.fault(FaultKind::Obstruction(Obstruction { shuts_off: end, stop }));
}

fn shift(case: &mut Case, end: TravelEnd, outward_deg: f64) {
    let by_rad = end.sign() * case.size.rad(outward_deg);
    case.fault(FaultKind::RingStop(end, StopFault::Changed(StopCondition::Shifted(by_rad))));
}

fn soften(case: &mut Case, end: TravelEnd, share: f64) {
    if let Some(stop) = case.world.actuator.ring.stops.at_mut(end) {
        stop.stiffness_nm_per_rad *= share;
    }
}

const SOFT: &[&str] = &[
    "soft stop",
    "stop outside window",
    "stop not settled",
    "stop not repeatable",
    "obstructed travel",
    "tight travel",
];
const SHIFTED_IN: &[&str] = &["stop outside window", "obstructed travel", "span short"];
const SHIFTED_OUT: &[&str] = &["stop outside window", "stop missing", "span long"];
const UNSTEADY: &[&str] = &[
    "stop not repeatable",
    "stop drifting",
    "stop outside window",
    "stop missing",
    "span short",
    "span long",
];

pub(super) const PRESETS: &[Preset] = &[
    Family::Mechanics
        .preset(
            "soot-at-closed-stop",
            "a bed of soot in front of the closed stop",
            Tag::MustReject,
            (0.0, 5.0, "degrees thick"),
            SOFT,
            |case, degrees| soot_bed(case, case.size.closed(), degrees),
        )
        .shown_by(Check::MinimumFlow, LOOK_DEG),
    Family::Mechanics.preset(
        "soot-at-open-stop",
        "a bed of soot in front of the open stop",
        Tag::MustReject,
        (0.0, 5.0, "degrees thick"),
        SOFT,
        |case, degrees| soot_bed(case, case.size.open(), degrees),
    ),
    Family::Mechanics.preset(
        "yielding-closed-stop",
        "a cracked closed stop that gives way",
        Tag::MustReject,
        (0.9, 0.05, "share of its stiffness"),
        SOFT,
        |case, share| soften(case, case.size.closed(), share),
    ),
    Family::Mechanics.preset(
        "loose-mount",
        "actuator bolts loose: both stops give way",
        Tag::MustReject,
        (0.9, 0.05, "share of their stiffness"),
        SOFT,
        |case, share| {
            soften(case, case.size.open(), share);
            soften(case, case.size.closed(), share);
        },
    ),
    Family::Mechanics
        .preset(
            "closed-stop-shifted-in",
            "closed stop comes too early",
            Tag::MustReject,
            (0.0, 8.0, "degrees"),
            SHIFTED_IN,
            |case, degrees| shift(case, case.size.closed(), -degrees),
        )
        .shown_by(Check::MinimumFlow, LOOK_DEG),
    Family::Mechanics
        .preset(
            "closed-stop-shifted-out",
            "closed stop comes too late",
            Tag::MustReject,
            (0.0, 4.5, "degrees"),
            SHIFTED_OUT,
            |case, degrees| shift(case, case.size.closed(), degrees),
        )
        .shown_by(Check::MinimumFlow, LOOK_DEG),
    Family::Mechanics.preset(
        "open-stop-shifted-in",
        "open stop comes too early",
        Tag::MustReject,
        (0.0, 8.0, "degrees"),
        SHIFTED_IN,
        |case, degrees| shift(case, case.size.open(), -degrees),
    ),
    Family::Mechanics.preset(
        "open-stop-shifted-out",
        "open stop comes too late",
        Tag::MustReject,
        (0.0, 3.5, "degrees"),
        SHIFTED_OUT,
        |case, degrees| shift(case, case.size.open(), degrees),
    ),
    Family::Mechanics
        .preset(
            "closed-stop-missing",
            "minimum-flow stop broken off",
            Tag::MustReject,
            (0.0, 1.0, "no effect"),
            SHIFTED_OUT,
            |case, _| case.fault(FaultKind::RingStop(case.size.closed(), StopFault::Missing)),
        )
        .shown_by(Check::MinimumFlow, 0.0),
    Family::Mechanics.preset(
        "open-stop-missing",
        "ring contact at open broken off",
        Tag::MustReject,
        (0.0, 1.0, "no effect"),
        SHIFTED_OUT,
        |case, _| case.fault(FaultKind::RingStop(case.size.open(), StopFault::Missing)),
    ),
    Family::Mechanics
        .preset(
            "worn-closed-stop",
            "closed stop hammered back and yielding",
            Tag::MustReject,
            (0.0, 4.0, "degrees"),
            &["stop outside window", "stop missing", "span long", "soft stop"],
            |case, degrees| {
                let worn = StopCondition::Worn(case.size.rad(degrees));
                case.fault(FaultKind::RingStop(case.size.closed(), StopFault::Changed(worn)));
            },
        )
        .shown_by(Check::MinimumFlow, LOOK_DEG),
    Family::Mechanics.preset(
        "loose-stop",
        "closed stop is loose: each touch finds it in a different place",
        Tag::MustReject,
        (0.0, 2.5, "degrees of play either way"),
        UNSTEADY,
        |case, degrees| {
            let loose = StopFault::Loose { play_rad: case.size.rad(degrees), drift_rad: 0.0 };
            case.fault(FaultKind::RingStop(case.size.closed(), loose));
        },
    ),
    Family::Mechanics.preset(
        "creeping-stop",
        "open stop gives way a little with each touch",
        Tag::MustReject,
        (0.0, 1.5, "degrees per touch"),
        UNSTEADY,
        |case, degrees| {
            let loose = StopFault::Loose { play_rad: 0.0, drift_rad: case.size.rad(degrees) };
            case.fault(FaultKind::RingStop(case.size.open(), loose));
        },
    ),
];
