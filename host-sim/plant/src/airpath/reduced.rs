//! Reduced mean-value air path: intake and exhaust pressure and turbo speed.
//!
//! In: pressures, turbo speed, vane opening, engine speed, fuel, surroundings. Out: all flows and the
//! three time derivatives. Structure after Wahlström and Eriksson, "Modelling diesel engines with a
//! variable-geometry turbocharger and exhaust gas recirculation by optimization of model parameters for
//! capturing non-linear system dynamics", Proc. IMechE Part D 225(7), 2011, 960–986, without its oxygen
//! states; the parameter values are those of an invented 2.2-litre engine. Surge is outside the model:
//! beyond the zero-flow line the compressor simply delivers nothing.

use super::equations::Equations;
use super::measured_ring::MeasuredRing;
use super::reduced_params::ReducedParams;
use super::state::{AirState, Flows, Operating, Vanes};
use crate::atmosphere::Ambient;
use crate::check::{BadParameter, above_zero};

/// The reduced air path with everything that does not change worked out once.
#[derive(Debug, Clone, PartialEq)]
pub struct ReducedModel {
    params: ReducedParams,
    ambient: Ambient,
    equations: Equations,
    ring: Option<MeasuredRing>,
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
        Ok(Self { equations: Equations::new(&params, &ambient), params, ambient, ring: None })
    }

    /// The same air path with a measured ring in place of the nozzle law; none puts the law back.
    #[must_use]
    pub fn with_ring(self, ring: Option<MeasuredRing>) -> Self {
        Self { ring, ..self }
    }

    /// The measured ring, where there is one.
    #[must_use]
    pub fn ring(&self) -> Option<&MeasuredRing> {
        self.ring.as_ref()
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

    pub(super) fn equations(&self) -> &Equations {
        &self.equations
    }

    /// Nozzle area at an opening (held to 0 … 1): the measured ring's, else by the nozzle law.
    #[inline]
    #[must_use]
    pub fn vanes(&self, opening: f64) -> Vanes {
        match &self.ring {
            None => self.equations.vanes(opening),
            Some(ring) => ring.vanes(opening),
        }
    }

    /// Air into the cylinders at these pressures, kg/s.
    #[inline]
    #[must_use]
    pub fn engine_flow(&self, state: &AirState, speed_rpm: f64) -> f64 {
        self.equations.engine_flow(state, speed_rpm)
    }

    /// Every flow and power at an instant.
    #[inline]
    #[must_use]
    pub fn flows(&self, state: &AirState, vanes: Vanes, op: &Operating) -> Flows {
        self.equations.flows(state, vanes, op, self.leak(state, op))
    }

    /// Time derivatives of the three states.
    #[inline]
    #[must_use]
    pub fn rates(&self, state: &AirState, vanes: Vanes, op: &Operating) -> AirState {
        self.equations.rates(state, vanes, op, self.leak(state, op))
    }

    /// Air lost through a hole in the boost hose, kg/s.
    #[inline]
    fn leak(&self, state: &AirState, op: &Operating) -> f64 {
        if op.leak_area_m2 <= 0.0 {
            return 0.0;
        }
        let air = crate::gas::Gas { gamma: self.params.air_gamma, r: self.params.air_r };
        let intake_k = self.params.intake_k * op.heat.intake_ratio;
        air.nozzle_flow(op.leak_area_m2, state[0], intake_k, self.ambient.pressure_pa)
    }
}
