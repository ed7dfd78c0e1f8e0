//! Flow capacity of nozzle and volute, and the reference conditions it is corrected to.
//!
//! In: areas and gas states, or a sheet. Out: choked and corrected flows. Total: nothing is refused.

use serde::Serialize;

use super::sheet::PartsSheet;
use plant::gas::Gas;
use plant::nozzle::in_series_mm2;

/// Conditions that flows are corrected to.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, schemars::JsonSchema)]
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
pub(crate) const EXHAUST: Gas = Gas { gamma: 1.33, r: 286.0 };

/// Choked flow through an effective area, kg/s.
#[must_use]
pub fn choked_flow_kg_s(area_mm2: f64, temperature_k: f64, pressure_pa: f64) -> f64 {
    EXHAUST.nozzle_flow(area_mm2 * 1e-6, pressure_pa, temperature_k, 0.0)
}

/// Exhaust state at which the choked capacity is quoted.
pub(crate) const CAPACITY_AT: (f64, f64) = (900.0, 250_000.0);

/// Choked flow in corrected units at an opening, kg/s.
#[must_use]
pub(crate) fn swallowing_capacity_kg_s(sheet: &PartsSheet, opening: f64) -> f64 {
    let (temperature, pressure) = CAPACITY_AT;
    let nozzle = sheet.nozzle().map_or(f64::NAN, |nozzle| nozzle.effective_area_mm2(opening));
    let area = in_series_mm2(nozzle, sheet.volute_area_mm2());
    SAE_J1826.corrected_flow(choked_flow_kg_s(area, temperature, pressure), temperature, pressure)
}
