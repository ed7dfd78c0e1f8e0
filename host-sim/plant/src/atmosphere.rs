//! The standard atmosphere up to 11 km, after ISO 2533:1975.
//!
//! In: geometric altitude in metres. Out: pressure and temperature. Refuses altitudes outside −2 … 11 km.

use crate::check::{BadParameter, between};

/// Still air outside the engine.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ambient {
    /// Absolute pressure, Pa.
    pub pressure_pa: f64,
    /// Temperature, K.
    pub temperature_k: f64,
}

/// ISO 2533 constants: nominal Earth radius m, sea-level state, lapse rate K/m, gravity m/s², R J/(kg K).
const EARTH_RADIUS_M: f64 = 6_356_766.0;
const SEA_LEVEL: Ambient = Ambient { pressure_pa: 101_325.0, temperature_k: 288.15 };
const LAPSE_K_PER_M: f64 = -0.0065;
const GRAVITY: f64 = 9.806_65;
const R_AIR: f64 = 287.052_87;

impl Ambient {
    /// Sea level.
    pub const SEA_LEVEL: Self = SEA_LEVEL;

    /// The standard air at a geometric altitude.
    ///
    /// # Errors
    /// When the altitude lies outside −2 000 … 11 000 m.
    pub fn at_altitude(geometric_m: f64) -> Result<Self, BadParameter> {
        between("altitude_m", geometric_m, -2_000.0, 11_000.0)?;
        Ok(Self::at_geopotential(EARTH_RADIUS_M * geometric_m / (EARTH_RADIUS_M + geometric_m)))
    }

    fn at_geopotential(height_m: f64) -> Self {
        let temperature_k = SEA_LEVEL.temperature_k + LAPSE_K_PER_M * height_m;
        let exponent = -GRAVITY / (LAPSE_K_PER_M * R_AIR);
        let pressure_pa =
            SEA_LEVEL.pressure_pa * libm::pow(temperature_k / SEA_LEVEL.temperature_k, exponent);
        Self { pressure_pa, temperature_k }
    }
}
