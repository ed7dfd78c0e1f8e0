//! Reduced mean-value air path: intake and exhaust pressure and turbo speed.
//!
//! In: pressures, turbo speed, vane opening, engine speed, fuel, surroundings. Out: all flows and the
//! three time derivatives. Structure after Wahlström and Eriksson, "Modelling diesel engines with a
//! variable-geometry turbocharger and exhaust gas recirculation by optimization of model parameters for
//! capturing non-linear system dynamics", Proc. IMechE Part D 225(7), 2011, 960–986, without its oxygen
//! states; the parameter values are those of an invented 2.2-litre engine. Surge is outside the model:
//! beyond the zero-flow line the compressor simply delivers nothing.

use super::lanes;
use super::reduced_params::ReducedParams;
use crate::atmosphere::Ambient;
use crate::check::{BadParameter, above_zero};

/// What the engine is doing, held over a step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Operating {
    /// Crankshaft speed, rpm.
    pub speed_rpm: f64,
    /// Fuel per stroke and cylinder, mg.
    pub fuel_mg: f64,
    /// Effective area of the exhaust-gas recirculation valve, m²; 0 is shut.
    pub egr_area_m2: f64,
    /// Area of a leak in the boost hose, m².
    pub leak_area_m2: f64,
    /// Pressure lost between compressor and intake manifold, Pa.
    pub hose_drop_pa: f64,
}

impl Operating {
    /// Plain running: no recirculation, no leak, a clear hose.
    #[must_use]
    pub fn new(speed_rpm: f64, fuel_mg: f64) -> Self {
        Self { speed_rpm, fuel_mg, egr_area_m2: 0.0, leak_area_m2: 0.0, hose_drop_pa: 0.0 }
    }
}

/// Vane opening with the nozzle area that belongs to it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Vanes {
    /// Opening, 0 closed … 1 open.
    pub opening: f64,
    /// Effective nozzle area, m².
    pub area_m2: f64,
}

/// Intake pressure Pa, exhaust pressure Pa, turbo speed rad/s.
pub type AirState = [f64; 3];

/// All algebraic quantities of an instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flows {
    /// Air through the compressor, kg/s.
    pub compressor_kg_s: f64,
    /// Air into the cylinders, kg/s.
    pub engine_kg_s: f64,
    /// Fuel, kg/s.
    pub fuel_kg_s: f64,
    /// Exhaust through the turbine, kg/s.
    pub turbine_kg_s: f64,
    /// Recirculated exhaust, kg/s.
    pub egr_kg_s: f64,
    /// Lost through a leak, kg/s.
    pub leak_kg_s: f64,
    /// Exhaust temperature, K.
    pub exhaust_k: f64,
    /// Turbine shaft power, W.
    pub turbine_w: f64,
    /// Compressor shaft power, W.
    pub compressor_w: f64,
}

/// Powers of the two pressure ratios.
struct Ratios {
    /// 1 − Π^(1 − 1/γ) of the turbine.
    turbine_head: f64,
    /// 1 − Π^K of the turbine.
    turbine_flow: f64,
    /// Π^(1 − 1/γ) − 1 of the compressor.
    compressor_rise: f64,
}

/// Largest expansion ratio taken, so that the turbine's head never reaches 0 (as in the source).
const RATIO_MAX: f64 = 0.9999;
/// Pressure ratio below which recirculation is choked (Wahlström and Eriksson 2011, Π_egropt rounded).
const EGR_CHOKED: f64 = 0.65;
/// Below this turbo speed the model is not valid; it only keeps the arithmetic finite, rad/s.
const SLOWEST_RAD_S: f64 = 50.0;

/// The reduced air path with everything that does not change worked out once.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReducedModel {
    params: ReducedParams,
    ambient: Ambient,
    air_exponent: f64,
    exhaust_exponent: f64,
    inverse_ambient: f64,
    head_factor: f64,
    flow_factor: f64,
    engine_factor: f64,
    compressor_factor: f64,
    intake_rate: f64,
    exhaust_rate: f64,
    blade_factor: f64,
}

impl ReducedModel {
    /// Takes checked parameters and the surroundings.
    ///
    /// # Errors
    /// Names the first parameter that is out of range.
    pub fn try_new(params: ReducedParams, ambient: Ambient) -> Result<Self, BadParameter> {
        params.validate()?;
        above_zero("ambient.pressure_pa", ambient.pressure_pa)?;
        above_zero("ambient.temperature_k", ambient.temperature_k)?;
        let p = &params;
        let radius = p.compressor_radius_m;
        let density = ambient.pressure_pa / (p.air_r * ambient.temperature_k);
        Ok(Self {
            air_exponent: 1.0 - 1.0 / p.air_gamma,
            exhaust_exponent: 1.0 - 1.0 / p.exhaust_gamma,
            inverse_ambient: 1.0 / ambient.pressure_pa,
            head_factor: 2.0 * p.air_cp * ambient.temperature_k / (radius * radius),
            flow_factor: density * core::f64::consts::PI * radius * radius * radius,
            engine_factor: p.displacement_m3 / (120.0 * p.air_r * p.intake_k),
            compressor_factor: p.air_cp * ambient.temperature_k,
            intake_rate: p.air_r * p.intake_k / p.intake_volume_m3,
            exhaust_rate: p.exhaust_r / p.exhaust_volume_m3,
            blade_factor: p.turbine_radius_m / libm::sqrt(2.0 * p.exhaust_cp),
            params,
            ambient,
        })
    }

    /// The parameters it was made of.
    #[must_use]
    pub fn params(&self) -> &ReducedParams {
        &self.params
    }

    /// The surroundings.
    #[must_use]
    pub fn ambient(&self) -> &Ambient {
        &self.ambient
    }

    /// Nozzle area at an opening (held to 0 … 1).
    #[must_use]
    pub fn vanes(&self, opening: f64) -> Vanes {
        let p = &self.params;
        let held = opening.clamp(0.0, 1.0);
        let share = if held == 0.0 { 0.0 } else { lanes::exp([p.nozzle_exponent * lanes::ln([held])[0]])[0] };
        Vanes { opening, area_m2: p.nozzle_min_m2 + (p.nozzle_max_m2 - p.nozzle_min_m2) * share }
    }

    /// Air into the cylinders at these pressures, kg/s.
    #[inline(always)]
    pub fn engine_flow(&self, state: &AirState, speed_rpm: f64) -> f64 {
        let p = &self.params;
        let back = state[1] / state[0] - 1.0;
        let efficiency = (p.volumetric_base + p.volumetric_slope * back).clamp(0.3, 1.0);
        efficiency * state[0] * speed_rpm * self.engine_factor
    }

    /// Every flow and power at an instant.
    #[inline(always)]
    #[must_use]
    pub fn flows(&self, state: &AirState, vanes: Vanes, op: &Operating) -> Flows {
        let p = &self.params;
        let engine_kg_s = self.engine_flow(state, op.speed_rpm);
        let fuel_kg_s = op.fuel_mg * 1e-6 * op.speed_rpm * p.cylinders / 120.0;
        let charge = engine_kg_s + fuel_kg_s;
        let heat = p.exhaust_heat_share * fuel_kg_s * p.heating_value / (p.exhaust_cp * charge);
        let exhaust_k = (p.intake_k + heat).min(p.exhaust_max_k);
        let ratios = self.ratios(state, op.hose_drop_pa);
        let (turbine_kg_s, turbine_w) = self.turbine(state, &ratios, vanes, exhaust_k);
        let (compressor_kg_s, compressor_w) = self.compressor(ratios.compressor_rise, state[2]);
        Flows {
            compressor_kg_s,
            engine_kg_s,
            fuel_kg_s,
            turbine_kg_s,
            egr_kg_s: self.egr(state, exhaust_k, op.egr_area_m2),
            leak_kg_s: self.leak(state, op.leak_area_m2),
            exhaust_k,
            turbine_w,
            compressor_w,
        }
    }

    /// Time derivatives of the three states.
    #[inline(always)]
    #[must_use]
    pub fn rates(&self, state: &AirState, vanes: Vanes, op: &Operating) -> AirState {
        let f = self.flows(state, vanes, op);
        let speed = state[2].max(SLOWEST_RAD_S);
        [
            self.intake_rate * (f.compressor_kg_s + f.egr_kg_s - f.engine_kg_s - f.leak_kg_s),
            self.exhaust_rate * f.exhaust_k * (f.engine_kg_s + f.fuel_kg_s - f.turbine_kg_s - f.egr_kg_s),
            (f.turbine_w - f.compressor_w) / (self.params.rotor_inertia_kg_m2 * speed),
        ]
    }

    /// All powers of pressure ratios of an instant, side by side.
    #[inline(always)]
    fn ratios(&self, state: &AirState, hose_drop_pa: f64) -> Ratios {
        let outlet = self.ambient.pressure_pa + self.params.exhaust_back_pressure_pa;
        let expansion = (outlet / state[1]).min(RATIO_MAX);
        let compression = ((state[0] + hose_drop_pa) * self.inverse_ambient).max(1.0);
        let [expansion, compression] = lanes::ln([expansion, compression]);
        let [head, flow, rise, _] = lanes::exp([
            self.exhaust_exponent * expansion,
            self.params.turbine_flow_exponent * expansion,
            self.air_exponent * compression,
            0.0,
        ]);
        Ratios { turbine_head: 1.0 - head, turbine_flow: 1.0 - flow, compressor_rise: rise - 1.0 }
    }

    #[inline(always)]
    fn turbine(&self, state: &AirState, ratios: &Ratios, vanes: Vanes, exhaust_k: f64) -> (f64, f64) {
        let p = &self.params;
        let head = ratios.turbine_head;
        let opened = libm::sqrt(ratios.turbine_flow);
        let flow = vanes.area_m2 * state[1] * opened / libm::sqrt(p.exhaust_r * exhaust_k);
        let blade = self.blade_factor * state[2] / libm::sqrt(exhaust_k * head) - p.blade_speed_best;
        let off = vanes.opening - p.opening_best;
        let fall = if off < 0.0 { p.closed_fall } else { p.open_fall };
        let efficiency =
            (p.turbine_best - p.blade_speed_fall * blade * blade - fall * off * off).max(p.turbine_least);
        (flow, efficiency * flow * p.exhaust_cp * exhaust_k * head)
    }

    #[inline(always)]
    fn compressor(&self, rise: f64, turbo_rad_s: f64) -> (f64, f64) {
        let p = &self.params;
        let speed = turbo_rad_s.max(SLOWEST_RAD_S);
        let head = self.head_factor * rise / (speed * speed);
        let flow = libm::sqrt((1.0 - p.head_weight * head * head).max(0.0) / p.flow_weight);
        let kg_s = self.flow_factor * speed * flow;
        let (off_flow, off_head) = (flow - p.flow_best, head - p.head_best);
        let efficiency =
            (p.compressor_best - p.flow_fall * off_flow * off_flow - p.head_fall * off_head * off_head)
                .max(p.compressor_least);
        (kg_s, kg_s * self.compressor_factor * rise / efficiency)
    }

    #[inline(always)]
    fn egr(&self, state: &AirState, exhaust_k: f64, area_m2: f64) -> f64 {
        if area_m2 <= 0.0 || state[1] <= state[0] {
            return 0.0;
        }
        let ratio = (state[0] / state[1]).max(EGR_CHOKED);
        let off = (1.0 - ratio) / (1.0 - EGR_CHOKED) - 1.0;
        area_m2 * state[1] / libm::sqrt(self.params.exhaust_r * exhaust_k) * (1.0 - off * off)
    }

    #[inline(always)]
    fn leak(&self, state: &AirState, area_m2: f64) -> f64 {
        if area_m2 <= 0.0 {
            return 0.0;
        }
        let air = crate::gas::Gas { gamma: self.params.air_gamma, r: self.params.air_r };
        air.nozzle_flow(area_m2, state[0], self.params.intake_k, self.ambient.pressure_pa)
    }
}
