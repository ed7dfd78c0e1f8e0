//! Flow capacity of nozzle and volute, and the reference conditions it is corrected to.
//!
//! In: areas and gas states. Out: choked and corrected flows. Total: nothing is refused.

use serde::Serialize;

use plant::gas::Gas;

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

impl ReferenceConditions {
    /// Corrected mass flow W √(T/Tref) / (p/pref), same unit as `flow`.
    #[must_use]
    pub fn corrected_flow(&self, flow: f64, temperature_k: f64, pressure_pa: f64) -> f64 {
        flow * libm::sqrt(temperature_k / self.temperature_k) / (pressure_pa / self.pressure_pa)
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

/// Standard room for flow-bench targets: 20 °C, 101.325 kPa absolute.
pub(crate) const ROOM: (f64, f64) = (20.0, 101.325);
const KELVIN: f64 = 273.15;

/// Air through an effective area on a flow bench, g/s: room before it (°C, kPa absolute), `drop_kpa` less behind it.
/// Isentropic, NACA Report 1135.
#[must_use]
pub fn bench_flow_g_s(area_mm2: f64, drop_kpa: f64, (room_c, room_kpa): (f64, f64)) -> f64 {
    const G_PER_KG: f64 = 1e3;
    const PA_PER_KPA: f64 = 1e3;
    let (room_pa, behind_pa) = (room_kpa * PA_PER_KPA, (room_kpa - drop_kpa) * PA_PER_KPA);
    G_PER_KG * Gas::AIR.nozzle_flow(area_mm2 * 1e-6, room_pa, room_c + KELVIN, behind_pa)
}
