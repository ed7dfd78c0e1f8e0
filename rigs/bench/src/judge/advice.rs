//! What to try when a figure lies outside its limit. Common practice, no source.

use crate::figures::Measure;

/// The next thing to look at.
#[must_use]
pub fn advice(measure: Measure) -> &'static str {
    match measure {
        Measure::InaccuracyHigh(_) | Measure::InaccuracyLow(_) => {
            "Learn the stops again in the same setup. If the error stays, look for friction or a loose lever."
        }
        Measure::Hysteresis(_) | Measure::DeadBand => {
            "Look for play in the lever, rod and pins, and for soot on the ring. Clean or renew, then sweep again."
        }
        Measure::NonRepeatability(_) => {
            "Sweep again with the unit clamped firmly. If readings still scatter, suspect the sensor or a loose pin."
        }
        Measure::LinearityTerminal(_) | Measure::LinearityZero(_) | Measure::LinearityIndependent(_) => {
            "Check that the gauge sits square on the lever. If it does, the sensor or its magnet is suspect."
        }
        Measure::FrictionLargest | Measure::FrictionMedian => {
            "The ring or the gear runs heavily. Free and clean the ring; compare with the unit detached from it."
        }
        Measure::FrictionRatio => {
            "It binds at one place. Look there for soot, a bent vane pin or a worn slot."
        }
        Measure::StrokeTime(_) | Measure::T63(_) | Measure::T86(_) | Measure::SettlingTime(_) => {
            "Check supply at the connector under load, then friction. A weak motor shows as slow in both directions."
        }
        Measure::DeadTime(_) => "It answers late: look for play and for friction at rest.",
        Measure::Overshoot(_) | Measure::FinalError(_) => {
            "Check that the profile fits this unit (gains, spring, gear), then friction and play."
        }
        Measure::Span | Measure::StopPosition(_) => {
            "Check that setup and profile fit the unit. Then look for soot at a stop, a bent stop or a clocked lever."
        }
        Measure::MinimumFlowStop(_) => {
            "Set the minimum-flow stop by its gauge, lock it, then learn and gauge again."
        }
        Measure::StopRepeatability(_) => {
            "The stop yields or is dirty. Clean it, tighten the lever, and learn again."
        }
        Measure::BoostPeak | Measure::BoostOvershoot | Measure::BoostRise => {
            "Check the controller's settings in simulation before any engine sees them."
        }
    }
}
