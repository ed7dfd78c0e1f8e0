//! The air path with the old parts and with the new ones, before and after the re-mapping.
//!
//! In: two parts sheets, their match, an over-boost limit. Out: boost response, exhaust pressure, turbo
//! speed and over-boost margin at a few operating points. Refuses parameters that the air path refuses.
//!
//! The engine is the invented bench engine A, scaled so that the old nozzle suits it; wheels and rotor come
//! from the sheets. Equal area is not equal boost; what else enters, and how, is in [`ENTERS`].

use serde::Serialize;

use super::on_engine::with_wheels_of;
use super::opening_map::OpeningMatch;
use crate::PartsSheet;
use plant::airpath::{AirState, NoSteadyState, Operating, ReducedModel, ReducedParams, Vanes, rk4};
use plant::atmosphere::Ambient;
use plant::check::BadParameter;
use plant::nozzle::{NozzleModel, in_series_mm2};

/// What enters the comparison besides the nozzle area, and on what ground.
pub const ENTERS: [(&str, &str); 8] = [
    ("discharge coefficient", "in the effective area, as measured or estimated"),
    ("end-wall leakage", "in the effective area, at every opening"),
    ("exit angle", "estimate: turbine efficiency follows the vane angle as on the old nozzle"),
    ("vaneless gap", "reported as a radius ratio; not in the model"),
    ("volute A/R", "in series with the nozzle; an estimate where A or R was not measured"),
    ("wheel diameters", "blade speeds of both wheels"),
    ("compressor trim", "estimate: flow in proportion to trim, 57.76 being bench engine A's"),
    ("inertia", "as measured, else estimated from diameter, blades and material"),
];

/// Step of the air path, s: fourth order is exact to 1e-6 there.
const STEP_S: f64 = 1e-3;
/// Length of the run after the load step, s.
const RUN_S: f64 = 8.0;
/// When "boost after" is read, s after the load step.
pub(crate) const RESPONSE_S: f64 = 1.0;

/// A turbo on the engine: air path, nozzle, volute.
#[derive(Debug, Clone, PartialEq)]
pub struct TurboOnEngine {
    model: ReducedModel,
    nozzle: NozzleModel,
    volute_mm2: f64,
    /// The nozzle whose vane angles the efficiency was tied to.
    reference: NozzleModel,
    scale: f64,
}

/// How much larger than bench engine A the engine is that suits a sheet's open nozzle.
#[must_use]
pub(crate) fn engine_scale(nozzle: &NozzleModel, sheet: &PartsSheet) -> f64 {
    let open_mm2 = in_series_mm2(nozzle.effective_area_mm2(1.0), sheet.volute_area_mm2());
    open_mm2 * 1e-6 / ReducedParams::default().nozzle_max_m2
}

impl TurboOnEngine {
    /// Puts the parts of `sheet` with `nozzle` on the engine that suits `reference`, `scale` times bench
    /// engine A.
    ///
    /// # Errors
    /// A parameter that the air path refuses, by name.
    pub fn try_new(
        sheet: &PartsSheet,
        nozzle: NozzleModel,
        reference: NozzleModel,
        scale: f64,
    ) -> Result<Self, BadParameter> {
        let base = ReducedParams::default();
        let params = ReducedParams {
            displacement_m3: base.displacement_m3 * scale,
            intake_volume_m3: base.intake_volume_m3 * scale,
            exhaust_volume_m3: base.exhaust_volume_m3 * scale,
            // Fuel is given per stroke of bench engine A.
            cylinders: base.cylinders * scale,
            ..with_wheels_of(sheet, base)
        };
        let model = ReducedModel::try_new(params, Ambient::SEA_LEVEL)?;
        Ok(Self { model, nozzle, volute_mm2: sheet.volute_area_mm2(), reference, scale })
    }

    /// Area and efficiency-determining opening at an opening of this nozzle.
    #[must_use]
    pub fn vanes(&self, opening: f64) -> Vanes {
        let series = |nozzle_mm2: f64| in_series_mm2(nozzle_mm2, self.volute_mm2) * 1e-6;
        let same_angle = series(self.reference.effective_at_angle(self.nozzle.angle_deg(opening)));
        Vanes {
            opening: self.model.params().opening_of_area(same_angle / self.scale),
            area_m2: series(self.nozzle.effective_area_mm2(opening)),
        }
    }

    /// Holds the vanes and steps the fuel; the response from rest at the point before.
    ///
    /// # Errors
    /// No state of rest before the step.
    pub fn load_step(&self, point: &LoadStep, opening: f64) -> Result<Response, NoSteadyState> {
        Ok(Response::of(&self.trace(point, opening, RUN_S)?))
    }

    /// Boost [`RESPONSE_S`] after the step, absolute kPa.
    ///
    /// # Errors
    /// No state of rest before the step.
    pub fn boost_after_kpa(&self, point: &LoadStep, opening: f64) -> Result<f64, NoSteadyState> {
        Ok(Response::of(&self.trace(point, opening, RESPONSE_S)?).boost_kpa)
    }

    fn trace(&self, point: &LoadStep, opening: f64, run_s: f64) -> Result<Vec<AirState>, NoSteadyState> {
        let vanes = self.vanes(opening);
        let before = Operating::new(point.speed_rpm, point.fuel_before_mg);
        let after = Operating::new(point.speed_rpm, point.fuel_after_mg);
        let mut trace = vec![self.model.steady(vanes, &before)?];
        for _ in 0..steps(run_s) {
            trace.extend(trace.last().map(|state| self.step(state, vanes, &after)));
        }
        Ok(trace)
    }

    fn step(&self, state: &AirState, vanes: Vanes, operating: &Operating) -> AirState {
        rk4(*state, STEP_S, |_, x| self.model.rates(x, vanes, operating))
    }
}

fn steps(span_s: f64) -> u32 {
    libm::round(span_s / STEP_S) as u32
}

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

/// The points that the comparison runs.
pub(crate) const LOAD_STEPS: [LoadStep; 4] = [
    LoadStep {
        name: "pull-away",
        speed_rpm: 1200.0,
        fuel_before_mg: 8.0,
        fuel_after_mg: 28.0,
        old_opening: 0.20,
    },
    LoadStep {
        name: "tip-in",
        speed_rpm: 1600.0,
        fuel_before_mg: 10.0,
        fuel_after_mg: 40.0,
        old_opening: 0.28,
    },
    LoadStep {
        name: "full load",
        speed_rpm: 2800.0,
        fuel_before_mg: 20.0,
        fuel_after_mg: 40.0,
        old_opening: 0.62,
    },
    LoadStep {
        name: "exhaust brake",
        speed_rpm: 2800.0,
        fuel_before_mg: 10.0,
        fuel_after_mg: 0.0,
        old_opening: 0.0,
    },
];

/// What a load step gave.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Response {
    /// Boost at the end, absolute kPa.
    pub boost_kpa: f64,
    /// Highest boost, absolute kPa.
    pub boost_peak_kpa: f64,
    /// Boost [`RESPONSE_S`] after the step, absolute kPa.
    pub boost_after_kpa: f64,
    /// Time to 90 % of the change of boost, s; none where boost hardly changes.
    pub rise_s: Option<f64>,
    /// Exhaust pressure at the end, absolute kPa.
    pub exhaust_kpa: f64,
    /// Highest exhaust pressure, absolute kPa.
    pub exhaust_peak_kpa: f64,
    /// Highest turbo speed, rpm.
    pub turbo_rpm: f64,
    /// Boost every 0.1 s from the step on, absolute kPa.
    pub boost_trace_kpa: Vec<f64>,
}

impl Response {
    fn of(trace: &[AirState]) -> Self {
        const PA_PER_KPA: f64 = 1e3;
        const TRACE_EVERY: usize = 100;
        let at = |index: usize| trace.get(index).or(trace.last()).copied().unwrap_or([0.0; 3]);
        let highest = |which: usize| trace.iter().map(|state| state[which]).fold(0.0, f64::max);
        let end = at(trace.len());
        Self {
            boost_kpa: end[0] / PA_PER_KPA,
            boost_peak_kpa: highest(0) / PA_PER_KPA,
            boost_after_kpa: at(steps(RESPONSE_S) as usize)[0] / PA_PER_KPA,
            rise_s: rise_time_s(trace),
            exhaust_kpa: end[1] / PA_PER_KPA,
            exhaust_peak_kpa: highest(1) / PA_PER_KPA,
            turbo_rpm: highest(2) * 30.0 / core::f64::consts::PI,
            boost_trace_kpa: trace.iter().step_by(TRACE_EVERY).map(|state| state[0] / PA_PER_KPA).collect(),
        }
    }
}

/// First time at which boost has done 90 % of its change.
fn rise_time_s(trace: &[AirState]) -> Option<f64> {
    const SHARE: f64 = 0.9;
    const LEAST_CHANGE_PA: f64 = 1e3;
    let (from, to) = (trace.first()?[0], trace.last()?[0]);
    if (to - from).abs() < LEAST_CHANGE_PA {
        return None;
    }
    let index = trace.iter().position(|state| (state[0] - from) / (to - from) >= SHARE)?;
    Some(index as f64 * STEP_S)
}

/// One operating point, three ways.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct AirComparison {
    /// The point.
    pub point: LoadStep,
    /// Opening of the new nozzle after re-mapping.
    pub new_opening: f64,
    /// Old turbo, old calibration.
    pub old: Response,
    /// New turbo, old calibration as it is.
    pub new_before: Response,
    /// New turbo, calibration re-mapped.
    pub new_after: Response,
    /// Limit less highest boost, kPa: old, new before, new after.
    pub boost_margin_kpa: [f64; 3],
}

/// Why the air path could not be run.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum AirError {
    /// The sheets ask for parameters that the air path refuses.
    #[error(transparent)]
    Parameter(#[from] BadParameter),
    /// An operating point without a state of rest.
    #[error(transparent)]
    NoRest(#[from] NoSteadyState),
}

/// Runs all [`LOAD_STEPS`].
///
/// # Errors
/// A parameter that the air path refuses, or a point without a state of rest.
pub fn compare(
    old: &PartsSheet,
    new: &PartsSheet,
    found: &OpeningMatch,
    boost_limit_kpa: f64,
) -> Result<Vec<AirComparison>, AirError> {
    let scale = engine_scale(&found.old, old);
    let with_old = TurboOnEngine::try_new(old, found.old, found.old, scale)?;
    let with_new = TurboOnEngine::try_new(new, found.new, found.old, scale)?;
    // Before anything is done about it, the new stop still stands as found.
    let as_found = NozzleModel { lever_start: 0.0, ..found.new };
    let untouched = TurboOnEngine::try_new(new, as_found, found.old, scale)?;
    let run = |point: &LoadStep| {
        let new_opening = found.opening(point.old_opening);
        let old = with_old.load_step(point, point.old_opening)?;
        let new_before = untouched.load_step(point, point.old_opening)?;
        let new_after = with_new.load_step(point, new_opening)?;
        let margin = |response: &Response| boost_limit_kpa - response.boost_peak_kpa;
        let boost_margin_kpa = [margin(&old), margin(&new_before), margin(&new_after)];
        Ok(AirComparison { point: *point, new_opening, old, new_before, new_after, boost_margin_kpa })
    };
    LOAD_STEPS.iter().map(run).collect()
}
