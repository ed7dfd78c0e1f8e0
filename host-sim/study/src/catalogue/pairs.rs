//! Two faults at once, the kinds that hide each other or that one finds together.

use firmware_core::learn::Check;

use super::preset::LOOK_DEG;
use super::{Case, Family, Preset, Tag, find};
use plant::actuator::StopCondition;
use plant::sensor::{ChannelFault, PositionFault};
use plant::world::{FaultKind, StopFault};

/// Counts per degree of a travel of 70° that reads as 10 700 counts.
const COUNTS_PER_DEG: f64 = 10_700.0 / 70.0;

fn both(case: &mut Case, first: (&str, f64), second: (&str, f64)) {
    for (name, severity) in [first, second] {
        if let Ok(preset) = find(name) {
            preset.apply(case, severity);
        }
    }
}

/// The reading shifted as a lever at so many degrees further open would shift it.
fn turn_sensor(case: &mut Case, degrees: f64) {
    let counts = case.size.counts * (degrees * COUNTS_PER_DEG) * case.counts_sign_toward_closed();
    case.fault(FaultKind::PositionSensor(PositionFault::Channel(ChannelFault::Offset(counts))));
}

const TIGHT_OR_SUPPLY: &[&str] = &[
    "tight travel",
    "supply out of range",
    "no motion",
    "obstructed travel",
    "current not followed",
    "timeout",
    "stop drifting",
    "soft stop",
    "stop not repeatable",
];

pub(super) const PRESETS: &[Preset] = &[
    Family::Pair.preset(
        "clocked-ring-hidden-by-sensor",
        "ring indexed wrongly and the sensor turned to match: every reading nominal",
        Tag::UndecidableWithout(Check::Indexing),
        (3.0, 12.0, "degrees"),
        ELSEWHERE,
        |case, degrees| {
            both(case, ("ring-clocked-closed", degrees), ("healthy", 0.0));
            turn_sensor(case, -degrees);
            case.failed_checks.push(Check::Indexing);
        },
    ),
    Family::Pair
        .preset(
            "shifted-stop-hidden-by-sensor",
            "closed stop too early and the sensor turned to match it",
            Tag::MustReject,
            (0.0, 8.0, "degrees"),
            ELSEWHERE,
            |case, degrees| {
                let closed = case.size.closed();
                let shifted = StopCondition::Shifted(-closed.sign() * case.size.rad(degrees));
                case.fault(FaultKind::RingStop(closed, StopFault::Changed(shifted)));
                turn_sensor(case, degrees);
            },
        )
        .shown_by(Check::MinimumFlow, LOOK_DEG),
    Family::Pair.preset(
        "sooted-ring-low-supply",
        "sooted ring on a low battery",
        Tag::MustReject,
        (1.0, 4.0, "times friction"),
        TIGHT_OR_SUPPLY,
        |case, factor| both(case, ("sooted-ring", factor), ("low-supply", 9.6)),
    ),
    Family::Pair.preset(
        "soot-and-loose-stop",
        "soot in front of a loose closed stop",
        Tag::MustReject,
        (0.0, 3.0, "degrees of both"),
        &[
            "soft stop",
            "stop not repeatable",
            "stop drifting",
            "stop outside window",
            "stop missing",
            "stop not settled",
            "obstructed travel",
            "span short",
            "span long",
        ],
        |case, degrees| both(case, ("soot-at-closed-stop", degrees), ("loose-stop", degrees / 2.0)),
    ),
    Family::Pair.preset(
        "blocked-and-noisy",
        "obstruction seen by a noisy sensor",
        Tag::MustReject,
        (0.0, 0.95, "opening where it stands"),
        &[
            "obstructed travel",
            "no motion",
            "stop outside window",
            "span short",
            "sensor noisy",
            "stop not settled",
            "sensor jump",
            "stop not repeatable",
            "stop drifting",
        ],
        |case, opening| both(case, ("blocked-travel", opening), ("sensor-noise", 5.0)),
    ),
    Family::Pair.preset(
        "play-and-weak-motor",
        "worn joint and a bad motor lead",
        Tag::MustReject,
        (1.0, 5.0, "times resistance"),
        &[
            "stop outside window",
            "span long",
            "stop missing",
            "current not followed",
            "no motion",
            "tight travel",
            "timeout",
            "obstructed travel",
            "stop not settled",
            "stop not repeatable",
        ],
        |case, factor| both(case, ("worn-joint", factor), ("weak-motor", factor)),
    ),
];

const ELSEWHERE: &[&str] = &[
    "stop outside window",
    "stop missing",
    "obstructed travel",
    "span long",
    "span short",
    "sensor out of range",
];
