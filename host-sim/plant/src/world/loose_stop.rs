//! An end stop that sits loose: every touch finds it somewhere else.
//!
//! In: the ring's angle tick by tick. Out: a new offset each time the ring has left the stop again.

use rand::{Rng, RngExt};

use crate::actuator::{ActuatorParams, TravelEnd};

/// Way that the ring must have left the stop for a touch to be over, rad (about 1°).
const LEFT_RAD: f64 = 0.0175;

/// A loose stop and its history.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct LooseStop {
    pub end: TravelEnd,
    pub base_rad: f64,
    play_rad: f64,
    drift_rad: f64,
    touches: u32,
    is_touching: bool,
}

impl LooseStop {
    pub(super) fn new(
        (end, play_rad, drift_rad): (TravelEnd, f64, f64),
        params: &ActuatorParams,
    ) -> Option<Self> {
        let base_rad = params.ring.stops.at(end)?.angle_rad;
        Some(Self { end, base_rad, play_rad, drift_rad, touches: 0, is_touching: false })
    }

    /// A new offset from the stop's base, rad, when a touch has just ended.
    pub(super) fn moved(&mut self, ring_rad: f64, rng: &mut impl Rng) -> Option<f64> {
        let depth = self.end.sign() * (ring_rad - self.base_rad);
        if depth > -0.5 * LEFT_RAD {
            self.is_touching = true;
            return None;
        }
        if !self.is_touching || depth > -(LEFT_RAD + self.play_rad) {
            return None;
        }
        self.is_touching = false;
        self.touches += 1;
        let drift = self.end.sign() * self.drift_rad * f64::from(self.touches);
        Some(drift + self.play_rad * rng.random_range(-1.0..=1.0))
    }
}
