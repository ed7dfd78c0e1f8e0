//! Figures from a parts sheet, each with formula, source and uncertainty.
//!
//! In: a checked sheet. Out: trims, inertia, nozzle areas, flow capacities, indexing error. Every figure
//! says which estimated values it rests on. Uncertainty: GUM first-order propagation over the sheet's
//! tolerances, read as rectangular.

use serde::Serialize;

use super::field::Field;
use super::flow::{CAPACITY_AT, SAE_J1826, choked_flow_kg_s};
use super::sheet::PartsSheet;
use super::wheels::{trim, turbine_in_flow};
use crate::errors::correlation;
use crate::uncertainty::{Correlation, Input, Propagated, propagate_correlated};
use plant::nozzle::{NozzleModel, in_series_mm2};

/// One figure.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct PartFigure {
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

/// Propagates the sheet's tolerances, readings by one instrument correlated as it says, through any formula of the sheet.
pub(crate) fn propagate_sheet(sheet: &PartsSheet, formula: impl Fn(&PartsSheet) -> f64) -> Propagated {
    let fields: Vec<Field> = sheet.quantities().map(|(field, _)| field).collect();
    let inputs: Vec<Input> = sheet
        .quantities()
        .map(|(field, quantity)| Input::new(field.path(), quantity.value, quantity.standard_uncertainty()))
        .collect();
    let mut correlations = Vec::new();
    for (at, &one) in fields.iter().enumerate() {
        for (other_at, &other) in fields.iter().enumerate().skip(at + 1) {
            let coefficient = correlation(sheet, one, other);
            if coefficient > 0.0 {
                correlations.push(Correlation { between: (at, other_at), coefficient });
            }
        }
    }
    propagate_correlated(&inputs, &correlations, |values| {
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
const SERIES: &str = "two isentropic throats in series, derived here (perfect gas, no incidence)";
const CHOKED: &str = "NACA Report 1135 (1953), γ 1.33, R 286";

/// What of the inlet's own flow is left with the wheel behind it.
fn left_by_wheel(sheet: &PartsSheet, opening: f64) -> f64 {
    let nozzle = of_nozzle(sheet, |nozzle| nozzle.effective_area_mm2(opening));
    turbine_in_flow(sheet).share_of_flow(in_series_mm2(nozzle, sheet.volute_area_mm2()))
}

const RECIPES: &[Recipe] = &[
    Recipe {
        name: "compressor trim",
        unit: "–",
        formula: "100 (inducer / exducer)²",
        source: COMMON,
        of: |s| trim(s.value(Field::CompressorInducer), s.value(Field::CompressorExducer)),
    },
    Recipe {
        name: "turbine trim",
        unit: "–",
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
        name: "turbine wheel's throat, effective",
        unit: "mm²",
        formula: "Cd × measured throat, else Cd × (annulus × cos exit angle − blades × thickness × height)",
        source: COMMON,
        of: |s| turbine_in_flow(s).throat_mm2,
    },
    Recipe {
        name: "flow left by the wheel, open",
        unit: "%",
        formula: "nozzle and wheel throat in series over nozzle alone, 900 K, expansion 2, U/C0 0.65",
        source: SERIES,
        of: |s| 100.0 * left_by_wheel(s, 1.0),
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
        name: "choked flow, open, 900 K, 250 kPa absolute",
        unit: "kg/s",
        formula: "A p ψ / √(R T), volute and nozzle in series",
        source: CHOKED,
        of: |s| {
            let area = of_nozzle(s, |n| n.effective_area_mm2(1.0));
            choked_flow_kg_s(in_series_mm2(area, s.volute_area_mm2()), CAPACITY_AT.0, CAPACITY_AT.1)
        },
    },
    Recipe {
        name: "swallowing capacity, closed, 298 K, 100 kPa absolute",
        unit: "kg/s",
        formula: "flow of volute, nozzle and wheel corrected: W √(T/298 K) / (p/100 kPa absolute)",
        source: "reference conditions from memory (SAE J1826)",
        of: |s| swallowing_capacity_kg_s(s, 0.0),
    },
    Recipe {
        name: "swallowing capacity, open, 298 K, 100 kPa absolute",
        unit: "kg/s",
        formula: "flow of volute, nozzle and wheel corrected: W √(T/298 K) / (p/100 kPa absolute)",
        source: "reference conditions from memory (SAE J1826)",
        of: |s| swallowing_capacity_kg_s(s, 1.0),
    },
];

/// Flow in corrected units at an opening, volute, nozzle and turbine wheel in series, kg/s: what a nozzle alone,
/// choked, would pass if it passed at an expansion of 2 what these pass.
#[must_use]
fn swallowing_capacity_kg_s(sheet: &PartsSheet, opening: f64) -> f64 {
    let (temperature, pressure) = CAPACITY_AT;
    let nozzle = sheet.nozzle().map_or(f64::NAN, |nozzle| nozzle.effective_area_mm2(opening));
    let inlet = in_series_mm2(nozzle, sheet.volute_area_mm2());
    let area = inlet * turbine_in_flow(sheet).share_of_flow(inlet);
    SAE_J1826.corrected_flow(choked_flow_kg_s(area, temperature, pressure), temperature, pressure)
}

/// Names and units of all figures.
pub(crate) fn figure_names() -> impl Iterator<Item = (&'static str, &'static str)> {
    RECIPES.iter().map(|recipe| (recipe.name, recipe.unit))
}

/// Values of all figures, without their uncertainties.
pub(crate) fn figure_values(sheet: &PartsSheet) -> Vec<f64> {
    RECIPES.iter().map(|recipe| (recipe.of)(sheet)).collect()
}

/// All figures of a sheet.
#[must_use]
pub fn figures(sheet: &PartsSheet) -> Vec<PartFigure> {
    RECIPES.iter().map(|recipe| figure(sheet, recipe)).collect()
}

fn figure(sheet: &PartsSheet, recipe: &Recipe) -> PartFigure {
    let result = propagate_sheet(sheet, recipe.of);
    let rests_on_estimates = sheet
        .quantities()
        .zip(&result.contributions)
        .filter(|((_, quantity), share)| quantity.is_estimated() && share.component != 0.0)
        .map(|((field, _), _)| field.path())
        .collect();
    PartFigure {
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
#[derive(Debug, Clone, Copy, PartialEq, Serialize, schemars::JsonSchema)]
pub struct StackUp {
    /// All tolerances at their ends the same way, degrees.
    pub worst_case_deg: f64,
    /// Root of the sum of squares, degrees.
    pub root_sum_square_deg: f64,
}

/// Vane rotation between the stops: as measured at the vanes, and as the measured linkage makes it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, schemars::JsonSchema)]
pub struct VaneRotation {
    /// Open angle less closed angle, degrees.
    pub at_vanes_deg: f64,
    /// By lever, rod, ring and slots, degrees; none where the linkage was not measured.
    pub by_linkage_deg: Option<f64>,
}

/// Both ways to know the vane rotation; they should agree within the stated tolerances.
#[must_use]
pub(crate) fn vane_rotation(sheet: &PartsSheet) -> VaneRotation {
    VaneRotation {
        at_vanes_deg: sheet.open_deg() - sheet.closed_deg(),
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
