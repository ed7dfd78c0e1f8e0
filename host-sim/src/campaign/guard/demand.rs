//! What the engine asks for: a boost target for speed and load, and a drive that provokes the guard.
//!
//! The boost target at each point of the controller's map is the steady boost of the invented bench
//! engine A at the map's own opening, so that a sound unit needs hardly any trim.

use firmware_core::sample::{EngineDemand, Mode};
use firmware_core::settings::{MapAxes, TargetSettings};
use firmware_core::tables::{Map, Place};
use firmware_core::units::{Kilopascal, Load, Rpm};
use rand::{Rng, RngExt};

use crate::airpath::{Engine, EngineInputs, EngineParams, NoSteadyState};
use crate::atmosphere::Ambient;

/// Boost targets over engine speed and load, kPa.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BoostMap {
    axes: MapAxes,
    kpa: Map<f32>,
}

impl BoostMap {
    /// The targets that go with a controller's feed-forward map.
    pub(super) fn of(target: &TargetSettings) -> Result<Self, NoSteadyState> {
        let params = EngineParams::default();
        let mut kpa = Map::default();
        for (row, speed) in target.axes.engine_speed_rpm.iter().enumerate() {
            for (column, load) in target.axes.load.iter().enumerate() {
                // The parameters are the defaults, which validate.
                let Ok(mut engine) = Engine::try_new(params, Ambient::SEA_LEVEL) else { continue };
                // A motored engine has no steady boost of its own: the least load stands for none.
                let fuel_mg = f64::from(load.max(LEAST_LOAD)) * params.full_load_mg;
                let opening = f64::from(target.feed_forward.0[row][column]);
                engine.settle(&EngineInputs::new(f64::from(*speed), fuel_mg), opening)?;
                kpa[row][column] = (engine.state()[0] * 1e-3) as f32;
            }
        }
        Ok(Self { axes: target.axes, kpa })
    }

    fn at(&self, speed_rpm: f32, load: f32) -> f32 {
        let speed = Place::on(&self.axes.engine_speed_rpm, speed_rpm);
        speed.over(Place::on(&self.axes.load, load), &self.kpa)
    }
}

const LEAST_LOAD: f32 = 0.1;

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
    pub(super) fn demand(&self, map: &BoostMap, time_s: f64) -> EngineDemand {
        let (speed, load) = self.at(time_s);
        let (speed, load) = (speed as f32, load as f32);
        EngineDemand {
            mode: Mode::Boost,
            boost_target: Kilopascal(map.at(speed, load)),
            engine_speed: Rpm(speed),
            load: Load::saturating(load, Load::MIN),
        }
    }
}
