//! Motor, gear, return spring, joint with play, vane ring and stops, one fixed step at a time.
//!
//! In: what the bridge does, the gas torque on the ring, a step length (0.1 ms is what the accuracy
//! figures are for). Out: current, lever and ring angles, winding temperature. Each step solves the
//! winding exactly with the back-emf held, then both bodies implicitly with friction and contacts
//! linearised at the new speed (two passes). First order, stable at any step.

mod audit;
mod contact;
mod motor;
mod params;

pub use audit::{EnergyAudit, EnergyBook};
pub use contact::{End, Obstruction, Stop, StopCondition, StopPair};
pub use motor::{Drive, supply_at_connector};
pub use params::{
    ActuatorParams, BENCH_TRAVEL_RAD, BridgeIdle, BridgeParams, GearParams, HeatParams, Linkage, MotorParams,
    REFERENCE_C, RingParams, SootPatch, SpringParams,
};

use contact::{Contacts, Row};
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

/// Fixed-point passes on |v|/g(v) and the contacts: with two, the scheme is first order and the bristle bound holds.
const PASSES: usize = 2;
/// Steps between updates of the winding temperature: heat moves over seconds, a step is 0.1 ms.
const HEAT_STEPS: u32 = 10;
/// Speed below which the load-dependent gear loss acts like a damper, rad/s: keeps its sign change smooth.
const GEAR_LOSS_SPEED: f64 = 0.05;

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
        let ring = &self.params.ring;
        let (lever_stops, obstruction) = (&self.params.lever_stops, ring.obstruction.as_ref());
        if matches!(self.params.linkage, Linkage::Rigid) {
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
    pub fn step(&mut self, drive: Drive, gas_torque_nm: f64, dt: f64) {
        let emf_v = self.winding.torque_constant * self.params.gear.ratio * self.state.lever_rad_s;
        self.state.current_a = self.winding.step(&self.params, self.state.current_a, drive, emf_v, dt);
        match self.params.linkage {
            Linkage::Rigid => self.step_as_one(gas_torque_nm, dt),
            Linkage::Lash { .. } | Linkage::Detached => self.step_as_two(gas_torque_nm, dt),
        }
        self.warm(dt);
    }

    /// Motor torque at the lever, N m.
    fn motor_torque(&self) -> f64 {
        self.params.gear.ratio * self.winding.torque_constant * self.state.current_a
    }

    /// Lever's own equation: inertia, motor, spring, viscous and load-dependent gear loss.
    #[inline]
    fn lever_row(&self, inertia: f64, dt: f64) -> Row {
        let motor = self.motor_torque();
        let speed = self.state.lever_rad_s;
        let momentum = inertia / dt;
        let lost = if self.bodies.gear_loss == 0.0 {
            0.0
        } else {
            self.bodies.gear_loss * motor.abs() / speed.abs().max(GEAR_LOSS_SPEED)
        };
        let (preload, rate) = (self.bodies.spring.preload_nm, self.bodies.spring.rate_nm_per_rad);
        Row {
            numerator: momentum * speed + motor - preload - rate * self.state.lever_rad,
            denominator: momentum + self.params.gear.viscous_nm_s_per_rad + lost + rate * dt,
        }
    }

    /// Adds the ring's friction to a row.
    #[inline]
    fn rub(&self, row: Row, guess: f64, level: f64, dt: f64) -> Row {
        let line = self.friction.line(self.state.bristle_rad, guess, level, dt);
        Row { numerator: row.numerator - line.constant, denominator: row.denominator + line.slope }
    }

    fn step_as_one(&mut self, gas_torque_nm: f64, dt: f64) {
        let inertia = self.bodies.lever_kg_m2 + self.params.ring.inertia_kg_m2;
        let angle = self.state.lever_rad;
        let patch = patch_factor(self.params.ring.soot_patch, angle);
        let mut lever = self.lever_row(inertia, dt);
        lever.numerator += gas_torque_nm;
        let (mut guess, mut curve) = (self.state.lever_rad_s, self.curve);
        for pass in 1..=PASSES {
            let row = self.rub(lever, guess, patch * curve.level(guess), dt);
            let next = touch(&self.lever_contacts, row, angle, guess, dt);
            let is_settled = self.is_settled(guess, next);
            guess = next;
            if is_settled || pass == PASSES {
                break;
            }
            curve = self.friction.tangent(guess);
        }
        let level = patch * curve.level(guess);
        self.state.bristle_rad = self.friction.advance(self.state.bristle_rad, guess, level, dt);
        self.curve = curve;
        self.state.lever_rad_s = guess;
        self.state.lever_rad += dt * guess;
        self.state.ring_rad_s = guess;
        self.state.ring_rad = self.state.lever_rad;
    }

    fn step_as_two(&mut self, gas_torque_nm: f64, dt: f64) {
        let patch = patch_factor(self.params.ring.soot_patch, self.state.ring_rad);
        let lever = self.lever_row(self.bodies.lever_kg_m2, dt);
        let momentum = self.params.ring.inertia_kg_m2 / dt;
        let ring = Row { numerator: momentum * self.state.ring_rad_s + gas_torque_nm, denominator: momentum };
        let mut guess = (self.state.lever_rad_s, self.state.ring_rad_s);
        let mut curve = self.curve;
        for pass in 1..=PASSES {
            let rubbed = self.rub(ring, guess.1, patch * curve.level(guess.1), dt);
            let next = self.join(lever, rubbed, guess, dt);
            let is_settled = self.is_settled(guess.0, next.0) && self.is_settled(guess.1, next.1);
            guess = next;
            if is_settled || pass == PASSES {
                break;
            }
            curve = self.friction.tangent(guess.1);
        }
        let level = patch * curve.level(guess.1);
        self.state.bristle_rad = self.friction.advance(self.state.bristle_rad, guess.1, level, dt);
        self.curve = curve;
        (self.state.lever_rad_s, self.state.ring_rad_s) = guess;
        self.state.lever_rad += dt * guess.0;
        self.state.ring_rad += dt * guess.1;
    }

    /// Whether the speed changed by less than a millionth of the Stribeck speed: what another pass could
    /// still change then is below 1e-8 of the friction.
    #[inline]
    fn is_settled(&self, guess: f64, next: f64) -> bool {
        const NEGLIGIBLE: f64 = 1e-6;
        (next - guess).abs() <= NEGLIGIBLE * self.params.ring.friction.stribeck_speed
    }

    /// New speeds of lever and ring: the joint's flank where it pushes, else each on its own.
    #[inline]
    fn join(&self, lever: Row, ring: Row, guess: (f64, f64), dt: f64) -> (f64, f64) {
        let (lever_rad, ring_rad) = (self.state.lever_rad, self.state.ring_rad);
        if let Some(flank) = self.flank(guess, dt) {
            let is_clear = self.lever_contacts.is_clear(lever_rad, guess.0, dt)
                && self.ring_contacts.is_clear(ring_rad, guess.1, dt);
            let speeds = if is_clear {
                flank.couple(lever, ring)
            } else {
                self.couple_at_stops(&flank, lever, ring, guess, dt)
            };
            if flank.is_pushing(speeds) {
                return speeds;
            }
        }
        (
            touch(&self.lever_contacts, lever, lever_rad, guess.0, dt),
            touch(&self.ring_contacts, ring, ring_rad, guess.1, dt),
        )
    }

    /// Both bodies with the joint in contact and stops within reach.
    fn couple_at_stops(
        &self,
        flank: &Flank,
        lever: Row,
        ring: Row,
        guess: (f64, f64),
        dt: f64,
    ) -> (f64, f64) {
        let (lever_rad, ring_rad) = (self.state.lever_rad, self.state.ring_rad);
        let loaded = |pushing: (Option<f64>, Option<f64>)| {
            flank.couple(
                self.lever_contacts.load(lever, lever_rad, guess.0, dt, pushing.0),
                self.ring_contacts.load(ring, ring_rad, guess.1, dt, pushing.1),
            )
        };
        let speeds = loaded((None, None));
        if self.lever_contacts.would_pull(lever_rad, guess.0, speeds.0, dt)
            || self.ring_contacts.would_pull(ring_rad, guess.1, speeds.1, dt)
        {
            return loaded((Some(speeds.0), Some(speeds.1)));
        }
        speeds
    }

    /// The flank of the joint that is in contact now or will be at the guessed speeds.
    #[inline]
    fn flank(&self, guess: (f64, f64), dt: f64) -> Option<Flank> {
        let Linkage::Lash { play_rad, stiffness_nm_per_rad, damping_nm_s_per_rad } = self.params.linkage
        else {
            return None;
        };
        let gap = self.state.lever_rad - self.state.ring_rad;
        let next = gap + dt * (guess.0 - guess.1);
        let half = 0.5 * play_rad;
        let side = if gap.max(next) > half {
            1.0
        } else if gap.min(next) < -half {
            -1.0
        } else {
            return None;
        };
        Some(Flank {
            side,
            constant: stiffness_nm_per_rad * (gap - side * half),
            slope: stiffness_nm_per_rad * dt + damping_nm_s_per_rad,
        })
    }

    fn warm(&mut self, dt: f64) {
        let Some(heat) = self.params.motor.heat else { return };
        let current = self.state.current_a;
        self.heat_j += current * current * self.winding.resistance_ohm() * dt;
        self.heat_steps += 1;
        if self.heat_steps < HEAT_STEPS {
            return;
        }
        let span_s = f64::from(self.heat_steps) * dt;
        let lost_j = span_s * (self.state.winding_c - heat.surroundings_c) / heat.resistance_k_per_w;
        self.state.winding_c += (self.heat_j - lost_j) / heat.capacity_j_per_k;
        (self.heat_steps, self.heat_j) = (0, 0.0);
        self.winding.set_temperature(&self.params.motor, self.state.winding_c);
    }
}

/// The joint's contact over one step: torque on the ring = constant + slope × (lever − ring speed).
#[derive(Debug, Clone, Copy)]
struct Flank {
    side: f64,
    constant: f64,
    slope: f64,
}

impl Flank {
    #[inline]
    fn couple(&self, lever: Row, ring: Row) -> (f64, f64) {
        let (a, b) = (lever.denominator + self.slope, ring.denominator + self.slope);
        let (c, d) = (lever.numerator - self.constant, ring.numerator + self.constant);
        let inverse = 1.0 / (a * b - self.slope * self.slope);
        ((c * b + self.slope * d) * inverse, (a * d + self.slope * c) * inverse)
    }

    #[inline]
    fn is_pushing(&self, speeds: (f64, f64)) -> bool {
        self.side * (self.constant + self.slope * (speeds.0 - speeds.1)) > 0.0
    }
}

/// New speed of a body on its own: free, or held by the contacts that push.
#[inline]
fn touch(contacts: &Contacts, row: Row, angle: f64, guess: f64, dt: f64) -> f64 {
    let free = row.speed();
    if contacts.is_clear(angle, guess, dt) {
        return free;
    }
    let held = contacts.load(row, angle, guess, dt, None).speed();
    if contacts.would_pull(angle, guess, held, dt) {
        contacts.load(row, angle, guess, dt, Some(held)).speed()
    } else {
        held
    }
}

#[inline]
fn patch_factor(patch: Option<SootPatch>, angle: f64) -> f64 {
    let Some(patch) = patch else { return 1.0 };
    let off = ((angle - patch.centre_rad) / patch.half_width_rad).abs();
    if off >= 1.0 { 1.0 } else { 1.0 + (patch.factor - 1.0) * (1.0 - off * off) }
}

/// Where spring and low stop balance without drive.
fn resting_angle(params: &ActuatorParams) -> f64 {
    let ring_low = match params.linkage {
        Linkage::Detached => None,
        _ => params.ring.stops.low,
    };
    let low = [params.lever_stops.low, ring_low]
        .into_iter()
        .flatten()
        .max_by(|a, b| a.angle_rad.total_cmp(&b.angle_rad));
    let Some(low) = low else { return 0.0 };
    let Some(spring) = params.spring else { return low.angle_rad };
    let torque = spring.preload_nm + spring.rate_nm_per_rad * low.angle_rad;
    low.angle_rad - torque / (low.stiffness_nm_per_rad + spring.rate_nm_per_rad)
}
