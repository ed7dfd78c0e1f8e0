//! Wheels: trim, and an estimate of inertia from what a calliper can reach.
//!
//! In: diameters, blades, material. Out: trims and kg m². Total: nothing is refused.

use core::f64::consts::PI;

use super::field::Field;
use super::flow::EXHAUST;
use super::sheet::{Material, PartsSheet};
use plant::nozzle::TurbineWheel;

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

/// Throat between the turbine blades at the exducer, mm², from what a calliper and a protractor reach: the
/// annulus across the flow at the mean radius, less one blade's thickness over the annulus' height for each blade.
#[must_use]
pub fn turbine_throat_mm2(
    exducer_mm: f64,
    hub_mm: f64,
    blades: u32,
    thickness_mm: f64,
    angle_deg: f64,
) -> f64 {
    let annulus = PI / 4.0 * (exducer_mm * exducer_mm - hub_mm * hub_mm);
    let height = (exducer_mm - hub_mm) / 2.0;
    annulus * libm::cos(angle_deg.to_radians()) - f64::from(blades) * thickness_mm * height
}

/// The turbine wheel of a sheet as its throat counts in the flow.
#[must_use]
pub(crate) fn turbine_in_flow(sheet: &PartsSheet) -> TurbineWheel {
    let value = |field| sheet.value(field);
    let (exducer, hub) = (value(Field::TurbineExducer), value(Field::TurbineHub));
    let geometric = sheet.get(Field::TurbineThroat).map_or_else(
        || {
            turbine_throat_mm2(
                exducer,
                hub,
                sheet.turbine_blades.value,
                value(Field::TurbineBladeThickness),
                value(Field::TurbineExitAngle),
            )
        },
        |throat| throat.value,
    );
    TurbineWheel {
        throat_mm2: value(Field::TurbineDischarge) * geometric,
        radius_ratio: libm::sqrt((exducer * exducer + hub * hub) / 2.0) / value(Field::TurbineInducer),
    }
}

/// How [`estimated_inertia_kg_m2`] estimates, in words.
pub(crate) const INERTIA_RULE: &str = "solid disc and flat blades: π ρ b d⁴/32 + n ρ t h r³/3 for each wheel";

/// Rotor inertia from both wheels' diameters, blades and materials, kg m²; shaft and nut are small.
#[must_use]
pub fn estimated_inertia_kg_m2(sheet: &PartsSheet) -> f64 {
    compressor_wheel(sheet).inertia_kg_m2() + turbine_wheel(sheet).inertia_kg_m2()
}

/// Gas on its way into a turbine wheel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RotorInlet {
    /// Flow, kg/s.
    pub kg_s: f64,
    /// Total temperature, K.
    pub total_k: f64,
    /// Total pressure, Pa.
    pub total_pa: f64,
    /// Inducer diameter, mm.
    pub diameter_mm: f64,
    /// Blade height there, mm.
    pub height_mm: f64,
    /// Angle of the gas from the tangent: the vanes'.
    pub vane_deg: f64,
    /// Tip speed, m/s.
    pub tip_m_s: f64,
}

/// Angle of the gas seen from the wheel, degrees from the radius, above 0 in the wheel's direction; none where
/// the inlet would choke at that angle. Lossless up to the wheel; the speed by continuity, the slower solution.
#[must_use]
pub fn rotor_inlet(inlet: &RotorInlet) -> Option<f64> {
    const HALVINGS: u32 = 60;
    let gas = EXHAUST;
    let (cp, exponent) = (gas.cp(), 1.0 / (gas.gamma - 1.0));
    let area_m2 = PI * inlet.diameter_mm * inlet.height_mm * 1e-6;
    let (sin, cos) = (libm::cos(inlet.vane_deg.to_radians()), libm::sin(inlet.vane_deg.to_radians()));
    let density = inlet.total_pa / (gas.r * inlet.total_k);
    let passes = |speed: f64| {
        let cooled = 1.0 - speed * speed / (2.0 * cp * inlet.total_k);
        density * libm::pow(cooled, exponent) * speed * cos * area_m2
    };
    let mut slow = 0.0;
    let mut fast = libm::sqrt(2.0 * gas.gamma / (gas.gamma + 1.0) * gas.r * inlet.total_k);
    if passes(fast).is_nan() || passes(fast) < inlet.kg_s {
        return None;
    }
    for _ in 0..HALVINGS {
        let middle = f64::midpoint(slow, fast);
        if passes(middle) < inlet.kg_s { slow = middle } else { fast = middle }
    }
    Some(libm::atan2(slow * sin - inlet.tip_m_s, slow * cos).to_degrees())
}
