//! The crate `pid`, wrapped once.
//!
//! `pid` knows no tick length, so gains come here in seconds and are scaled; its limits are symmetric; its
//! derivative is unfiltered; its integral goes on while the output saturates, cannot be preset, and stays NaN
//! after one NaN. So a fresh one works out the terms of each tick, and this wrapper keeps the integral: it
//! refuses what is not finite, clamps to an asymmetric range, drops an integration that would push further into
//! saturation (conditional integration), filters the derivative and presets the integral for bumpless changes.

use pid::Pid;

use crate::units::TICK_SECONDS;

/// Gains in the units of output per unit of error, and seconds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RegulatorGains {
    /// Proportional gain.
    pub proportional: f32,
    /// Integral time, s.
    pub integral_time_s: f32,
    /// Derivative time, s; 0 for none.
    pub derivative_time_s: f32,
    /// Time constant of the derivative's filter, s.
    pub derivative_filter_s: f32,
}

/// What the integral does in a tick.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Integral {
    /// Integrates, unless the output saturates in the direction of the error.
    Runs,
    /// Keeps its value.
    Holds,
}

/// Range of the output in a tick.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OutputRange {
    /// Smallest output.
    pub low: f32,
    /// Largest output.
    pub high: f32,
}

impl OutputRange {
    /// The nearest value inside.
    #[must_use]
    pub fn hold(self, value: f32) -> f32 {
        if value < self.low {
            self.low
        } else if value > self.high {
            self.high
        } else {
            value
        }
    }
}

/// A PID controller's state.
#[derive(Debug, Clone, Copy, Default)]
pub struct Regulator {
    integral: f32,
    slope: Slope,
}

/// Filtered derivative of the measurement.
#[derive(Debug, Clone, Copy, Default)]
struct Slope {
    last: Option<f32>,
    per_s: f32,
}

impl Slope {
    fn tick(&mut self, measurement: f32, filter_s: f32) -> f32 {
        let raw = self.last.map_or(0.0, |last| (measurement - last) / TICK_SECONDS);
        self.last = Some(measurement);
        self.per_s += (raw - self.per_s) * (TICK_SECONDS / (filter_s + TICK_SECONDS));
        self.per_s
    }
}

/// Larger than any setpoint or measurement, and far below overflow.
const NO_READING: f32 = 1.0e9;
/// `pid` holds each term with `f32::min`, which gives the term itself where the limit is no number: nothing is
/// held here, and the check costs no call.
const NO_LIMIT: f32 = f32::NAN;

impl Regulator {
    /// The output for this tick. A setpoint or measurement that is NaN, or too large to be one, gives the
    /// last integral, held to the range, and changes nothing.
    #[inline(always)] // called, it costs the default law twenty instructions
    pub fn tick(
        &mut self,
        gains: &RegulatorGains,
        setpoint: f32,
        measurement: f32,
        range: OutputRange,
        integral: Integral,
    ) -> f32 {
        self.tick_with_slope(gains, setpoint, measurement, 0.0, range, integral)
    }

    /// As [`Self::tick`], with the setpoint's own slope, 1/s: the derivative then acts on the error.
    #[inline(always)] // twice in a tick: called, the two cost a hundred instructions of its budget
    pub fn tick_with_slope(
        &mut self,
        gains: &RegulatorGains,
        setpoint: f32,
        measurement: f32,
        setpoint_per_s: f32,
        range: OutputRange,
        integral: Integral,
    ) -> f32 {
        if !(libm::fabsf(setpoint) < NO_READING && libm::fabsf(measurement) < NO_READING) {
            return range.hold(self.integral);
        }
        let per_tick = match integral {
            Integral::Runs => gains.proportional * TICK_SECONDS / gains.integral_time_s,
            Integral::Holds => 0.0,
        };
        let mut pid = Pid::new(setpoint, NO_LIMIT);
        pid.p(gains.proportional, NO_LIMIT).i(per_tick, NO_LIMIT);
        let terms = pid.next_control_output(measurement);
        let integrated = self.integral + terms.i;
        let slope = self.slope.tick(measurement, gains.derivative_filter_s);
        let damping = gains.proportional * gains.derivative_time_s * (setpoint_per_s - slope);
        let wanted = terms.p + integrated + damping;
        let output = range.hold(wanted);
        // The integral's own direction decides: it may always come back from saturation.
        if (wanted - output) * (integrated - self.integral) <= 0.0 {
            self.integral = integrated;
        }
        output
    }

    /// The integral's share of the output.
    #[must_use]
    pub fn integral(&self) -> f32 {
        self.integral
    }

    /// Sets the integral's share of the output; what is not finite sets 0.
    pub fn preset(&mut self, integral: f32) {
        self.integral = if integral.is_finite() { integral } else { 0.0 };
    }

    /// Forgets integral and derivative.
    pub fn reset(&mut self) {
        *self = Self::default();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const GAINS: RegulatorGains = RegulatorGains {
        proportional: 4.0,
        integral_time_s: 8.0,
        derivative_time_s: 0.0,
        derivative_filter_s: 0.01,
    };
    const WIDE: OutputRange = OutputRange { low: -1.0e3, high: 1.0e3 };

    #[test]
    fn a_preset_integral_is_the_output_at_zero_error() {
        let mut regulator = Regulator::default();
        regulator.preset(-0.375);
        assert_eq!(regulator.tick(&GAINS, 2.0, 2.0, WIDE, Integral::Runs), -0.375);
    }

    #[test]
    fn a_held_integral_keeps_its_value_under_error() {
        let mut regulator = Regulator::default();
        regulator.preset(0.5);
        for _ in 0..1000 {
            regulator.tick(&GAINS, 1.0, 0.0, WIDE, Integral::Holds);
        }
        assert_eq!(regulator.integral(), 0.5);
    }

    #[test]
    fn the_integral_returns_from_saturation_at_once() {
        let mut regulator = Regulator::default();
        let narrow = OutputRange { low: -1.0, high: 1.0 };
        for _ in 0..5000 {
            regulator.tick(&GAINS, 1.0, 0.0, narrow, Integral::Runs);
        }
        assert!(regulator.integral() <= 1.0, "wound up to {}", regulator.integral());
        let output = regulator.tick(&GAINS, -0.1, 0.0, narrow, Integral::Runs);
        assert!(output < 0.0, "still {output}");
    }

    proptest! {
        #[test]
        fn any_bits_give_an_output_inside_the_range(inputs in prop::collection::vec((any::<u32>(), any::<u32>()), 1..50)) {
            let mut regulator = Regulator::default();
            let range = OutputRange { low: -0.25, high: 2.0 };
            for (setpoint, measurement) in inputs {
                let (setpoint, measurement) = (f32::from_bits(setpoint), f32::from_bits(measurement));
                let output = regulator.tick(&GAINS, setpoint, measurement, range, Integral::Runs);
                prop_assert!((-0.25..=2.0).contains(&output), "{output}");
            }
        }
    }
}
