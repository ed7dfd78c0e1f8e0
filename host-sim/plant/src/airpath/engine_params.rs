//! What the engine around the air path is made of.
//!
//! In: fields of a scenario's `[world.engine]`. Out: the same, checked, and what a measured ring becomes in it.
//! Refuses, by field, what is out of range and a ring whose areas nobody has said the worth of.

use serde::{Deserialize, Serialize};

use super::effects::Effects;
use super::measured_ring::MeasuredRing;
use super::reduced_params::ReducedParams;
use crate::check::{BadParameter, MISSING, above_zero, not_negative};
use crate::nozzle::{INVENTED_WHEEL, RingParams, TurbineWheel};

/// What an area of a measured ring counts for in the built-in air path, whose flow law was made with such areas.
const INVENTED_FLOW_FACTOR: f64 = 1.0;
/// What to give for an air path of the user's own.
const FLOW_FACTOR_ALLOWED: &str = "a number above 0. The engine's `air` is not the built-in one, so state \
    by what factor its flow law counts a measured ring's area. 0.67: choked throats pass what NACA 1135 \
    gives for their area (γ 1.33). 1: the engine's own nozzle areas were measured the same way as the \
    ring's. Too large a factor shows too little boost and hides over-boost";

/// What the engine does when the controller asks it for less fuel.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub enum FuelResponse {
    /// At once.
    #[default]
    Obeys,
    /// After so many seconds.
    Late(f64),
    /// Not at all.
    Refuses,
}

/// The engine around the air path. Defaults: invented bench engine A.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct EngineParams {
    /// Air path.
    pub air: ReducedParams,
    /// A measured nozzle in place of the air path's nozzle law.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ring: Option<RingParams>,
    /// How many m² of the air path's flow law a m² of a measured ring's effective area counts for. About 0.67:
    /// choked, the turbine passes what an isentropic throat of that area does (NACA 1135, γ 1.33). 1: the law was
    /// made with such areas. Too large hides over-boost, so none counts as 1 for the built-in air path alone, and
    /// is refused for a ring in front of any other.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ring_flow_factor: Option<f64>,
    /// The turbine wheel that the air path's flow law was made with; none: that of the built-in air path, and for
    /// any other a law of the nozzle alone.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub wheel_of_law: Option<TurbineWheel>,
    /// Fuel at full load, mg per stroke; load is a fraction of it.
    pub full_load_mg: f64,
    /// Least air-to-fuel ratio that the smoke limiter allows; 0 switches it off.
    pub smoke_limit_afr: f64,
    /// Answer to a fuel request.
    pub fuel_response: FuelResponse,
    /// Time constant of the boost hose's flow, s: how fast a blockage's pressure loss follows the flow.
    pub hose_time_s: f64,
    /// What the bare air path leaves out.
    pub effects: Effects,
}

impl Default for EngineParams {
    fn default() -> Self {
        Self {
            air: ReducedParams::default(),
            ring: None,
            ring_flow_factor: None,
            wheel_of_law: None,
            full_load_mg: 40.0,
            smoke_limit_afr: 17.5,
            fuel_response: FuelResponse::Obeys,
            hose_time_s: 0.02,
            effects: Effects::default(),
        }
    }
}

const MG_PER_KG: f64 = 1e6;

impl EngineParams {
    /// Checks every field.
    ///
    /// # Errors
    /// Names the first field that is out of range.
    pub fn validate(&self) -> Result<(), BadParameter> {
        self.validate_but_ring()?;
        self.measured_ring().map(|_| ())
    }

    /// Fuel per stroke that the smoke limit allows for the air of one revolution in a minute; infinite: no limit.
    pub(super) fn smoke_mg_per_kg_s(&self) -> f64 {
        if self.smoke_limit_afr > 0.0 {
            MG_PER_KG / (self.strokes_per_s_at_one_rpm() * self.smoke_limit_afr)
        } else {
            f64::INFINITY
        }
    }

    /// Mass in a stroke, mg, of a flow of 1 kg/s at one revolution in a minute.
    pub(super) fn mg_per_kg_s(&self) -> f64 {
        MG_PER_KG / self.strokes_per_s_at_one_rpm()
    }

    fn strokes_per_s_at_one_rpm(&self) -> f64 {
        self.air.cylinders / 120.0
    }

    /// Makes every nozzle area larger by a factor: the law's and the measured ring's.
    pub fn scale_nozzle(&mut self, factor: f64) {
        // Settled first: the air path that it may go by is about to change.
        self.ring_flow_factor = self.flow_factor().ok().map(|own| own * factor);
        self.wheel_of_law = self.law_wheel();
        self.air.nozzle_min_m2 *= factor;
        self.air.nozzle_max_m2 *= factor;
    }

    /// What an area of a measured ring counts for in the flow law of this air path.
    ///
    /// # Errors
    /// When it is not given and the air path is not the built-in one.
    pub fn flow_factor(&self) -> Result<f64, BadParameter> {
        match self.ring_flow_factor {
            Some(given) => Ok(given),
            None if self.air == ReducedParams::default() => Ok(INVENTED_FLOW_FACTOR),
            None => Err(BadParameter::new("ring_flow_factor", MISSING, FLOW_FACTOR_ALLOWED)),
        }
    }

    /// The wheel that the flow law of this air path was made with.
    #[must_use]
    pub fn law_wheel(&self) -> Option<TurbineWheel> {
        let built_in = self.air == ReducedParams::default();
        self.wheel_of_law.or_else(|| built_in.then_some(INVENTED_WHEEL))
    }

    /// The ring's table, where the engine has a ring.
    pub(super) fn measured_ring(&self) -> Result<Option<MeasuredRing>, BadParameter> {
        let Some(ring) = &self.ring else { return Ok(None) };
        MeasuredRing::try_new(ring, self.flow_factor()?, self.law_wheel().as_ref(), &self.air)
            .map(Some)
            .map_err(|e| e.within("ring"))
    }

    /// Checks every field but the ring, which is checked where its table is made.
    pub(super) fn validate_but_ring(&self) -> Result<(), BadParameter> {
        self.air.validate().map_err(|e| e.within("air"))?;
        above_zero("full_load_mg", self.full_load_mg)?;
        not_negative("smoke_limit_afr", self.smoke_limit_afr)?;
        above_zero("hose_time_s", self.hose_time_s)?;
        self.effects.validate().map_err(|e| e.within("effects"))?;
        self.wheel_of_law.map_or(Ok(()), |wheel| wheel.validate().map_err(|e| e.within("wheel_of_law")))?;
        self.ring_flow_factor.map_or(Ok(()), |given| above_zero("ring_flow_factor", given))?;
        match self.fuel_response {
            FuelResponse::Late(delay_s) => not_negative("fuel_response.late", delay_s),
            FuelResponse::Obeys | FuelResponse::Refuses => Ok(()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn own_air() -> ReducedParams {
        ReducedParams { nozzle_max_m2: 7e-4, ..ReducedParams::default() }
    }

    fn with_ring(air: ReducedParams, ring_flow_factor: Option<f64>) -> EngineParams {
        EngineParams { air, ring: Some(RingParams::invented()), ring_flow_factor, ..EngineParams::default() }
    }

    #[test]
    fn a_ring_on_the_built_in_air_path_counts_as_it_is() {
        let [unsaid, said] = [None, Some(1.0)].map(|factor| with_ring(ReducedParams::default(), factor));
        assert_eq!(unsaid.measured_ring().unwrap(), said.measured_ring().unwrap());
    }

    #[test]
    fn a_ring_on_an_air_path_of_the_users_own_is_refused_until_its_factor_is_given() {
        let refused = with_ring(own_air(), None).validate().unwrap_err();
        assert_eq!((refused.field.as_str(), refused.value.as_str()), ("ring_flow_factor", "missing"));
        for said in ["0.67", "1: the engine", "too little boost"] {
            assert!(refused.allowed.contains(said), "{refused}");
        }
        assert_eq!(with_ring(own_air(), Some(0.67)).validate(), Ok(()));
        let without = EngineParams { air: own_air(), ..EngineParams::default() };
        assert_eq!(without.validate(), Ok(()));
    }

    #[test]
    fn a_factor_that_is_none_is_refused_with_and_without_a_ring() {
        for wrong in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            let without = EngineParams { ring_flow_factor: Some(wrong), ..EngineParams::default() };
            for engine in [without, with_ring(own_air(), Some(wrong))] {
                assert_eq!(engine.validate().unwrap_err().field, "ring_flow_factor");
            }
        }
    }

    #[test]
    fn nozzles_that_differ_as_made_keep_the_choice_that_the_scenario_made() {
        let mut unsaid = with_ring(ReducedParams::default(), None);
        unsaid.scale_nozzle(1.02);
        assert_eq!(unsaid.flow_factor(), Ok(1.02));
        let mut said = with_ring(own_air(), Some(0.5));
        said.scale_nozzle(1.02);
        assert_eq!(said.flow_factor(), Ok(0.51));
        let mut refused = with_ring(own_air(), None);
        refused.scale_nozzle(1.02);
        assert!(refused.validate().is_err());
    }
}
