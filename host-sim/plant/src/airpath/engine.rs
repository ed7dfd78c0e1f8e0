//! The running engine around the reduced air path: fuel with a response of its own, hoses that leak or clog.
//!
//! In: engine speed, fuel demand, what the controller asks of the fuel, vane opening. Out: pressures,
//! turbo speed, delivered fuel. Refuses to go on when a state stops being a number.

use super::air_step::AirStepInput;
use super::effects::{Pulsation, RingHeat};
use super::engine_params::{EngineParams, FuelResponse};
use super::heat::{EngineHeat, ExhaustWalls};
use super::inputs::{EngineInputs, FuelAsked, HoseState};
use super::reduced::ReducedModel;
use super::state::{AirState, Flows, Operating, Vanes};
use super::steady::NoSteadyState;
use crate::atmosphere::Ambient;
use crate::check::BadParameter;
use crate::lanes::sine_and_cosine_of_turns;

/// A state left the numbers or the physical range.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error(
    "the air path diverged: intake {intake_pa} Pa, exhaust {exhaust_pa} Pa, turbo {turbo_rad_s} rad/s; \
     allowed: finite and above 0; check nozzle areas, volumes and inertia in [engine.air]"
)]
pub struct AirDiverged {
    /// Intake pressure reached, Pa.
    pub intake_pa: f64,
    /// Exhaust pressure reached, Pa.
    pub exhaust_pa: f64,
    /// Turbo speed reached, rad/s.
    pub turbo_rad_s: f64,
}

/// Ambient pressure everywhere; the model needs a turbo that turns a little.
fn at_rest(ambient: &Ambient, turbo_rad_s: f64) -> AirState {
    const LEAST_RAD_S: f64 = 500.0;
    [ambient.pressure_pa, ambient.pressure_pa * 1.001, turbo_rad_s.max(LEAST_RAD_S)]
}

/// A running engine.
#[derive(Debug, Clone, PartialEq)]
pub struct Engine {
    params: EngineParams,
    model: ReducedModel,
    state: AirState,
    vanes: Vanes,
    hose_drop_pa: f64,
    fuel_mg: f64,
    /// Fuel per stroke that the smoke limit allows for the air of one revolution in a minute; infinite: no limit.
    smoke_mg_per_kg_s: f64,
    limited_for_s: f64,
    heat: EngineHeat,
    /// Part of an exhaust stroke that is over, turns from −½ to ½.
    stroke_turns: f64,
}

impl Engine {
    /// An engine at rest: ambient pressure everywhere, turbo barely turning.
    ///
    /// # Errors
    /// Names the first parameter that is out of range.
    pub fn try_new(params: EngineParams, ambient: Ambient) -> Result<Self, BadParameter> {
        params.validate_but_ring()?;
        let air = params.effects.worked_into(params.air);
        let model = ReducedModel::try_new(air, ambient).map_err(|e| e.within("air"))?;
        let model = model.with_ring(params.measured_ring()?);
        Ok(Self {
            state: at_rest(&ambient, 0.0),
            vanes: model.vanes(1.0),
            model,
            params,
            hose_drop_pa: 0.0,
            fuel_mg: 0.0,
            smoke_mg_per_kg_s: params.smoke_mg_per_kg_s(),
            limited_for_s: 0.0,
            heat: EngineHeat::cold(params.effects, &air, &ambient),
            stroke_turns: 0.0,
        })
    }

    /// Stops: ambient pressure everywhere, the turbo at this speed.
    pub(crate) fn stand(&mut self, turbo_rad_s: f64) {
        self.state = at_rest(self.model.ambient(), turbo_rad_s);
    }

    /// Brings the air path to rest at an operating point, smoke limit, walls and cooler included.
    ///
    /// # Errors
    /// When there is no rest there.
    pub fn settle(&mut self, inputs: &EngineInputs, opening: f64) -> Result<(), NoSteadyState> {
        let AirStepInput { from, vanes, op, .. } = self.begin_settling(inputs, opening);
        self.settle_from(self.model.run(from, vanes, &op), inputs)
    }

    /// What the air path is to run through before [`Self::settle_from`].
    pub(crate) fn begin_settling(&mut self, inputs: &EngineInputs, opening: f64) -> AirStepInput {
        self.vanes = self.model.vanes(opening);
        self.hose_drop_pa = 0.0;
        self.fuel_mg = inputs.fuel_mg;
        self.heat.begin_settling();
        let op = self.operating(inputs, HoseState::default());
        AirStepInput { from: self.model.far_from_rest(), vanes: self.vanes, opening, op }
    }

    /// Settles from where that run ended.
    pub(crate) fn settle_from(&mut self, near: AirState, inputs: &EngineInputs) -> Result<(), NoSteadyState> {
        /// Fuel and temperatures that move less than this from pass to pass are at rest, mg and K.
        const AT_REST: f64 = 1e-6;
        const PASSES: usize = 60;
        self.state = near;
        for _ in 0..PASSES {
            let op = self.operating(inputs, HoseState::default());
            self.state = self.model.steady_from(self.state, self.vanes, &op)?;
            let allowed = self.smoke_limit_mg(inputs.speed_rpm).min(inputs.fuel_mg);
            let change = allowed - self.fuel_mg;
            self.fuel_mg = allowed;
            let flows = self.flows(inputs, HoseState::default());
            let warmed_k = self.heat.rest(self.model.params(), self.model.ambient(), &flows);
            if change.abs() < AT_REST && warmed_k < AT_REST {
                break;
            }
        }
        Ok(())
    }

    /// Advances by `dt` s while the vanes move from where they were to `opening`.
    ///
    /// # Errors
    /// [`AirDiverged`] when a state is no longer finite and positive.
    pub fn step(
        &mut self,
        inputs: &EngineInputs,
        opening: f64,
        hose: HoseState,
        dt: f64,
    ) -> Result<(), AirDiverged> {
        let run = self.begin(inputs, opening, hose, dt);
        self.finish(run.after(&self.model, dt), &run, hose, dt)
    }

    /// Settles the fuel; gives what the air path is to run through.
    #[inline]
    pub(crate) fn begin(
        &mut self,
        inputs: &EngineInputs,
        opening: f64,
        hose: HoseState,
        dt: f64,
    ) -> AirStepInput {
        self.fuel_mg = self.delivered_mg(inputs, dt);
        let strokes = self.stroke_turns + self.params.air.cylinders * inputs.speed_rpm * dt / 120.0;
        self.stroke_turns = strokes - (strokes + 0.5).floor();
        AirStepInput { from: self.state, vanes: self.vanes, opening, op: self.operating(inputs, hose) }
    }

    /// Takes on where the air path came to.
    #[inline(always)]
    pub(crate) fn finish(
        &mut self,
        (state, vanes): (AirState, Vanes),
        run: &AirStepInput,
        hose: HoseState,
        dt: f64,
    ) -> Result<(), AirDiverged> {
        (self.state, self.vanes) = (state, vanes);
        if hose.loss_pa_per_kg2_s2 > 0.0 || self.hose_drop_pa > 0.0 {
            let flow = self.model.flows(&self.state, vanes, &run.op).compressor_kg_s;
            let loss = hose.loss_pa_per_kg2_s2 * flow * flow;
            self.hose_drop_pa += (loss - self.hose_drop_pa) * (dt / self.params.hose_time_s).min(1.0);
        }
        if self.heat.is_due(dt) {
            let flows = self.model.flows(&self.state, vanes, &run.op);
            self.heat.look(self.model.params(), self.model.ambient(), &flows);
        }
        self.check()
    }

    /// Pressure over the vanes as it turns the ring now, as a share of its mean: the exhaust strokes.
    #[inline]
    pub(crate) fn stroke_share(&self) -> f64 {
        let depth =
            |pulsation: &Pulsation| pulsation.depth * sine_and_cosine_of_turns([self.stroke_turns]).0[0];
        1.0 + self.params.effects.pulsation.size().map_or(0.0, depth)
    }

    /// Factor on the ring's friction at its present temperature: the housing's.
    pub(crate) fn ring_heat_factor(&self) -> f64 {
        let factor = |ring: &RingHeat| self.heat.walls().map_or(1.0, |walls| ring.factor(walls.body_k));
        self.params.effects.ring_heat.size().map_or(1.0, factor)
    }

    /// The exhaust's walls, where heat soak is on.
    #[must_use]
    pub fn walls(&self) -> Option<ExhaustWalls> {
        self.heat.walls()
    }

    fn check(&self) -> Result<(), AirDiverged> {
        let [intake_pa, exhaust_pa, turbo_rad_s] = self.state;
        let is_sound = |value: f64| (0.0 < value) & (value < f64::INFINITY);
        if is_sound(intake_pa) & is_sound(exhaust_pa) & is_sound(turbo_rad_s) {
            Ok(())
        } else {
            Err(AirDiverged { intake_pa, exhaust_pa, turbo_rad_s })
        }
    }

    fn operating(&self, inputs: &EngineInputs, hose: HoseState) -> Operating {
        Operating {
            speed_rpm: inputs.speed_rpm,
            fuel_mg: self.fuel_mg,
            egr_area_m2: inputs.egr_area_m2,
            leak_area_m2: hose.leak_area_m2,
            hose_drop_pa: self.hose_drop_pa,
            heat: *self.heat.gas(),
        }
    }

    /// Fuel after smoke limit and, where the engine listens, the controller's request.
    fn delivered_mg(&mut self, inputs: &EngineInputs, dt: f64) -> f64 {
        let fuel = inputs.fuel_mg.min(self.smoke_limit_mg(inputs.speed_rpm));
        let FuelAsked::LimitTo(share) = inputs.fuel_request else {
            self.limited_for_s = 0.0;
            return fuel;
        };
        self.limited_for_s += dt;
        let obeyed = match self.params.fuel_response {
            FuelResponse::Obeys => true,
            FuelResponse::Late(delay_s) => self.limited_for_s >= delay_s,
            FuelResponse::Refuses => false,
        };
        if obeyed { fuel.min(share.clamp(0.0, 1.0) * self.params.full_load_mg) } else { fuel }
    }

    /// Most fuel that the present air burns without smoke, mg per stroke; the same at every speed.
    fn smoke_limit_mg(&self, speed_rpm: f64) -> f64 {
        if speed_rpm > 0.0 { self.charge_kg_s_at_one_rpm() * self.smoke_mg_per_kg_s } else { 0.0 }
    }

    /// Gas that the cylinders take in, kg/s for each revolution in a minute.
    fn charge_kg_s_at_one_rpm(&self) -> f64 {
        const ONE_RPM: f64 = 1.0;
        self.model.engine_flow(&self.state, ONE_RPM) * self.heat.gas().density_ratio
    }

    /// Mass of gas that the cylinders take in for each mass of fuel delivered, at any speed; none without fuel.
    /// Recirculated exhaust counts as air, as it does for the smoke limit.
    #[must_use]
    pub fn air_per_fuel(&self) -> Option<f64> {
        (self.fuel_mg > 0.0).then(|| self.charge_kg_s_at_one_rpm() * self.params.mg_per_kg_s() / self.fuel_mg)
    }

    /// Recirculated exhaust as a share of the gas that the cylinders take in.
    #[must_use]
    pub fn recirculated_share(&self, inputs: &EngineInputs) -> f64 {
        let flows = self.flows(inputs, HoseState::default());
        flows.egr_kg_s / flows.engine_kg_s
    }

    /// Changes how the engine answers a fuel request: how that fault arrives.
    pub fn set_fuel_response(&mut self, response: FuelResponse) {
        self.params.fuel_response = response;
    }

    /// Changes the air outside; the engine runs on.
    ///
    /// # Errors
    /// When pressure or temperature is not above 0.
    pub fn set_ambient(&mut self, ambient: Ambient) -> Result<(), BadParameter> {
        let air = *self.model.params();
        self.model = ReducedModel::try_new(air, ambient)?.with_ring(self.model.ring().cloned());
        Ok(())
    }

    /// Intake pressure Pa, exhaust pressure Pa, turbo speed rad/s.
    #[must_use]
    pub fn state(&self) -> &AirState {
        &self.state
    }

    /// Pressure behind the compressor, before the boost hose, Pa.
    #[must_use]
    pub fn compressor_outlet_pa(&self) -> f64 {
        self.state[0] + self.hose_drop_pa
    }

    /// Fuel delivered in the last step, mg per stroke.
    #[must_use]
    pub fn fuel_mg(&self) -> f64 {
        self.fuel_mg
    }

    /// The air path's model.
    #[must_use]
    pub fn model(&self) -> &ReducedModel {
        &self.model
    }

    /// All flows at this moment.
    #[must_use]
    pub fn flows(&self, inputs: &EngineInputs, hose: HoseState) -> Flows {
        self.model.flows(&self.state, self.vanes, &self.operating(inputs, hose))
    }
}
