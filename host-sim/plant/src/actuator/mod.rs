//! Motor, gear, return spring, joint with play, vane ring and stops, one fixed step at a time.
//!
//! In: what the bridge does, the gas torque on the ring, a step length (0.1 ms is what the accuracy
//! figures are for). Out: current, lever and ring angles, winding temperature. Each step solves the
//! winding exactly with the back-emf held, then both bodies implicitly with friction and contacts
//! linearised at the new speed (two passes). First order, stable at any step.

#[cfg(test)]
mod audit;
mod bench_a;
mod between_stops;
mod contact;
mod dynamics;
mod lanes;
mod mesh;
mod motor;
mod params;
mod spring;

pub use bench_a::BENCH_TRAVEL_RAD;
pub use contact::{Obstruction, StopCondition, StopPair, StopParams, TravelEnd};
pub use mesh::MeshParams;
pub use motor::WindingDrive;
pub(crate) use motor::supply_at_connector;
pub(crate) use params::REFERENCE_C;
pub use params::{
    ActuatorParams, BridgeIdle, BridgeParams, GearParams, HeatParams, LeverJoint, MotorParams, SootPatch,
    VaneRingParams,
};
pub use spring::SpringParams;

pub(crate) use lanes::ActuatorLanes;

use between_stops::LeverAndRing;
use contact::Contacts;
use motor::Winding;

use crate::check::BadParameter;
use crate::friction::{LevelTangent, LuGre};

/// Where everything is and how fast it moves.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ActuatorState {
    /// Motor current, A; positive raises the angle.
    pub current_a: f64,
    /// Lever angle, rad: what the position sensor sees.
    pub lever_rad: f64,
    /// Lever speed, rad/s.
    pub lever_rad_s: f64,
    /// Ring angle in lever radians: what the gas sees.
    pub ring_rad: f64,
    /// Ring speed, rad/s.
    pub ring_rad_s: f64,
    /// Mean bristle deflection of the ring's friction, rad.
    pub bristle_rad: f64,
    /// Winding temperature, °C.
    pub winding_c: f64,
}

/// An actuator with its ring, in motion.
#[derive(Debug, Clone, PartialEq)]
pub struct Actuator {
    params: ActuatorParams,
    state: ActuatorState,
    friction: LuGre,
    /// g(v) near the present ring speed, kept from the last step.
    curve: LevelTangent,
    lever_contacts: Contacts,
    ring_contacts: Contacts,
    bodies: Bodies,
    /// The bodies with the last step length worked in; of step length 0 when out of date.
    pair: LeverAndRing,
    /// How many times it was changed: lanes keep what they were told of it.
    revision: u32,
    winding: Winding,
    heat_steps: u32,
    heat_j: f64,
}

/// What of the parameters every step needs, worked out once.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Bodies {
    lever_kg_m2: f64,
    gear_loss: f64,
    spring: SpringParams,
}

impl Bodies {
    fn of(params: &ActuatorParams) -> Self {
        let no_spring = SpringParams { preload_nm: 0.0, rate_nm_per_rad: 0.0 };
        Self {
            lever_kg_m2: params.lever_inertia_kg_m2(),
            gear_loss: 1.0 - params.gear.efficiency,
            spring: params.spring.unwrap_or(no_spring),
        }
    }
}

/// Steps between updates of the winding temperature: heat moves over seconds, a step is 0.1 ms.
pub(crate) const HEAT_STEPS: u32 = 10;
impl Actuator {
    /// An actuator at rest against its low stop (or at angle 0 without one), spring and stop in balance.
    ///
    /// # Errors
    /// Names the first parameter that is out of range.
    pub fn try_new(params: ActuatorParams) -> Result<Self, BadParameter> {
        params.validate()?;
        let friction = LuGre::try_new(params.ring.friction)?;
        let rest = resting_angle(&params);
        let heat = params.motor.heat;
        let state = ActuatorState {
            current_a: 0.0,
            lever_rad: rest,
            lever_rad_s: 0.0,
            ring_rad: rest,
            ring_rad_s: 0.0,
            bristle_rad: 0.0,
            winding_c: heat.map_or(REFERENCE_C, |heat| heat.surroundings_c),
        };
        let mut actuator = Self {
            state,
            curve: friction.tangent(0.0),
            friction,
            lever_contacts: Contacts::default(),
            ring_contacts: Contacts::default(),
            bodies: Bodies::of(&params),
            pair: LeverAndRing::default(),
            revision: 0,
            winding: Winding::new(&params.motor),
            heat_steps: 0,
            heat_j: 0.0,
            params,
        };
        actuator.rebuild();
        Ok(actuator)
    }

    /// What it is made of.
    #[must_use]
    pub fn params(&self) -> &ActuatorParams {
        &self.params
    }

    /// Where everything is.
    #[must_use]
    pub fn state(&self) -> &ActuatorState {
        &self.state
    }

    /// Puts it into a state, as if it had been moved by hand.
    pub fn set_state(&mut self, state: ActuatorState) {
        self.state = state;
        self.curve = self.friction.tangent(state.ring_rad_s);
        self.winding.set_temperature(&self.params.motor, state.winding_c);
    }

    /// Changes what it is made of while it stays where it is: how faults arrive.
    ///
    /// # Errors
    /// Names the first parameter that is out of range; nothing is changed then.
    pub fn change(&mut self, edit: impl FnOnce(&mut ActuatorParams)) -> Result<(), BadParameter> {
        let mut params = self.params;
        edit(&mut params);
        params.validate()?;
        self.friction = LuGre::try_new(params.ring.friction)?;
        self.params = params;
        self.rebuild();
        Ok(())
    }

    fn rebuild(&mut self) {
        self.bodies = Bodies::of(&self.params);
        self.pair = LeverAndRing::default();
        self.revision += 1;
        let ring = &self.params.ring;
        let (lever_stops, obstruction) = (&self.params.lever_stops, ring.obstruction.as_ref());
        if matches!(self.params.linkage, LeverJoint::Rigid) {
            self.lever_contacts = Contacts::new(&[lever_stops, &ring.stops], obstruction);
            self.ring_contacts = Contacts::default();
        } else {
            self.lever_contacts = Contacts::new(&[lever_stops], None);
            self.ring_contacts = Contacts::new(&[&ring.stops], obstruction);
        }
        self.curve = self.friction.tangent(self.state.ring_rad_s);
        self.winding.set_temperature(&self.params.motor, self.state.winding_c);
    }

    /// Advances by `dt` seconds. `gas_torque_nm` acts on the ring, positive raises its angle.
    pub fn step(&mut self, drive: WindingDrive, gas_torque_nm: f64, dt: f64) {
        self.run(drive, gas_torque_nm, dt, 1);
    }

    /// Advances by so many steps.
    pub(crate) fn run(&mut self, drive: WindingDrive, gas_torque_nm: f64, dt: f64, steps: u32) {
        let mut hold = self.winding.hold(&self.params, drive, dt);
        for _ in 0..steps {
            self.state.current_a = hold.current_after(self.state.current_a, self.state.lever_rad_s);
            match self.params.linkage {
                LeverJoint::Rigid => self.step_as_one(gas_torque_nm, dt),
                LeverJoint::Lash { .. } | LeverJoint::Detached => self.step_as_two(gas_torque_nm, dt),
            }
            if self.warm(dt) {
                hold = self.winding.hold(&self.params, drive, dt);
            }
        }
    }

    /// True when the winding's temperature has moved.
    fn warm(&mut self, dt: f64) -> bool {
        let Some(heat) = self.params.motor.heat else { return false };
        let current = self.state.current_a;
        self.heat_j += current * current * self.winding.resistance_ohm() * dt;
        self.heat_steps += 1;
        let is_due = self.heat_steps >= HEAT_STEPS;
        if is_due {
            self.pass_heat_on(&heat, dt);
        }
        is_due
    }

    /// Moves the heat collected over [`HEAT_STEPS`] steps into winding and housing.
    fn pass_heat_on(&mut self, heat: &HeatParams, dt: f64) {
        let span_s = f64::from(HEAT_STEPS) * dt;
        let lost_j = span_s * (self.state.winding_c - heat.surroundings_c) / heat.resistance_k_per_w;
        self.state.winding_c += (self.heat_j - lost_j) / heat.capacity_j_per_k;
        (self.heat_steps, self.heat_j) = (0, 0.0);
        self.winding.set_temperature(&self.params.motor, self.state.winding_c);
    }
}

/// Where spring and low stop balance without drive.
fn resting_angle(params: &ActuatorParams) -> f64 {
    let ring_low = match params.linkage {
        LeverJoint::Detached => None,
        LeverJoint::Rigid | LeverJoint::Lash { .. } => params.ring.stops.low,
    };
    let low = [params.lever_stops.low, ring_low]
        .into_iter()
        .flatten()
        .max_by(|a, b| a.angle_rad.total_cmp(&b.angle_rad));
    let Some(low) = low else { return 0.0 };
    let Some(spring) = params.spring else { return low.angle_rad };
    low.angle_rad - spring.torque(low.angle_rad) / (low.stiffness_nm_per_rad + spring.rate_nm_per_rad)
}
