//! A measured turbo on an engine, for load steps: the engine, the ring and the wheel that `simulate` and
//! `campaign` run with, stepped without actuator and controller.
//!
//! In: a sheet, its nozzle with the stop as it is set, an engine. Out: states along a load step. Refuses
//! parameters that the air path refuses.

use core::f64::consts::PI;

use serde::Serialize;

use super::on_engine::{ring_of, with_wheels_of};
use crate::wheels::{RotorInlet, rotor_inlet, turbine_in_flow};
use crate::{Field, PartsSheet};
use plant::airpath::{
    AirState, EngineParams, NoSteadyState, Operating, ReducedModel, ReducedParams, Vanes, rk4,
};
use plant::atmosphere::Ambient;
use plant::check::BadParameter;
use plant::nozzle::{NozzleModel, RingParams, TurbineWheel, in_series_mm2};

/// Step of the air path, s: fourth order is exact to 1e-6 there.
pub(super) const STEP_S: f64 = 1e-3;

/// A fuel step at constant engine speed with the vanes held.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, schemars::JsonSchema)]
pub struct LoadStep {
    /// What it stands for.
    pub name: &'static str,
    /// Engine speed, rpm.
    pub speed_rpm: f64,
    /// Fuel before, mg per stroke of bench engine A.
    pub fuel_before_mg: f64,
    /// Fuel after.
    pub fuel_after_mg: f64,
    /// Opening that the old calibration holds.
    pub old_opening: f64,
}

impl LoadStep {
    pub(super) fn before(&self) -> Operating {
        Operating::new(self.speed_rpm, self.fuel_before_mg)
    }

    pub(super) fn after(&self) -> Operating {
        Operating::new(self.speed_rpm, self.fuel_after_mg)
    }
}

/// A turbo on the engine: air path, ring, wheel.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct TurboOnEngine {
    model: ReducedModel,
    nozzle: NozzleModel,
    ring: RingParams,
    flow_factor: f64,
    wheel_of_law: Option<TurbineWheel>,
    turbine_mm: f64,
    turbine_tip_mm: f64,
}

/// Bench engine A, made larger or smaller until it suits the turbo of a sheet; its flow law holds that turbo's
/// wheel.
#[must_use]
pub(super) fn engine_that_suits(sheet: &PartsSheet, nozzle: &NozzleModel) -> EngineParams {
    let base = ReducedParams::default();
    let open_mm2 = in_series_mm2(nozzle.effective_area_mm2(1.0), sheet.volute_area_mm2());
    let scale = open_mm2 * 1e-6 / base.nozzle_max_m2;
    let air = ReducedParams {
        displacement_m3: base.displacement_m3 * scale,
        intake_volume_m3: base.intake_volume_m3 * scale,
        exhaust_volume_m3: base.exhaust_volume_m3 * scale,
        // Fuel is given per stroke of bench engine A.
        cylinders: base.cylinders * scale,
        nozzle_min_m2: base.nozzle_min_m2 * scale,
        nozzle_max_m2: base.nozzle_max_m2 * scale,
        ..base
    };
    let default = EngineParams::default();
    let ring_flow_factor = default.flow_factor().ok();
    EngineParams { air, ring_flow_factor, wheel_of_law: Some(turbine_in_flow(sheet)), ..default }
}

impl TurboOnEngine {
    /// Puts the parts of `sheet` with `nozzle` on an engine.
    ///
    /// # Errors
    /// A parameter that the air path refuses, by name.
    pub(super) fn try_new(
        sheet: &PartsSheet,
        nozzle: NozzleModel,
        engine: &EngineParams,
    ) -> Result<Self, BadParameter> {
        Ok(Self {
            model: ReducedModel::try_new(with_wheels_of(sheet, engine.air), Ambient::SEA_LEVEL)?,
            nozzle,
            ring: ring_of(sheet),
            flow_factor: engine.flow_factor()?,
            wheel_of_law: engine.law_wheel(),
            turbine_mm: sheet.value(Field::TurbineInducer),
            turbine_tip_mm: sheet.value(Field::TurbineTipHeight),
        })
    }

    /// Area and efficiency-determining opening at an opening of this nozzle.
    #[must_use]
    pub(super) fn vanes(&self, opening: f64) -> Vanes {
        const M2_PER_MM2: f64 = 1e-6;
        let angle_deg = self.nozzle.angle_deg(opening);
        let counted = |mm2: f64| self.flow_factor * mm2 * M2_PER_MM2;
        let inlet_m2 = counted(self.ring.inlet_area_mm2(&self.nozzle, angle_deg));
        let turbine_mm2 = self.ring.turbine_area_mm2(&self.nozzle, angle_deg, self.wheel_of_law.as_ref());
        Vanes { opening: self.model.params().opening_of_area(inlet_m2), area_m2: counted(turbine_mm2) }
    }

    /// Where the air path rests at an operating point, looked for from `near` where that is known.
    pub(super) fn rest(
        &self,
        vanes: Vanes,
        op: &Operating,
        near: Option<AirState>,
    ) -> Result<AirState, NoSteadyState> {
        match near {
            Some(near) => self.model.steady_from(near, vanes, op),
            None => self.model.steady(vanes, op),
        }
    }

    /// One step of so many seconds of the air path.
    pub(super) fn step(&self, state: &AirState, vanes: Vanes, op: &Operating, step_s: f64) -> AirState {
        rk4(*state, step_s, |_, x| self.model.rates(x, vanes, op))
    }

    /// States every [`STEP_S`] from rest before the step on.
    pub(super) fn trace(
        &self,
        point: &LoadStep,
        opening: f64,
        run_s: f64,
    ) -> Result<Vec<AirState>, NoSteadyState> {
        let (vanes, after) = (self.vanes(opening), point.after());
        let mut trace = vec![self.rest(vanes, &point.before(), None)?];
        for _ in 0..steps(run_s) {
            trace.extend(trace.last().map(|state| self.step(state, vanes, &after, STEP_S)));
        }
        Ok(trace)
    }

    pub(super) fn inertia_kg_m2(&self) -> f64 {
        self.model.params().rotor_inertia_kg_m2
    }

    /// How the gas meets both wheels in a state.
    pub(super) fn wheel_entry(&self, state: &AirState, opening: f64, op: &Operating) -> WheelEntry {
        let params = self.model.params();
        let flows = self.model.flows(state, self.vanes(opening), op);
        let outlet_pa = self.model.ambient().pressure_pa + params.exhaust_back_pressure_pa;
        let tip_m_s = state[2] * self.turbine_mm * 0.5e-3;
        let exponent = (params.exhaust_gamma - 1.0) / params.exhaust_gamma;
        let drop = 1.0 - libm::pow(outlet_pa / state[1], exponent);
        let spouting_m_s = libm::sqrt(2.0 * params.exhaust_cp * flows.exhaust_k * drop);
        let inlet = RotorInlet {
            kg_s: flows.turbine_kg_s,
            total_k: flows.exhaust_k,
            total_pa: state[1],
            diameter_mm: self.turbine_mm,
            height_mm: self.turbine_tip_mm,
            vane_deg: self.nozzle.angle_deg(opening),
            tip_m_s,
        };
        let radius_m = params.compressor_radius_m;
        let ambient = self.model.ambient();
        let density = ambient.pressure_pa / (params.air_r * ambient.temperature_k);
        WheelEntry {
            blade_speed_ratio: tip_m_s / spouting_m_s,
            relative_angle_deg: rotor_inlet(&inlet),
            air_kg_s: flows.compressor_kg_s,
            flow_coefficient: flows.compressor_kg_s
                / (density * PI * radius_m * radius_m * radius_m * state[2]),
            compressor_tip_m_s: state[2] * radius_m,
        }
    }
}

/// How the gas meets the wheels.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, schemars::JsonSchema)]
pub struct WheelEntry {
    /// Turbine tip speed over the speed of a lossless expansion, U/C0.
    pub blade_speed_ratio: f64,
    /// Angle of the gas seen from the turbine wheel, degrees from the radius, above 0 in the wheel's direction;
    /// none where the vanes' angle alone would choke the inlet.
    pub relative_angle_deg: Option<f64>,
    /// Air through the compressor, kg/s.
    pub air_kg_s: f64,
    /// Compressor flow over density, π r³ and speed.
    pub flow_coefficient: f64,
    /// Compressor tip speed, m/s.
    pub compressor_tip_m_s: f64,
}

pub(super) fn steps(span_s: f64) -> u32 {
    libm::round(span_s / STEP_S) as u32
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::matching::PartsOnEngine;
    use plant::airpath::{Effects, Engine};

    /// `match`, `simulate --parts` and `campaign --parts` put the same turbo on an engine: same area, same
    /// efficiency, same state of rest, to what the engine's table of the ring leaves. A match rests on the bare air
    /// path: the effects around it are switched off here.
    #[test]
    fn a_turbo_is_the_same_in_a_match_and_in_a_simulation() {
        let sheet = |text| PartsSheet::parse("t", text).unwrap();
        let old = sheet(include_str!("../../../../rigs/profiles/sheets/ring-a.toml"));
        for text in [
            include_str!("../../../../rigs/profiles/sheets/ring-a.toml"),
            include_str!("../../../../rigs/profiles/sheets/ring-b.toml"),
        ] {
            let new = sheet(text);
            let suits = engine_that_suits(&old, &old.nozzle().unwrap());
            for engine in [suits, EngineParams::default()] {
                let engine = EngineParams { effects: Effects::OFF, ..engine };
                let matched = TurboOnEngine::try_new(&new, new.nozzle().unwrap(), &engine).unwrap();
                let fitted = PartsOnEngine::try_new(&new, &engine).unwrap().engine;
                let simulated = Engine::try_new(fitted, Ambient::SEA_LEVEL).unwrap();
                for opening in [0.0, 0.1, 0.37, 0.8, 1.0] {
                    let (a, b) = (matched.vanes(opening), simulated.model().vanes(opening));
                    assert!((a.area_m2 / b.area_m2 - 1.0).abs() < 1e-4, "{a:?} {b:?}");
                    assert!((a.opening - b.opening).abs() < 1e-4, "{a:?} {b:?}");
                    let op = Operating::new(1600.0, 40.0);
                    let rest = matched.rest(a, &op, None).unwrap();
                    let run = simulated.model().steady(b, &op).unwrap();
                    assert!(
                        rest.iter().zip(run).all(|(x, y)| (x / y - 1.0).abs() < 1e-3),
                        "{rest:?} {run:?}"
                    );
                }
            }
        }
    }
}
