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
    /// Opening that turbine efficiency goes by, 0 closed … 1 open: that of the engine's own nozzle.
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
        self.equations.flows(state, vanes, op, self.leak(state, op.leak_area_m2))
    }

    /// Time derivatives of the three states.
    #[inline]
    #[must_use]
    pub fn rates(&self, state: &AirState, vanes: Vanes, op: &Operating) -> AirState {
        self.equations.rates(state, vanes, op, self.leak(state, op.leak_area_m2))
    }

    /// Air lost through a hole in the boost hose, kg/s.
    #[inline]
    fn leak(&self, state: &AirState, area_m2: f64) -> f64 {
        if area_m2 <= 0.0 {
            return 0.0;
        }
        let air = crate::gas::Gas { gamma: self.params.air_gamma, r: self.params.air_r };
        air.nozzle_flow(area_m2, state[0], self.params.intake_k, self.ambient.pressure_pa)
    }
}
