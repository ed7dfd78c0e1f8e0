//! Wheels: trim, and an estimate of inertia from what a calliper can reach.
//!
//! In: diameters, blades, material. Out: trims and kg m². Total: nothing is refused.

use core::f64::consts::PI;

use super::field::Field;
use super::sheet::{Material, PartsSheet};

/// Trim of a wheel: squared ratio of the smaller to the larger diameter, times 100. Common practice: for
/// a compressor inducer over exducer, for a turbine exducer over inducer.
#[must_use]
pub fn trim(smaller_mm: f64, larger_mm: f64) -> f64 {
    let ratio = smaller_mm / larger_mm;
    ratio * ratio * 100.0
}

/// A wheel, as far as its inertia needs it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WheelShape {
    /// Larger diameter, mm.
    pub diameter_mm: f64,
    /// Blade height at that diameter, mm.
    pub tip_height_mm: f64,
    /// Blades, splitters included.
    pub blades: u32,
    /// Material.
    pub material: Material,
}

/// Width of the solid disc that stands for hub and backface, as a share of the diameter. With
/// [`BLADE_THICKNESS_SHARE`] it makes a 50 mm aluminium and a 46 mm nickel wheel weigh in together
/// near 2.8e-5 kg m², the rotor of the invented bench engine A. An estimate, ±30 %.
pub(crate) const DISC_WIDTH_SHARE: f64 = 0.10;
/// Mean blade thickness as a share of the diameter; an estimate.
pub(crate) const BLADE_THICKNESS_SHARE: f64 = 0.012;
/// Half-width of the inertia estimate, relative.
pub(crate) const INERTIA_ESTIMATE_SHARE: f64 = 0.30;

impl WheelShape {
    /// Estimated inertia, kg m²: a solid disc, J = π ρ b d⁴ / 32, plus flat radial blades of the tip's
    /// height from axis to rim, J = n ρ t h r³ / 3. With similar wheels both terms go with d⁵.
    #[must_use]
    pub fn inertia_kg_m2(&self) -> f64 {
        let (d, h) = (self.diameter_mm * 1e-3, self.tip_height_mm * 1e-3);
        let density = self.material.density();
        let disc = PI * density * DISC_WIDTH_SHARE * d * d * d * d * d / 32.0;
        let radius = d / 2.0;
        let blades =
            f64::from(self.blades) * density * BLADE_THICKNESS_SHARE * d * h * radius * radius * radius;
        disc + blades / 3.0
    }
}

/// The compressor wheel of a sheet.
#[must_use]
pub(crate) fn compressor_wheel(sheet: &PartsSheet) -> WheelShape {
    WheelShape {
        diameter_mm: sheet.value(Field::CompressorExducer),
        tip_height_mm: sheet.value(Field::CompressorTipHeight),
        blades: sheet.compressor_blades.value,
        material: sheet.compressor_material.material,
    }
}

/// The turbine wheel of a sheet.
#[must_use]
pub(crate) fn turbine_wheel(sheet: &PartsSheet) -> WheelShape {
    WheelShape {
        diameter_mm: sheet.value(Field::TurbineInducer),
        tip_height_mm: sheet.value(Field::TurbineTipHeight),
        blades: sheet.turbine_blades.value,
        material: sheet.turbine_material.material,
    }
}

/// How [`estimated_inertia_kg_m2`] estimates, in words.
pub(crate) const INERTIA_RULE: &str = "solid disc and flat blades: π ρ b d⁴/32 + n ρ t h r³/3 for each wheel";

/// Rotor inertia from both wheels' diameters, blades and materials, kg m²; shaft and nut are small.
#[must_use]
pub fn estimated_inertia_kg_m2(sheet: &PartsSheet) -> f64 {
    compressor_wheel(sheet).inertia_kg_m2() + turbine_wheel(sheet).inertia_kg_m2()
}
