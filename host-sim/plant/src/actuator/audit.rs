//! Keeps the energy account of an actuator as it steps.
//!
//! In: the actuator before and after a step, and what was put on the winding. Out: joules by kind, and
//! what does not add up. It watches from outside, so a step costs nothing more when no one audits.

use super::{Actuator, ActuatorState, Drive, Linkage};

/// Energy by kind since the audit began, J.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct EnergyBook {
    /// From the supply into the winding.
    pub supplied_j: f64,
    /// Heat in the winding.
    pub copper_j: f64,
    /// Viscous loss.
    pub viscous_j: f64,
    /// Ring friction, bristle store included.
    pub friction_j: f64,
    /// Into stops and the joint's flanks, their springs' store included.
    pub contacts_j: f64,
    /// From the gas onto the ring.
    pub gas_j: f64,
    /// Rise of what is stored in spring, motion and winding.
    pub stored_j: f64,
}

impl EnergyBook {
    /// In minus out minus stored: 0 but for the step's truncation.
    #[must_use]
    pub fn residual_j(&self) -> f64 {
        let spent = self.copper_j + self.viscous_j + self.friction_j + self.contacts_j;
        self.supplied_j + self.gas_j - spent - self.stored_j
    }
}

/// A running audit.
#[derive(Debug, Clone, PartialEq)]
pub struct EnergyAudit {
    book: EnergyBook,
    stored_at_start_j: f64,
}

impl EnergyAudit {
    /// Starts with the books of this moment.
    #[must_use]
    pub fn new(actuator: &Actuator) -> Self {
        Self { book: EnergyBook::default(), stored_at_start_j: stored(actuator) }
    }

    /// Steps the actuator on an ideal voltage and books the step.
    pub fn step(&mut self, actuator: &mut Actuator, volts: f64, gas_torque_nm: f64, dt: f64) {
        let before = *actuator.state();
        actuator.step(Drive::Volts(volts), gas_torque_nm, dt);
        let after = *actuator.state();
        let current = 0.5 * (before.current_a + after.current_a);
        let lever_way = 0.5 * dt * (before.lever_rad_s + after.lever_rad_s);
        let ring_way = 0.5 * dt * (before.ring_rad_s + after.ring_rad_s);
        let gear = &actuator.params.gear;
        let book = &mut self.book;
        book.supplied_j += volts * current * dt;
        book.copper_j += actuator.winding.resistance_ohm() * current * current * dt;
        book.viscous_j += gear.viscous_nm_s_per_rad * after.lever_rad_s * lever_way;
        book.viscous_j += (1.0 - gear.efficiency) * actuator.motor_torque().abs() * lever_way.abs();
        book.friction_j += ring_friction(actuator, &before, &after, dt) * ring_way;
        book.contacts_j += contact_work(actuator, &after, lever_way, ring_way);
        book.gas_j += gas_torque_nm * ring_way;
        book.stored_j = stored(actuator) - self.stored_at_start_j;
    }

    /// The account so far.
    #[must_use]
    pub fn book(&self) -> &EnergyBook {
        &self.book
    }
}

/// Friction torque that the step applied: σ0 z + σ1 dz/dt + σ2 v at its end.
fn ring_friction(actuator: &Actuator, before: &ActuatorState, after: &ActuatorState, dt: f64) -> f64 {
    let p = actuator.friction.params();
    let rate = (after.bristle_rad - before.bristle_rad) / dt;
    p.bristle_stiffness * after.bristle_rad + p.bristle_damping * rate + p.viscous * after.ring_rad_s
}

fn contact_work(actuator: &Actuator, after: &ActuatorState, lever_way: f64, ring_way: f64) -> f64 {
    let lever = -actuator.lever_contacts.torque(after.lever_rad, after.lever_rad_s) * lever_way;
    let ring = -actuator.ring_contacts.torque(after.ring_rad, after.ring_rad_s) * ring_way;
    lever + ring + joint_torque(actuator, after) * (lever_way - ring_way)
}

/// Torque of the joint on the ring, N m.
fn joint_torque(actuator: &Actuator, at: &ActuatorState) -> f64 {
    let Linkage::Lash { play_rad, stiffness_nm_per_rad, damping_nm_s_per_rad } = actuator.params.linkage
    else {
        return 0.0;
    };
    let gap = at.lever_rad - at.ring_rad;
    let over = (gap.abs() - 0.5 * play_rad).max(0.0);
    if over == 0.0 {
        return 0.0;
    }
    let side = 1.0_f64.copysign(gap);
    let push = stiffness_nm_per_rad * over + damping_nm_s_per_rad * side * (at.lever_rad_s - at.ring_rad_s);
    side * push.max(0.0)
}

/// Energy in spring, motion and winding, J.
fn stored(actuator: &Actuator) -> f64 {
    let (s, p) = (&actuator.state, &actuator.params);
    let lever = p.lever_inertia_kg_m2() * s.lever_rad_s * s.lever_rad_s;
    let ring = p.ring.inertia_kg_m2 * s.ring_rad_s * s.ring_rad_s;
    let winding = p.motor.inductance_h * s.current_a * s.current_a;
    let spring = p
        .spring
        .map_or(0.0, |k| k.preload_nm * s.lever_rad + 0.5 * k.rate_nm_per_rad * s.lever_rad * s.lever_rad);
    0.5 * (lever + ring + winding) + spring
}

impl Actuator {
    /// Energy of motion and of bent contacts, J: what an undriven, unsprung actuator may only lose.
    #[must_use]
    pub fn mechanical_energy_j(&self) -> f64 {
        let (s, p) = (&self.state, &self.params);
        let moving = p.lever_inertia_kg_m2() * s.lever_rad_s * s.lever_rad_s
            + p.ring.inertia_kg_m2 * s.ring_rad_s * s.ring_rad_s;
        0.5 * moving + self.lever_contacts.stored(s.lever_rad) + self.ring_contacts.stored(s.ring_rad)
    }
}
