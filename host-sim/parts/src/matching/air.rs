//! The air path with the old parts and with the new ones, before and after the re-mapping.
//!
//! In: two parts sheets, their match, an over-boost limit. Out: boost response, exhaust pressure, turbo
//! speed and over-boost margin at a few operating points. Refuses parameters that the air path refuses.
//!
//! The engine is the invented bench engine A, scaled so that the old nozzle suits it; wheels and rotor come
//! from the sheets. Equal area is not equal boost; what else enters, and how, is in [`ENTERS`].

use serde::Serialize;

use super::opening_map::OpeningMatch;
use super::same_boost::{SameBoost, same_boost};
use super::turbo::{LoadStep, TurboOnEngine, WheelEntry, engine_that_suits, steps};
use crate::PartsSheet;
use plant::airpath::{AirState, NoSteadyState};
use plant::check::BadParameter;
use plant::nozzle::NozzleModel;

/// What enters the comparison besides the nozzle area, and on what ground.
pub const ENTERS: [(&str, &str); 9] = [
    ("discharge coefficient", "in the effective area, as measured or estimated"),
    ("end-wall leakage", "in the effective area, at every opening"),
    ("exit angle", "estimate: the turbine is as efficient as the engine's own at equal inlet area"),
    ("vaneless gap", "reported as a radius ratio; not in the model"),
    ("volute A/R", "in series with the nozzle; an estimate where A or R was not measured"),
    ("turbine wheel", "its throat in series with the nozzle, isentropic, no incidence"),
    ("wheel diameters", "blade speeds of both wheels"),
    ("compressor trim", "estimate: flow in proportion to trim, 57.76 being bench engine A's"),
    ("inertia", "as measured, else estimated from diameter, blades and material"),
];

/// Length of the run after the load step, s.
const RUN_S: f64 = 8.0;
/// When "boost after" is read, s after the load step.
pub(crate) const RESPONSE_S: f64 = 1.0;

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
    #[serde(rename = "boost_kpa_absolute")]
    pub boost_kpa: f64,
    /// Highest boost, absolute kPa.
    #[serde(rename = "boost_peak_kpa_absolute")]
    pub boost_peak_kpa: f64,
    /// Boost [`RESPONSE_S`] after the step, absolute kPa.
    #[serde(rename = "boost_after_kpa_absolute")]
    pub boost_after_kpa: f64,
    /// Exhaust pressure at the end, absolute kPa.
    #[serde(rename = "exhaust_kpa_absolute")]
    pub exhaust_kpa: f64,
    /// Highest exhaust pressure, absolute kPa.
    #[serde(rename = "exhaust_peak_kpa_absolute")]
    pub exhaust_peak_kpa: f64,
    /// Highest turbo speed, rpm.
    pub turbo_rpm: f64,
    /// How the gas meets the wheels at the end.
    pub wheels: WheelEntry,
    /// Boost every 0.1 s from the step on, absolute kPa.
    #[serde(rename = "boost_trace_kpa_absolute")]
    pub boost_trace_kpa: Vec<f64>,
}

impl Response {
    fn of(trace: &[AirState], wheels: WheelEntry) -> Self {
        const PA_PER_KPA: f64 = 1e3;
        const TRACE_EVERY: usize = 100;
        let at = |index: usize| trace.get(index).or(trace.last()).copied().unwrap_or([0.0; 3]);
        let highest = |which: usize| trace.iter().map(|state| state[which]).fold(0.0, f64::max);
        let end = at(trace.len());
        Self {
            boost_kpa: end[0] / PA_PER_KPA,
            boost_peak_kpa: highest(0) / PA_PER_KPA,
            boost_after_kpa: at(steps(RESPONSE_S) as usize)[0] / PA_PER_KPA,
            exhaust_kpa: end[1] / PA_PER_KPA,
            exhaust_peak_kpa: highest(1) / PA_PER_KPA,
            turbo_rpm: highest(2) * 30.0 / core::f64::consts::PI,
            wheels,
            boost_trace_kpa: trace.iter().step_by(TRACE_EVERY).map(|state| state[0] / PA_PER_KPA).collect(),
        }
    }
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
    /// The three at one boost; none where boost does not rise.
    pub same_boost: Option<SameBoost>,
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

impl TurboOnEngine {
    /// Boost [`RESPONSE_S`] after the step, absolute kPa.
    pub(super) fn boost_after_kpa(&self, point: &LoadStep, opening: f64) -> Result<f64, NoSteadyState> {
        let trace = self.trace(point, opening, RESPONSE_S)?;
        Ok(trace.last().map_or(f64::NAN, |state| state[0] / 1e3))
    }

    fn run(&self, point: &LoadStep, opening: f64) -> Result<(Vec<AirState>, Response), NoSteadyState> {
        let trace = self.trace(point, opening, RUN_S)?;
        let end = trace.last().copied().unwrap_or([f64::NAN; 3]);
        let response = Response::of(&trace, self.wheel_entry(&end, opening, &point.after()));
        Ok((trace, response))
    }
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
    let engine = engine_that_suits(old, &found.old);
    let with_old = TurboOnEngine::try_new(old, found.old, &engine)?;
    let with_new = TurboOnEngine::try_new(new, found.new, &engine)?;
    // Before anything is done about it, the new stop still stands as found.
    let as_found = NozzleModel { lever_start: 0.0, ..found.new };
    let untouched = TurboOnEngine::try_new(new, as_found, &engine)?;
    let run = |point: &LoadStep| {
        let new_opening = found.opening(point.old_opening);
        let (old_trace, old) = with_old.run(point, point.old_opening)?;
        let (before_trace, new_before) = untouched.run(point, point.old_opening)?;
        let (after_trace, new_after) = with_new.run(point, new_opening)?;
        let margin = |response: &Response| boost_limit_kpa - response.boost_peak_kpa;
        Ok(AirComparison {
            point: *point,
            new_opening,
            same_boost: same_boost([
                (&old_trace, with_old.inertia_kg_m2()),
                (&before_trace, untouched.inertia_kg_m2()),
                (&after_trace, with_new.inertia_kg_m2()),
            ]),
            boost_margin_kpa: [margin(&old), margin(&new_before), margin(&new_after)],
            old,
            new_before,
            new_after,
        })
    };
    LOAD_STEPS.iter().map(run).collect()
}
