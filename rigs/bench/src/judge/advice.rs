//! What to try when a figure lies outside its limit, and what settles one that lies too near to it. Common practice, no
//! source.

use crate::figures::Measure;

/// The next thing to look at.
#[must_use]
pub fn advice(measure: Measure) -> &'static str {
    match measure {
        Measure::InaccuracyHigh(_) | Measure::InaccuracyLow(_) => {
            "Learn the stops again in the same setup. If the error stays, look for friction or a loose lever."
        }
        Measure::Hysteresis(_) | Measure::DeadBand => {
            "Look for play in the lever, rod and pins, and for soot on the ring. Clean or replace, then \
             sweep again."
        }
        Measure::NonRepeatability(_) => {
            "Sweep again with the unit clamped firmly. If readings still scatter, suspect the sensor or a loose pin."
        }
        Measure::LinearityTerminal(_) | Measure::LinearityZero(_) | Measure::LinearityIndependent(_) => {
            "Check that the gauge sits square on the lever. If it does, the sensor or its magnet is suspect."
        }
        Measure::FrictionLargest | Measure::FrictionMedian => {
            "The ring or the gear is stiff. Free and clean the ring; compare with the unit detached from it."
        }
        Measure::FrictionRatio => {
            "It binds at one place. Look there for soot, a bent vane pin or a worn slot."
        }
        Measure::StrokeTime(_) | Measure::T63(_) | Measure::T86(_) | Measure::SettlingTime(_) => {
            "Check supply at the connector under load, then friction. A weak motor shows as slow in both directions."
        }
        Measure::DeadTime(_) => "It responds late: look for play and for friction at rest.",
        Measure::Overshoot(_) | Measure::FinalError(_) => {
            "Check that the profile fits this unit (gains, spring, gear), then friction and play."
        }
        Measure::Span | Measure::StopPosition(_) => {
            "Check that setup and profile fit the unit. Then look for soot at a stop, a bent stop or a clocked lever."
        }
        Measure::MinimumFlowStop(_) => {
            "Set the minimum-flow stop by its gauge, lock it, then learn and gauge again."
        }
        Measure::StopRepeatability(_) | Measure::StopYield(_) => {
            "The stop yields or is dirty. Clean it, tighten the lever, and learn again."
        }
        Measure::BoostPeak | Measure::BoostOvershoot | Measure::BoostRise => {
            "Check the controller's settings in simulation before any engine sees them."
        }
    }
}

/// What tells on which side of its limit a figure truly lies.
#[must_use]
pub(super) fn settled_by(measure: Measure) -> &'static str {
    match measure {
        Measure::Span | Measure::StopPosition(_) => {
            "An index mark across lever and housing, or a gauge pin in the throat at the stop, shows where \
             the stop truly is; a second good unit shows whether the limit is right."
        }
        Measure::MinimumFlowStop(_) => "Gauge again with a finer pin, or on another bench.",
        Measure::InaccuracyHigh(_)
        | Measure::InaccuracyLow(_)
        | Measure::Hysteresis(_)
        | Measure::NonRepeatability(_)
        | Measure::LinearityTerminal(_)
        | Measure::LinearityZero(_)
        | Measure::LinearityIndependent(_)
        | Measure::DeadBand
        | Measure::FinalError(_) => {
            "An independent gauge on the lever shows what the lever does; a second good unit shows whether \
             the limit is too tight."
        }
        Measure::FrictionLargest | Measure::FrictionMedian | Measure::FrictionRatio => {
            "Measure the ring's torque by hand with a spring balance: it shows the same without the motor."
        }
        Measure::StopYield(_) | Measure::StopRepeatability(_) => {
            "Re-mount it and learn again: what stays comes from the unit, what changes comes from the \
             mounting."
        }
        Measure::StrokeTime(_)
        | Measure::DeadTime(_)
        | Measure::T63(_)
        | Measure::T86(_)
        | Measure::Overshoot(_)
        | Measure::SettlingTime(_) => {
            "A second good unit on the same supply shows whether the limit is too tight."
        }
        Measure::BoostPeak | Measure::BoostOvershoot | Measure::BoostRise => {
            "Only the engine can show it: the simulation is not a measurement."
        }
    }
}

/// How many runs average to less than the distance to the limit, where scatter is all that makes them uncertain.
pub(super) fn runs_that_settle(guard: f64, distance: f64) -> String {
    /// More would take longer than a better gauge.
    const MOST: f64 = 20.0;
    let runs = (guard / distance).powi(2).ceil();
    if runs <= MOST {
        format!(" Or average {runs:.0} runs, if the uncertainty is scatter.")
    } else {
        String::new()
    }
}
