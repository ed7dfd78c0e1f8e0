//! Leads the loop from one opening to the next along a path that the motor can follow.
//!
//! A critically damped second-order path with bounded speed and acceleration. It knows its own speed and
//! acceleration, so that the loop can feed both forward and is left with the disturbances only.

use crate::position::regulator::OutputRange;
use crate::settings::PositionSettings;
use crate::units::TICK_SECONDS;

/// A point on the path.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Reference {
    /// Opening.
    pub opening: f32,
    /// Speed, opening/s.
    pub per_s: f32,
    /// Acceleration, opening/s².
    pub per_s2: f32,
}

/// Distance and speed below which the path has arrived, opening and opening/s: a tenth of a count.
const ARRIVED: f32 = 1.0e-5;

impl Reference {
    /// A path that starts at rest here.
    #[must_use]
    pub fn at_rest(opening: f32) -> Self {
        Self { opening, per_s: 0.0, per_s2: 0.0 }
    }

    /// One tick toward `wanted`.
    #[must_use]
    pub fn toward(self, settings: &PositionSettings, wanted: f32) -> Self {
        let rate = settings.path_rate_per_s;
        let pull = rate * (rate * (wanted - self.opening) - 2.0 * self.per_s);
        let per_s2 = symmetric(settings.path_acceleration_per_s2).hold(pull);
        let speed = symmetric(settings.path_speed_per_s).hold(self.per_s + per_s2 * TICK_SECONDS);
        let opening = self.opening + speed * TICK_SECONDS;
        if libm::fabsf(wanted - opening) < ARRIVED && libm::fabsf(speed) < ARRIVED / TICK_SECONDS {
            return Self::at_rest(wanted);
        }
        Self { opening, per_s: speed, per_s2: (speed - self.per_s) / TICK_SECONDS }
    }

    /// The path has arrived and stands.
    #[must_use]
    pub fn is_at_rest(self) -> bool {
        self.per_s == 0.0
    }
}

fn symmetric(most: f32) -> OutputRange {
    OutputRange { low: -most, high: most }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_small_step_reaches_86_per_cent_in_the_time_of_its_closed_form() {
        // Critically damped: 1 − (1 + ωt)e^(−ωt) = 0.865 at ωt = 3.508 (solved numerically).
        let settings = PositionSettings::default();
        let mut path = Reference::at_rest(0.5);
        let ticks = (0..1000).position(|_| {
            path = path.toward(&settings, 0.51);
            path.opening >= 0.50865
        });
        let expected = 3.508 / settings.path_rate_per_s / TICK_SECONDS;
        assert!((ticks.unwrap() as f32 + 1.0 - expected).abs() <= 2.0, "{ticks:?} against {expected}");
    }

    proptest! {
        #[test]
        fn the_path_keeps_its_bounds_arrives_and_never_passes_its_goal(from in 0.0f32..=1.0, wanted in 0.0f32..=1.0) {
            let settings = PositionSettings::default();
            let mut path = Reference::at_rest(from);
            for _ in 0..1500 {
                path = path.toward(&settings, wanted);
                prop_assert!(path.per_s.abs() <= settings.path_speed_per_s);
                prop_assert!((wanted - path.opening) * (wanted - from) >= -1.0e-4);
            }
            prop_assert!(path.is_at_rest() && path.opening == wanted);
        }
    }
}
