//! What the engine asks for: a boost target for speed and load, and a drive that provokes the guard.

use firmware_core::sample::{EngineDemand, Mode};
use firmware_core::units::{Kilopascal, Load, Rpm};
use rand::{Rng, RngExt};

use crate::scenario::wanted_boost_kpa;

/// From a cruise to full load and high speed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drive {
    from_rpm: f64,
    to_rpm: f64,
    from_load: f64,
    to_load: f64,
    /// When load and speed begin to rise, s.
    at_s: f64,
}

/// Fastest change of engine speed, rpm/s: a strong pull in a low gear.
const SPEED_RATE: f64 = 1500.0;
/// Time over which the pedal goes down, s.
const PEDAL_S: f64 = 0.15;

impl Drive {
    pub(super) fn draw(rng: &mut impl Rng) -> Self {
        Self {
            from_rpm: rng.random_range(1200.0..2200.0),
            to_rpm: rng.random_range(2000.0..3600.0),
            from_load: rng.random_range(0.2..0.6),
            to_load: rng.random_range(0.8..1.0),
            at_s: rng.random_range(1.0..3.0),
        }
    }

    /// Engine speed, rpm, and load at a time.
    pub(super) fn at(&self, time_s: f64) -> (f64, f64) {
        let since = (time_s - self.at_s).max(0.0);
        let rise = (self.to_rpm - self.from_rpm).clamp(-SPEED_RATE * since, SPEED_RATE * since);
        let pedal = (since / PEDAL_S).min(1.0);
        (self.from_rpm + rise, self.from_load + (self.to_load - self.from_load) * pedal)
    }

    /// The controller's demand at a time.
    pub(super) fn demand(&self, time_s: f64) -> EngineDemand {
        let (speed, load) = self.at(time_s);
        EngineDemand {
            mode: Mode::Boost,
            boost_target: Kilopascal(wanted_boost_kpa(speed, load) as f32),
            engine_speed: Rpm(speed as f32),
            load: Load::saturating(load as f32, Load::MIN),
        }
    }
}
