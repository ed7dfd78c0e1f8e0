//! Figures from a parts sheet, each with formula, source and uncertainty.
//!
//! In: a checked sheet. Out: trims, inertia, nozzle areas, flow capacities, indexing error. Every figure
//! says which estimated values it rests on. Uncertainty: GUM first-order propagation over the sheet's
//! tolerances, read as rectangular.

use core::f64::consts::PI;

use serde::Serialize;

use super::field::Field;
use super::sheet::{Material, PartsSheet};
use crate::gas::Gas;
use crate::nozzle::NozzleModel;
use crate::uncertainty::{Input, Propagated, propagate};

/// Conditions that flows are corrected to.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct ReferenceConditions {
    /// Where they come from.
    pub source: &'static str,
    /// Total temperature, K.
    pub temperature_k: f64,
    /// Total pressure, Pa.
    pub pressure_pa: f64,
}

/// SAE J1826, turbocharger gas stand test code: 298 K, 100 kPa (values from memory).
pub const SAE_J1826: ReferenceConditions =
    ReferenceConditions { source: "SAE J1826", temperature_k: 298.0, pressure_pa: 100_000.0 };
/// Conditions in use with SAE J922: 545 °R, 28.4 inHg (values from memory; exact unit conversions).
pub const SAE_J922: ReferenceConditions =
    ReferenceConditions { source: "SAE J922", temperature_k: 545.0 / 1.8, pressure_pa: 28.4 * 3_386.389 };

impl ReferenceConditions {
    /// Corrected mass flow W √(T/Tref) / (p/pref), same unit as `flow`.
    #[must_use]
    pub fn corrected_flow(&self, flow: f64, temperature_k: f64, pressure_pa: f64) -> f64 {
        flow * libm::sqrt(temperature_k / self.temperature_k) / (pressure_pa / self.pressure_pa)
    }

    /// Corrected speed N / √(T/Tref), same unit as `speed`.
    #[must_use]
    pub fn corrected_speed(&self, speed: f64, temperature_k: f64) -> f64 {
        speed / libm::sqrt(temperature_k / self.temperature_k)
    }
}

/// Exhaust of lean burning at about 800 K: γ 1.33; R of combustion products near that of air.
pub const EXHAUST: Gas = Gas { gamma: 1.33, r: 286.0 };

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
pub const DISC_WIDTH_SHARE: f64 = 0.10;
/// Mean blade thickness as a share of the diameter; an estimate.
pub const BLADE_THICKNESS_SHARE: f64 = 0.012;
/// Half-width of the inertia estimate, relative.
pub const INERTIA_ESTIMATE_SHARE: f64 = 0.30;

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
pub fn compressor_wheel(sheet: &PartsSheet) -> WheelShape {
    WheelShape {
        diameter_mm: sheet.value(Field::CompressorExducer),
        tip_height_mm: sheet.value(Field::CompressorTipHeight),
        blades: sheet.compressor_blades.value,
        material: sheet.compressor_material.material,
    }
}

/// The turbine wheel of a sheet.
#[must_use]
pub fn turbine_wheel(sheet: &PartsSheet) -> WheelShape {
    WheelShape {
        diameter_mm: sheet.value(Field::TurbineInducer),
        tip_height_mm: sheet.value(Field::TurbineTipHeight),
        blades: sheet.turbine_blades.value,
        material: sheet.turbine_material.material,
    }
}

/// How [`estimated_inertia_kg_m2`] estimates, in words.
pub const INERTIA_RULE: &str = "solid disc and flat blades: π ρ b d⁴/32 + n ρ t h r³/3 for each wheel";

/// Rotor inertia from both wheels' diameters, blades and materials, kg m²; shaft and nut are small.
#[must_use]
pub fn estimated_inertia_kg_m2(sheet: &PartsSheet) -> f64 {
    compressor_wheel(sheet).inertia_kg_m2() + turbine_wheel(sheet).inertia_kg_m2()
}

/// Volute throat and nozzle in a row, mm²: 1/A² = 1/A₁² + 1/A₂² (incompressible losses in series; an
/// estimate that matters only where the volute is hardly larger than the nozzle).
#[must_use]
pub fn in_series_mm2(first_mm2: f64, second_mm2: f64) -> f64 {
    1.0 / libm::sqrt(1.0 / (first_mm2 * first_mm2) + 1.0 / (second_mm2 * second_mm2))
}

/// Choked flow through an effective area, kg/s.
#[must_use]
pub fn choked_flow_kg_s(area_mm2: f64, temperature_k: f64, pressure_pa: f64) -> f64 {
    EXHAUST.nozzle_flow(area_mm2 * 1e-6, pressure_pa, temperature_k, 0.0)
}

/// Exhaust state at which the choked capacity is quoted.
pub const CAPACITY_AT: (f64, f64) = (900.0, 250_000.0);

/// One figure.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Figure {
    /// What it is.
    pub name: &'static str,
    /// Unit.
    pub unit: &'static str,
    /// Value.
    pub value: f64,
    /// Combined standard uncertainty (coverage factor 1).
    pub standard_uncertainty: f64,
    /// Formula in words or symbols.
    pub formula: &'static str,
    /// Where the formula comes from.
    pub source: &'static str,
    /// Estimated values it rests on, as `section.key`.
    pub rests_on_estimates: Vec<String>,
}

/// Propagates the sheet's tolerances through any formula of the sheet.
pub fn propagate_sheet(sheet: &PartsSheet, formula: impl Fn(&PartsSheet) -> f64) -> Propagated {
    let fields: Vec<Field> = sheet.quantities().map(|(field, _)| field).collect();
    let inputs: Vec<Input> = sheet
        .quantities()
        .map(|(field, quantity)| Input::new(field.path(), quantity.value, quantity.standard_uncertainty()))
        .collect();
    propagate(&inputs, |values| {
        let mut varied = sheet.clone();
        for (&field, &value) in fields.iter().zip(values) {
            varied.set(field, value);
        }
        formula(&varied)
    })
}

/// A value of the nozzle; NaN where varied dimensions make no ring.
fn of_nozzle(sheet: &PartsSheet, value: impl Fn(&NozzleModel) -> f64) -> f64 {
    sheet.nozzle().map_or(f64::NAN, |nozzle| value(&nozzle))
}

/// Everything a figure is, but the numbers.
struct Recipe {
    name: &'static str,
    unit: &'static str,
    formula: &'static str,
    source: &'static str,
    of: fn(&PartsSheet) -> f64,
}

const COMMON: &str = "common practice, no source";
const GEOMETRY: &str = "nearest distance of neighbouring vanes";
const CHOKED: &str = "NACA Report 1135 (1953), γ 1.33, R 286";

const RECIPES: &[Recipe] = &[
    Recipe {
        name: "compressor trim",
        unit: "1",
        formula: "100 (inducer / exducer)²",
        source: COMMON,
        of: |s| trim(s.value(Field::CompressorInducer), s.value(Field::CompressorExducer)),
    },
    Recipe {
        name: "turbine trim",
        unit: "1",
        formula: "100 (exducer / inducer)²",
        source: COMMON,
        of: |s| trim(s.value(Field::TurbineExducer), s.value(Field::TurbineInducer)),
    },
    Recipe {
        name: "rotor inertia",
        unit: "kg m²",
        formula: "measured, else π ρ b d⁴/32 + n ρ t h r³/3 for each wheel",
        source: "solid disc and flat blades, ±30 %",
        of: |s| s.value(Field::RotorInertia),
    },
    Recipe {
        name: "volute A/R",
        unit: "mm",
        formula: "throat area / centroid radius",
        source: COMMON,
        of: |s| s.volute_area_mm2() / s.value(Field::VoluteRadius),
    },
    Recipe {
        name: "minimum-flow throat area",
        unit: "mm²",
        formula: "vanes × height × throat width at the closed stop",
        source: GEOMETRY,
        of: |s| of_nozzle(s, |n| n.throat_area_mm2(0.0)),
    },
    Recipe {
        name: "minimum-flow effective area",
        unit: "mm²",
        formula: "Cd × throat area + Cgap × end gap × pivot circumference",
        source: GEOMETRY,
        of: |s| of_nozzle(s, |n| n.effective_area_mm2(0.0)),
    },
    Recipe {
        name: "open throat area",
        unit: "mm²",
        formula: "vanes × height × throat width at the open stop",
        source: GEOMETRY,
        of: |s| of_nozzle(s, |n| n.throat_area_mm2(1.0)),
    },
    Recipe {
        name: "open effective area",
        unit: "mm²",
        formula: "Cd × throat area + Cgap × end gap × pivot circumference",
        source: GEOMETRY,
        of: |s| of_nozzle(s, |n| n.effective_area_mm2(1.0)),
    },
    Recipe {
        name: "area per degree, closed",
        unit: "mm²/°",
        formula: "slope of effective area at the closed stop",
        source: GEOMETRY,
        of: |s| of_nozzle(s, |n| n.area_per_degree_mm2(0.0)),
    },
    Recipe {
        name: "area per degree, mid-travel",
        unit: "mm²/°",
        formula: "slope of effective area at opening 0.5",
        source: GEOMETRY,
        of: |s| of_nozzle(s, |n| n.area_per_degree_mm2(0.5)),
    },
    Recipe {
        name: "choked flow, open, 900 K, 250 kPa",
        unit: "kg/s",
        formula: "A p ψ / √(R T), volute and nozzle in series",
        source: CHOKED,
        of: |s| {
            let area = of_nozzle(s, |n| n.effective_area_mm2(1.0));
            choked_flow_kg_s(in_series_mm2(area, s.volute_area_mm2()), CAPACITY_AT.0, CAPACITY_AT.1)
        },
    },
    Recipe {
        name: "swallowing capacity, closed, 298 K, 100 kPa",
        unit: "kg/s",
        formula: "choked flow corrected: W √(T/298 K) / (p/100 kPa)",
        source: "SAE J1826 reference conditions",
        of: |s| swallowing_capacity_kg_s(s, 0.0),
    },
    Recipe {
        name: "swallowing capacity, open, 298 K, 100 kPa",
        unit: "kg/s",
        formula: "choked flow corrected: W √(T/298 K) / (p/100 kPa)",
        source: "SAE J1826 reference conditions",
        of: |s| swallowing_capacity_kg_s(s, 1.0),
    },
];

/// Choked flow in corrected units at an opening, kg/s.
#[must_use]
pub fn swallowing_capacity_kg_s(sheet: &PartsSheet, opening: f64) -> f64 {
    let (temperature, pressure) = CAPACITY_AT;
    let nozzle = of_nozzle(sheet, |nozzle| nozzle.effective_area_mm2(opening));
    let area = in_series_mm2(nozzle, sheet.volute_area_mm2());
    SAE_J1826.corrected_flow(choked_flow_kg_s(area, temperature, pressure), temperature, pressure)
}

/// All figures of a sheet.
#[must_use]
pub fn figures(sheet: &PartsSheet) -> Vec<Figure> {
    RECIPES.iter().map(|recipe| figure(sheet, recipe)).collect()
}

fn figure(sheet: &PartsSheet, recipe: &Recipe) -> Figure {
    let result = propagate_sheet(sheet, recipe.of);
    let rests_on_estimates = sheet
        .quantities()
        .zip(&result.contributions)
        .filter(|((_, quantity), share)| quantity.is_estimated() && share.component != 0.0)
        .map(|((field, _), _)| field.path())
        .collect();
    Figure {
        name: recipe.name,
        unit: recipe.unit,
        value: result.value,
        standard_uncertainty: result.standard_uncertainty,
        formula: recipe.formula,
        source: recipe.source,
        rests_on_estimates,
    }
}

/// Vane-angle error that the indexing chain allows.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct StackUp {
    /// All tolerances at their ends the same way, degrees.
    pub worst_case_deg: f64,
    /// Root of the sum of squares, degrees.
    pub root_sum_square_deg: f64,
}

/// Vane rotation between the stops: as measured at the vanes, and as the measured linkage makes it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct VaneRotation {
    /// Open angle less closed angle, degrees.
    pub at_vanes_deg: f64,
    /// By lever, rod, ring and slots, degrees; none where the linkage was not measured.
    pub by_linkage_deg: Option<f64>,
}

/// Both ways to know the vane rotation; they should agree within the stated tolerances.
#[must_use]
pub fn vane_rotation(sheet: &PartsSheet) -> VaneRotation {
    VaneRotation {
        at_vanes_deg: sheet.value(Field::OpenAngle) - sheet.value(Field::ClosedAngle),
        by_linkage_deg: sheet.linkage().vane_rotation_deg(),
    }
}

/// Adds up the indexing chain as vane degrees.
#[must_use]
pub fn indexing_stack(sheet: &PartsSheet) -> StackUp {
    let vane_deg = |link: &super::IndexLink| {
        link.tolerance_deg * sheet.vane_degrees_per(link.acts_on).unwrap_or(f64::NAN)
    };
    let chain = &sheet.indexing.chain;
    StackUp {
        worst_case_deg: chain.iter().map(vane_deg).sum(),
        root_sum_square_deg: libm::sqrt(chain.iter().map(|link| vane_deg(link) * vane_deg(link)).sum()),
    }
}
