//! Faults of the position and current sensors.

use firmware_core::learn::Check;

use super::{Case, Family, Preset, Tag};
use plant::sensor::{ChannelFault, PositionFault};
use plant::world::FaultKind;

const ELSEWHERE: &[&str] = &[
    "stop outside window",
    "stop missing",
    "obstructed travel",
    "span long",
    "span short",
    "sensor out of range",
];
/// Smallest gain error that an angle gauge at two openings shows (0.3 %: common practice, no source).
const GAUGE_SHARE: f64 = 0.003;

fn position(case: &mut Case, fault: ChannelFault) {
    case.fault(FaultKind::PositionSensor(PositionFault::Channel(fault)));
}

fn position_from(case: &mut Case, at_s: f64, fault: ChannelFault) {
    case.fault_from(at_s, FaultKind::PositionSensor(PositionFault::Channel(fault)));
}

pub(super) const PRESETS: &[Preset] = &[
    Family::Sensor.preset(
        "reversed-sensor",
        "sensor counts the other way",
        Tag::MustReject,
        (0.0, 1.0, "no effect"),
        &["wrong direction"],
        |case, _| case.fault(FaultKind::PositionSensor(PositionFault::Reversed)),
    ),
    Family::Sensor.preset(
        "sensor-gain",
        "sensor scale wrong by a little",
        Tag::UndecidableWithout(Check::SensorScale),
        (0.97, 1.03, "times"),
        ELSEWHERE,
        |case, gain| {
            position(case, ChannelFault::Gain(gain));
            if (gain - 1.0).abs() > GAUGE_SHARE {
                case.failed_checks.push(Check::SensorScale);
            }
        },
    ),
    Family::Sensor.preset(
        "sensor-offset",
        "sensor turned on its shaft",
        Tag::MustReject,
        (0.0, 900.0, "counts"),
        ELSEWHERE,
        |case, counts| position(case, ChannelFault::Offset(case.size.counts * counts)),
    ),
    Family::Sensor.preset(
        "sensor-glitches",
        "single wild readings",
        Tag::MustReject,
        (20.0, 4000.0, "counts"),
        &[
            "sensor jump",
            "sensor out of range",
            "sensor noisy",
            "stop not settled",
            "stop not repeatable",
            "stop drifting",
            "soft stop",
        ],
        |case, counts| {
            position(case, ChannelFault::Glitch { per_s: 5.0, size: case.size.counts * counts });
        },
    ),
    Family::Sensor.preset(
        "sensor-frozen",
        "sensor stuck at one value from the start",
        Tag::MustReject,
        (0.0, 1.0, "no effect"),
        &["sensor stuck", "no motion"],
        |case, _| position(case, ChannelFault::Freeze),
    ),
    Family::Sensor.preset(
        "sensor-freezes",
        "sensor sticks at one value during the learn",
        Tag::MustReject,
        (0.2, 6.0, "s after the start"),
        &["sensor stuck", "no motion", "obstructed travel"],
        |case, at_s| position_from(case, at_s, ChannelFault::Freeze),
    ),
    Family::Sensor.preset(
        "sensor-noise",
        "reading scatters",
        Tag::MustReject,
        (2.0, 60.0, "counts, one sigma"),
        &[
            "sensor noisy",
            "sensor jump",
            "stop not settled",
            "moves at rest",
            "stop not repeatable",
            "stop drifting",
        ],
        |case, sigma| position(case, ChannelFault::Noise(case.size.counts * sigma)),
    ),
    Family::Sensor.preset(
        "sensor-drift",
        "reading creeps",
        Tag::MustReject,
        (0.0, 400.0, "counts/s"),
        &[
            "moves at rest",
            "stop not settled",
            "stop drifting",
            "stop not repeatable",
            "sensor noisy",
            "stop outside window",
            "stop missing",
            "soft stop",
        ],
        |case, per_s| position(case, ChannelFault::Drift(case.size.counts * per_s)),
    ),
    Family::Sensor.preset(
        "sensor-wraps",
        "magnet turned so far that the reading wraps past its end",
        Tag::MustReject,
        (3500.0, 13_500.0, "counts"),
        &[
            "sensor jump",
            "sensor out of range",
            "stop outside window",
            "stop missing",
            "wrong direction",
            "obstructed travel",
            "no motion",
        ],
        |case, shift| {
            let shift = case.size.range * shift;
            case.fault(FaultKind::PositionSensor(PositionFault::WrapAround(shift)));
        },
    ),
    Family::Sensor.preset(
        "sensor-drops-out",
        "sensor wire breaks during the learn",
        Tag::MustReject,
        (0.0, 6.0, "s after the start"),
        &["sensor out of range", "sensor jump"],
        |case, at_s| position_from(case, at_s, ChannelFault::DropOut(0.0)),
    ),
    Family::Sensor.preset(
        "sensor-shorted",
        "sensor output shorted to its supply",
        Tag::MustReject,
        (0.0, 1.0, "no effect"),
        &["sensor out of range", "sensor jump"],
        |case, _| position(case, ChannelFault::DropOut(case.world.sensors.position.highest())),
    ),
    Family::Sensor.preset(
        "current-sensor-gain",
        "current reads a little wrong",
        Tag::MustAccept,
        (0.92, 1.08, "times"),
        &[],
        |case, gain| case.fault(FaultKind::CurrentSensor(ChannelFault::Gain(gain))),
    ),
    Family::Sensor.preset(
        "current-sensor-offset",
        "current reads too high at rest",
        Tag::MustReject,
        (0.0, 1.5, "A"),
        &["current at rest"],
        |case, amperes| {
            let offset = case.size.current() * amperes;
            case.fault(FaultKind::CurrentSensor(ChannelFault::Offset(offset)));
        },
    ),
    Family::Sensor.preset(
        "current-sensor-dead",
        "current reads nothing",
        Tag::MustReject,
        (0.0, 1.0, "no effect"),
        &["no motion", "timeout", "current not followed"],
        |case, _| case.fault(FaultKind::CurrentSensor(ChannelFault::DropOut(0.0))),
    ),
    Family::Sensor.preset(
        "current-sensor-not-a-number",
        "current channel fails in software",
        Tag::MustReject,
        (0.0, 6.0, "s after the start"),
        &["not a number"],
        |case, at_s| case.fault_from(at_s, FaultKind::CurrentSensor(ChannelFault::DropOut(f64::NAN))),
    ),
    Family::Sensor.preset(
        "converter-frozen",
        "the board's converter stops during the learn: every reading freezes",
        Tag::MustReject,
        (0.0, 6.0, "s after the start"),
        &["converter frozen"],
        |case, at_s| case.fault_from(at_s, FaultKind::ConverterFrozen),
    ),
];
