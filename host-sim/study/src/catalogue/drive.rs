//! Faults of motor, bridge and supply.

use super::{Case, Family, Preset, Tag};
use plant::world::FaultKind;

const WEAK: &[&str] = &[
    "current not followed",
    "no motion",
    "supply out of range",
    "timeout",
    "tight travel",
    "obstructed travel",
];
const SUPPLY: &[&str] = &["supply out of range", "current not followed", "no motion"];

/// Winding with more or less resistance and torque.
fn rewind(case: &mut Case, resistance: f64, torque: f64) {
    case.world.actuator.motor.resistance_ohm *= resistance;
    case.world.actuator.motor.torque_constant_nm_per_a *= torque;
}

pub(super) const PRESETS: &[Preset] = &[
    Family::Drive.preset(
        "dead-motor",
        "winding open",
        Tag::MustReject,
        (0.0, 1.0, "no effect"),
        &["no motion"],
        |case, _| case.fault(FaultKind::WindingOpen),
    ),
    Family::Drive.preset(
        "motor-reversed",
        "motor leads swapped",
        Tag::MustReject,
        (0.0, 1.0, "no effect"),
        &["wrong direction"],
        |case, _| case.fault(FaultKind::MotorReversed),
    ),
    Family::Drive.preset(
        "weak-motor",
        "bad contact in the motor leads",
        Tag::MustReject,
        (1.0, 6.0, "times resistance"),
        WEAK,
        |case, factor| rewind(case, factor, 1.0),
    ),
    Family::Drive.preset(
        "shorted-turn",
        "part of the winding shorted",
        Tag::MustReject,
        (1.0, 0.3, "share of turns left"),
        &[
            "tight travel",
            "current not followed",
            "over-current",
            "no motion",
            "obstructed travel",
            "stop not settled",
            "stop drifting",
            "stop not repeatable",
            "supply out of range",
        ],
        |case, share| rewind(case, share, share),
    ),
    Family::Drive.preset(
        "low-supply",
        "battery low",
        Tag::MustReject,
        (11.0, 5.0, "V"),
        SUPPLY,
        |case, volts| case.world.actuator.bridge.supply_v = case.size.supply * volts,
    ),
    Family::Drive.preset(
        "high-supply",
        "24 V system by mistake or a boosted battery",
        Tag::MustReject,
        (15.0, 28.0, "V"),
        SUPPLY,
        |case, volts| case.world.actuator.bridge.supply_v = case.size.supply * volts,
    ),
    Family::Drive.preset(
        "brown-out",
        "supply dips during the learn",
        Tag::MustReject,
        (10.0, 2.0, "V"),
        SUPPLY,
        |case, volts| case.fault_from(2.0, FaultKind::Supply(case.size.supply * volts)),
    ),
    Family::Drive.preset(
        "lost-supply",
        "supply is lost during the learn",
        Tag::MustReject,
        (0.2, 4.0, "s after the start"),
        SUPPLY,
        |case, at_s| case.fault_from(at_s, FaultKind::Supply(0.0)),
    ),
    Family::Drive.preset(
        "bad-supply-contact",
        "resistance in the supply leads",
        Tag::MustReject,
        (0.0, 6.0, "ohm"),
        WEAK,
        |case, ohm| case.fault(FaultKind::SupplyResistance(case.size.resistance * ohm)),
    ),
    Family::Drive.preset(
        "bridge-stuck-on",
        "bridge conducts without a command",
        Tag::MustReject,
        (0.05, 0.9, "duty"),
        &[
            "current at rest",
            "moves at rest",
            "over-current",
            "wrong direction",
            "current not followed",
            "sensor jump",
            "no motion",
            "stop missing",
            "sensor out of range",
            "supply out of range",
        ],
        |case, duty| case.mishaps.duty_stuck = Some((0.0, duty)),
    ),
    Family::Drive.preset(
        "bridge-stuck-later",
        "bridge sticks at its last duty during the learn",
        Tag::MustReject,
        (0.05, 0.9, "duty"),
        &[
            "current not followed",
            "over-current",
            "wrong direction",
            "stop missing",
            "timeout",
            "no motion",
            "obstructed travel",
            "sensor jump",
            "stop outside window",
            "stop not settled",
            "sensor out of range",
            "supply out of range",
        ],
        |case, duty| case.mishaps.duty_stuck = Some((1.5, duty)),
    ),
    Family::Drive.preset(
        "bridge-half-dead",
        "bridge gives less duty than commanded",
        Tag::MustReject,
        (1.0, 0.1, "share of the duty"),
        WEAK,
        |case, share| case.mishaps.duty_share = Some(share),
    ),
    Family::Drive.preset(
        "bridge-fault",
        "bridge reports a short or heat and switches itself off during the learn",
        Tag::MustReject,
        (0.0, 6.0, "s after the start"),
        &["bridge fault"],
        |case, at_s| case.fault_from(at_s, FaultKind::Bridge),
    ),
];
