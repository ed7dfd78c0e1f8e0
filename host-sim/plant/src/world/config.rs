//! A world as it stands in a TOML file: actuator, sensors, engine, altitude, faults.
//!
//! In: TOML text. Out: a checked [`WorldConfig`]. Refuses unknown fields and values out of range; missing
//! fields take the invented bench unit A.

use serde::{Deserialize, Serialize};

use super::fault::Fault;
use crate::actuator::ActuatorParams;
use crate::airpath::{EngineParams, GasOnRing, GasTorqueParams, MeasuredRing};
use crate::atmosphere::Ambient;
use crate::check::{BadParameter, MISSING, between};
use crate::friction::RingCondition;
use crate::sensor::{ChannelParams, PositionSensorParams};
use crate::toml_file::{TomlError, TomlFile};

/// 0 °C, K.
const ZERO_C_K: f64 = 273.15;

/// Which way the lever turns when the vanes open.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum OpeningDirection {
    /// Opening lowers the lever angle: a spring toward angle 0 opens the vanes on lost power.
    #[default]
    LowersAngle,
    /// Opening raises the lever angle.
    RaisesAngle,
}

impl OpeningDirection {
    /// +1 when opening raises the angle.
    #[must_use]
    pub fn sign(self) -> f64 {
        match self {
            Self::LowersAngle => -1.0,
            Self::RaisesAngle => 1.0,
        }
    }
}

/// Where the boost sensor sits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum BoostTap {
    /// In the intake manifold.
    #[default]
    Manifold,
    /// Behind the compressor, before the boost hose.
    CompressorOutlet,
}

/// All sensors.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct SensorParams {
    /// Lever position.
    pub position: PositionSensorParams,
    /// Motor current, A.
    pub current: ChannelParams,
    /// Supply at the connector, V.
    pub supply: ChannelParams,
    /// Boost, absolute kPa.
    pub boost: ChannelParams,
    /// Where the boost sensor sits.
    pub boost_tap: BoostTap,
    /// First-order lag of the boost sensor and its hose, s; 0 is none. Default 0.012, invented: some
    /// milliseconds each for half a metre of thin hose and the sensor's own filter.
    pub boost_lag_s: f64,
    /// Exhaust manifold, absolute kPa.
    pub exhaust: ChannelParams,
    /// Barometer, absolute kPa.
    pub barometer: ChannelParams,
    /// Turbo speed, rpm.
    pub turbo_speed: ChannelParams,
}

impl Default for SensorParams {
    fn default() -> Self {
        Self {
            position: PositionSensorParams::default(),
            current: ChannelParams::new(0.004, -20.0, 20.0, 0.005),
            supply: ChannelParams::new(0.01, 0.0, 40.0, 0.01),
            boost: ChannelParams::new(0.15, 10.0, 400.0, 0.05),
            boost_tap: BoostTap::Manifold,
            boost_lag_s: 0.012,
            exhaust: ChannelParams::new(0.3, 10.0, 700.0, 0.1),
            barometer: ChannelParams::new(0.02, 10.0, 120.0, 0.02),
            turbo_speed: ChannelParams::new(50.0, 0.0, 300_000.0, 10.0),
        }
    }
}

impl SensorParams {
    fn validate(&self) -> Result<(), BadParameter> {
        self.position.validate().map_err(|e| e.within("position"))?;
        for (name, channel) in [
            ("current", &self.current),
            ("supply", &self.supply),
            ("boost", &self.boost),
            ("exhaust", &self.exhaust),
            ("barometer", &self.barometer),
            ("turbo_speed", &self.turbo_speed),
        ] {
            channel.validate().map_err(|e| e.within(name))?;
        }
        between("boost_lag_s", self.boost_lag_s, 0.0, 1.0)
    }
}

/// A whole world.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct WorldConfig {
    /// Actuator and ring.
    pub actuator: ActuatorParams,
    /// State of the ring's bearing surfaces.
    pub ring_condition: RingCondition,
    /// Which way the lever turns when the vanes open.
    pub opening: OpeningDirection,
    /// Sensors.
    pub sensors: SensorParams,
    /// Engine.
    pub engine: EngineParams,
    /// Gas torque on the ring by two coefficients; none: from the geometry of the engine's measured ring, and
    /// without one the invented coefficients.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub gas_torque: Option<GasTorqueParams>,
    /// Geometric altitude, m.
    pub altitude_m: f64,
    /// Air outside, °C, −60 to 60; none: the standard atmosphere's.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub air_c: Option<f64>,
    /// Faults with their times.
    pub faults: Vec<Fault>,
}

impl WorldConfig {
    /// Reads a world from TOML and checks it.
    ///
    /// # Errors
    /// Names line, field, value and what is allowed.
    pub fn from_toml(text: &str, file: &str) -> Result<Self, TomlError> {
        TomlFile::from_text(file, text).checked(Self::validate)
    }

    /// Checks every field.
    ///
    /// # Errors
    /// Names the first field that is out of range.
    pub fn validate(&self) -> Result<(), BadParameter> {
        self.engine.validate().map_err(|e| e.within("engine"))?;
        self.validate_around_engine()
    }

    /// Checks every field but the engine's, which are checked where an engine is made of them.
    pub(super) fn validate_around_engine(&self) -> Result<(), BadParameter> {
        self.actuator.validate().map_err(|e| e.within("actuator"))?;
        self.sensors.validate().map_err(|e| e.within("sensors"))?;
        self.gas_torque.unwrap_or_default().validate().map_err(|e| e.within("gas_torque"))?;
        self.ambient()?;
        for (index, fault) in self.faults.iter().enumerate() {
            fault.validate().map_err(|e| e.within(&format!("faults[{index}]")))?;
        }
        self.travel().map(|_| ())
    }

    /// Where the gas torque comes from; `ring` is the engine's measured one.
    pub(super) fn gas_on_ring(&self, ring: Option<&MeasuredRing>, travel: &Travel) -> GasOnRing {
        match (self.gas_torque, ring) {
            (None, Some(ring)) => GasOnRing::Measured {
                ring: ring.clone(),
                travel_rad: (travel.open_rad - travel.closed_rad).abs(),
            },
            (given, _) => GasOnRing::Coefficients(given.unwrap_or_default()),
        }
    }

    /// The air outside.
    ///
    /// # Errors
    /// When altitude or temperature is out of range.
    pub fn ambient(&self) -> Result<Ambient, BadParameter> {
        let standard = Ambient::at_altitude(self.altitude_m)?;
        let Some(air_c) = self.air_c else { return Ok(standard) };
        between("air_c", air_c, -60.0, 60.0)?;
        Ok(Ambient { temperature_k: air_c + ZERO_C_K, ..standard })
    }

    /// Ring angles with the vanes open and closed: the sound ring's own stops.
    ///
    /// # Errors
    /// When a ring stop is missing from the sound parameters: without both, opening has no meaning.
    pub fn travel(&self) -> Result<Travel, BadParameter> {
        let stops = &self.actuator.ring.stops;
        let need = |name: &str| {
            BadParameter::new(
                format!("actuator.ring.stops.{name}"),
                MISSING,
                "a stop; to lose one, add the fault `ring-stop = [\"…\", \"missing\"]`",
            )
        };
        let low = stops.low.ok_or_else(|| need("low"))?.angle_rad;
        let high = stops.high.ok_or_else(|| need("high"))?.angle_rad;
        between("actuator.ring.stops.high.angle_rad", high - low, 0.01, 6.3)?;
        Ok(match self.opening {
            OpeningDirection::LowersAngle => Travel::new(low, high),
            OpeningDirection::RaisesAngle => Travel::new(high, low),
        })
    }
}

/// Ring angles at the two ends of the nozzle's travel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Travel {
    /// Vanes open, rad.
    pub open_rad: f64,
    /// Vanes closed, rad.
    pub closed_rad: f64,
    /// Opening per rad.
    per_rad: f64,
}

impl Travel {
    fn new(open_rad: f64, closed_rad: f64) -> Self {
        Self { open_rad, closed_rad, per_rad: 1.0 / (open_rad - closed_rad) }
    }

    /// Opening at a ring angle: 0 closed … 1 open; beyond the stops it goes on.
    #[inline]
    #[must_use]
    pub fn opening(&self, ring_rad: f64) -> f64 {
        (ring_rad - self.closed_rad) * self.per_rad
    }

    /// Ring angle at an opening, rad.
    #[must_use]
    pub fn ring_rad(&self, opening: f64) -> f64 {
        self.closed_rad + opening * (self.open_rad - self.closed_rad)
    }
}
