//! What a compressor can pass: the choked inducer, and a measured map in place of estimates.
//!
//! In: inducer dimensions and speed, or a map as CSV. Out: an upper bound of the air mass, the map's surge and choke
//! ends, coefficients for the air path. The bound is an upper one: real wheels choke below it.

use core::f64::consts::PI;

use std::sync::Arc;

use crate::Field;
use crate::compressor_map::{CompressorMap, MapError};
use crate::sheet::PartsSheet;

/// Air before the compressor: γ, R J/(kg K).
const GAMMA: f64 = 1.4;
const R: f64 = 287.0;
/// Share of the inducer that blades and boundary layers block; common practice, no source.
const BLOCKED: f64 = 0.08;

/// Choke flow of a map over the inducer's bound from which on one of the two is wrong: blockage and blade angle are
/// estimates; own choice.
const OVER_INDUCER: f64 = 1.15;

impl PartsSheet {
    /// The sheet with a measured map in place of the estimate.
    ///
    /// # Errors
    /// A choke end beyond what the sheet's inducer can pass: a unit, or another compressor's map.
    pub fn with_map(mut self, map: CompressorMap) -> Result<Self, MapError> {
        let inducer = Inducer::of(&self);
        for (rpm, flow_kg_s, line) in map.choke_ends() {
            let tip_m_s = rpm * PI / 60.0 * inducer.diameter_mm * 1e-3;
            let most = OVER_INDUCER * inducer.choke_kg_s(tip_m_s, map.basis.pascal, map.basis.kelvin);
            if flow_kg_s > most {
                let what = format!(
                    "flow_kg_s is {flow_kg_s} at {rpm} rpm; allowed: at most {most:.3}, what the sheet's inducer of \
                     {:.1} mm passes with {:.0} % to spare. Was the flow in lb/s (× 0.4536) or lb/min (× 0.00756)? Or \
                     is it another compressor's map?",
                    inducer.diameter_mm,
                    100.0 * (OVER_INDUCER - 1.0)
                );
                return Err(MapError { file: map.file.clone(), line: Some(line), what });
            }
        }
        self.map = Some(Arc::new(map));
        Ok(self)
    }
}

/// An inducer as its throat counts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Inducer {
    /// Tip diameter, mm.
    pub diameter_mm: f64,
    /// Hub over tip diameter.
    pub hub_ratio: f64,
    /// Blade angle from the axis at the tip, degrees.
    pub tip_angle_deg: f64,
}

impl Inducer {
    /// The inducer of a sheet.
    #[must_use]
    pub fn of(sheet: &PartsSheet) -> Self {
        let diameter_mm = sheet.value(Field::CompressorInducer);
        Self {
            diameter_mm,
            hub_ratio: sheet.value(Field::CompressorHub) / diameter_mm,
            tip_angle_deg: sheet.value(Field::CompressorInducerAngle),
        }
    }

    /// Most air that the inducer can pass at a tip speed from a total state, kg/s: the lesser of the annulus at
    /// axial Mach 1 and the throat at relative Mach 1 (rothalpy, no swirl, isentropic, at the root-mean-square
    /// radius of radial-element blades). Derived here; the book form is from memory.
    #[must_use]
    pub fn choke_kg_s(&self, tip_m_s: f64, total_pa: f64, total_k: f64) -> f64 {
        let hub2 = self.hub_ratio * self.hub_ratio;
        let area = (1.0 - BLOCKED) * PI / 4.0 * self.diameter_mm * self.diameter_mm * 1e-6 * (1.0 - hub2);
        let mean = libm::sqrt(f64::midpoint(1.0, hub2));
        let angle = libm::atan(libm::tan(self.tip_angle_deg.to_radians()) * mean);
        let flux = |speed: f64| relative_choke_kg_s_m2(speed, total_pa, total_k);
        (area * flux(0.0)).min(area * libm::cos(angle) * flux(tip_m_s * mean))
    }
}

/// Largest mass flow through a square metre normal to the relative flow at a blade speed.
#[must_use]
pub fn relative_choke_kg_s_m2(blade_m_s: f64, total_pa: f64, total_k: f64) -> f64 {
    let sound = libm::sqrt(GAMMA * R * total_k);
    let mach = blade_m_s / sound;
    let base = (2.0 + (GAMMA - 1.0) * mach * mach) / (GAMMA + 1.0);
    total_pa / (R * total_k) * sound * libm::pow(base, (GAMMA + 1.0) / (2.0 * (GAMMA - 1.0)))
}
