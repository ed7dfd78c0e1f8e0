//! The reduced air path's equations, without a branch: alone and in lanes, the same function, the same bits.
//!
//! In: everything that does not change, worked out once, and the state. Out: flows and rates; see
//! [`super::ReducedModel`] for their source.

use super::reduced_params::ReducedParams;
use super::state::{AirState, Flows, Operating, Vanes};
use crate::atmosphere::Ambient;
use crate::lanes::{self, held, laned, larger, smaller};

/// Largest expansion ratio taken, so that the turbine's head never reaches 0 (as in the source).
const RATIO_MAX: f64 = 0.9999;
/// Pressure ratio below which recirculation is choked (Wahlström and Eriksson 2011, Π_egropt rounded).
const EGR_CHOKED: f64 = 0.65;
/// Below this turbo speed the model is not valid; it only keeps the arithmetic finite, rad/s.
const SLOWEST_RAD_S: f64 = 50.0;
/// Volumetric efficiency is held between these.
const VOLUMETRIC: (f64, f64) = (0.3, 1.0);

laned! {
    /// What the equations need of the parameters.
    struct Equations across EquationsLanes {
        air_exponent,
        exhaust_exponent,
        turbine_flow_exponent,
        nozzle_exponent,
        nozzle_min_m2,
        nozzle_span_m2,
        per_ambient_pa,
        outlet_pa,
        /// 2 cp T / r², for the head coefficient.
        head_factor,
        /// Density times π r³.
        flow_factor,
        /// Displacement over two revolutions per gas at intake temperature.
        engine_factor,
        /// kg of fuel per s for each mg and rpm.
        fuel_factor,
        /// Warming of the exhaust by its share of the fuel's heat, K.
        heat_factor,
        /// cp T of the air outside.
        compressor_factor,
        intake_rate,
        exhaust_rate,
        blade_factor,
        intake_k,
        exhaust_max_k,
        per_exhaust_r,
        exhaust_cp,
        volumetric_base,
        volumetric_slope,
        turbine_best,
        turbine_least,
        blade_speed_best,
        blade_speed_rise,
        blade_speed_fall,
        opening_best,
        closed_fall,
        open_fall,
        head_weight,
        per_flow_weight,
        flow_best,
        flow_fall,
        head_best,
        head_fall,
        compressor_best,
        compressor_least,
        per_inertia,
    }
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

/// 1 over each state, with one division; the turbo's speed held from below.
struct Inverses {
    intake_pa: f64,
    exhaust_pa: f64,
    turbo_rad_s: f64,
}

impl Inverses {
    #[inline(always)]
    fn of(state: &AirState) -> Self {
        let speed = larger(state[2], SLOWEST_RAD_S);
        let [intake_pa, exhaust_pa, turbo_rad_s] = lanes::inverses([state[0], state[1], speed]);
        Self { intake_pa, exhaust_pa, turbo_rad_s }
    }
}

/// The exhaust before the turbine.
struct Exhaust {
    /// Its temperature fall over an ideal turbine, K.
    head_k: f64,
    per_head: f64,
    /// Density over pressure, kg/(m³ Pa).
    density_per_pa: f64,
}

impl Equations {
    pub(super) fn new(p: &ReducedParams, ambient: &Ambient) -> Self {
        let radius = p.compressor_radius_m;
        let density = ambient.pressure_pa / (p.air_r * ambient.temperature_k);
        Self {
            air_exponent: 1.0 - 1.0 / p.air_gamma,
            exhaust_exponent: 1.0 - 1.0 / p.exhaust_gamma,
            turbine_flow_exponent: p.turbine_flow_exponent,
            nozzle_exponent: p.nozzle_exponent,
            nozzle_min_m2: p.nozzle_min_m2,
            nozzle_span_m2: p.nozzle_max_m2 - p.nozzle_min_m2,
            per_ambient_pa: 1.0 / ambient.pressure_pa,
            outlet_pa: ambient.pressure_pa + p.exhaust_back_pressure_pa,
            head_factor: 2.0 * p.air_cp * ambient.temperature_k / (radius * radius),
            flow_factor: density * core::f64::consts::PI * radius * radius * radius,
            engine_factor: p.displacement_m3 / (120.0 * p.air_r * p.intake_k),
            fuel_factor: 1e-6 * p.cylinders / 120.0,
            heat_factor: p.exhaust_heat_share * p.heating_value / p.exhaust_cp,
            compressor_factor: p.air_cp * ambient.temperature_k,
            intake_rate: p.air_r * p.intake_k / p.intake_volume_m3,
            exhaust_rate: p.exhaust_r / p.exhaust_volume_m3,
            blade_factor: p.turbine_radius_m / libm::sqrt(2.0 * p.exhaust_cp),
            intake_k: p.intake_k,
            exhaust_max_k: p.exhaust_max_k,
            per_exhaust_r: 1.0 / p.exhaust_r,
            exhaust_cp: p.exhaust_cp,
            volumetric_base: p.volumetric_base,
            volumetric_slope: p.volumetric_slope,
            turbine_best: p.turbine_best,
            turbine_least: p.turbine_least,
            blade_speed_best: p.blade_speed_best,
            blade_speed_rise: p.blade_speed_rise,
            blade_speed_fall: p.blade_speed_fall,
            opening_best: p.opening_best,
            closed_fall: p.closed_fall,
            open_fall: p.open_fall,
            head_weight: p.head_weight,
            per_flow_weight: 1.0 / p.flow_weight,
            flow_best: p.flow_best,
            flow_fall: p.flow_fall,
            head_best: p.head_best,
            head_fall: p.head_fall,
            compressor_best: p.compressor_best,
            compressor_least: p.compressor_least,
            per_inertia: 1.0 / p.rotor_inertia_kg_m2,
        }
    }

    #[inline(always)]
    pub(super) fn vanes(&self, opening: f64) -> Vanes {
        let clipped = held(opening, 0.0, 1.0);
        let [log] = lanes::ln([larger(clipped, f64::MIN_POSITIVE)]);
        let [power] = lanes::exp([larger(self.nozzle_exponent * log, -700.0)]);
        let share = if clipped == 0.0 { 0.0 } else { power };
        Vanes { opening, area_m2: self.nozzle_min_m2 + self.nozzle_span_m2 * share }
    }

    #[inline(always)]
    pub(super) fn engine_flow(&self, state: &AirState, speed_rpm: f64) -> f64 {
        self.engine_flow_against(state[1] / state[0], state, speed_rpm)
    }

    /// `back` is exhaust over intake pressure.
    #[inline(always)]
    fn engine_flow_against(&self, back: f64, state: &AirState, speed_rpm: f64) -> f64 {
        let (least, most) = VOLUMETRIC;
        let efficiency = held(self.volumetric_base + self.volumetric_slope * (back - 1.0), least, most);
        efficiency * state[0] * speed_rpm * self.engine_factor
    }

    #[inline(always)]
    pub(super) fn flows(&self, state: &AirState, vanes: Vanes, op: &Operating, leak_kg_s: f64) -> Flows {
        self.flows_with(&Inverses::of(state), state, vanes, op, leak_kg_s)
    }

    #[inline(always)]
    pub(super) fn rates(&self, state: &AirState, vanes: Vanes, op: &Operating, leak_kg_s: f64) -> AirState {
        let per = Inverses::of(state);
        let f = self.flows_with(&per, state, vanes, op, leak_kg_s);
        [
            self.intake_rate
                * op.heat.intake_ratio
                * (f.compressor_kg_s + f.egr_kg_s - f.engine_kg_s - f.leak_kg_s),
            self.exhaust_rate * f.exhaust_k * (f.engine_kg_s + f.fuel_kg_s - f.turbine_kg_s - f.egr_kg_s),
            (f.turbine_w - f.compressor_w) * self.per_inertia * per.turbo_rad_s,
        ]
    }

    #[inline(always)]
    fn flows_with(
        &self,
        per: &Inverses,
        state: &AirState,
        vanes: Vanes,
        op: &Operating,
        leak_kg_s: f64,
    ) -> Flows {
        let engine_kg_s =
            self.engine_flow_against(state[1] * per.intake_pa, state, op.speed_rpm) * op.heat.density_ratio;
        let fuel_kg_s = op.fuel_mg * op.speed_rpm * self.fuel_factor;
        let warming = self.heat_factor * fuel_kg_s / (engine_kg_s + fuel_kg_s);
        let cylinders_k = smaller(self.intake_k * op.heat.intake_ratio + warming, self.exhaust_max_k);
        let exhaust_k = cylinders_k - op.heat.given_off * (cylinders_k - op.heat.wall_k);
        let ratios = self.ratios(self.outlet_pa * per.exhaust_pa, state[0] + op.hose_drop_pa);
        let head_k = exhaust_k * ratios.turbine_head;
        let per_head = 1.0 / head_k;
        // 1/(R T) of the exhaust: its density per pressure.
        let density_per_pa = ratios.turbine_head * per_head * self.per_exhaust_r;
        let gas = Exhaust { head_k, per_head, density_per_pa };
        let (turbine_kg_s, turbine_w) = self.turbine(state, &gas, ratios.turbine_flow, vanes);
        let (compressor_kg_s, compressor_w) =
            self.compressor(ratios.compressor_rise, state[2], per.turbo_rad_s);
        let into_intake = state[0] * per.exhaust_pa;
        Flows {
            compressor_kg_s,
            engine_kg_s,
            fuel_kg_s,
            turbine_kg_s,
            egr_kg_s: self.egr(into_intake, state[1], density_per_pa, op.egr_area_m2),
            leak_kg_s,
            exhaust_k,
            cylinders_k,
            turbine_w,
            compressor_w,
        }
    }

    /// All powers of pressure ratios of an instant, side by side: of the turbine's, and of the pressure
    /// behind the compressor over the ambient one.
    #[inline(always)]
    fn ratios(&self, expansion: f64, compressed_pa: f64) -> Ratios {
        let expansion = smaller(expansion, RATIO_MAX);
        let compression = larger(compressed_pa * self.per_ambient_pa, 1.0);
        let [expansion, compression] = lanes::ln([expansion, compression]);
        let [head, flow, rise] = lanes::exp([
            self.exhaust_exponent * expansion,
            self.turbine_flow_exponent * expansion,
            self.air_exponent * compression,
        ]);
        Ratios { turbine_head: 1.0 - head, turbine_flow: 1.0 - flow, compressor_rise: rise - 1.0 }
    }

    #[inline(always)]
    fn turbine(&self, state: &AirState, gas: &Exhaust, flow_share: f64, vanes: Vanes) -> (f64, f64) {
        let flow = vanes.area_m2 * state[1] * (flow_share * gas.density_per_pa).sqrt();
        let off = vanes.opening - self.opening_best;
        let best = self.blade_speed_best + self.blade_speed_rise * off;
        let blade = self.blade_factor * state[2] * gas.per_head.sqrt() - best;
        let fall = if off < 0.0 { self.closed_fall } else { self.open_fall };
        let lost = self.blade_speed_fall * blade * blade + fall * off * off;
        let efficiency = larger(self.turbine_best - lost, self.turbine_least);
        (flow, efficiency * flow * self.exhaust_cp * gas.head_k)
    }

    #[inline(always)]
    fn compressor(&self, rise: f64, turbo_rad_s: f64, per_speed: f64) -> (f64, f64) {
        let head = self.head_factor * rise * per_speed * per_speed;
        let flow = (larger(1.0 - self.head_weight * head * head, 0.0) * self.per_flow_weight).sqrt();
        let kg_s = self.flow_factor * larger(turbo_rad_s, SLOWEST_RAD_S) * flow;
        let (off_flow, off_head) = (flow - self.flow_best, head - self.head_best);
        let lost = self.flow_fall * off_flow * off_flow + self.head_fall * off_head * off_head;
        let efficiency = larger(self.compressor_best - lost, self.compressor_least);
        (kg_s, kg_s * self.compressor_factor * rise / efficiency)
    }

    /// Recirculated exhaust; none against the pressure. `ratio` is intake over exhaust pressure.
    #[inline(always)]
    fn egr(&self, ratio: f64, exhaust_pa: f64, density_per_pa: f64, area_m2: f64) -> f64 {
        let off = (1.0 - held(ratio, EGR_CHOKED, 1.0)) * (1.0 / (1.0 - EGR_CHOKED)) - 1.0;
        larger(area_m2, 0.0) * exhaust_pa * density_per_pa.sqrt() * (1.0 - off * off)
    }
}
