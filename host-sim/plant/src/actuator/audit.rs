//! Keeps the energy account of an actuator as it steps.
//!
//! In: the actuator before and after a step, and what was put on the winding. Out: joules by kind, and
//! what does not add up. It watches from outside, so a step costs nothing more when no one audits.

use proptest::prelude::*;

use super::{Actuator, ActuatorParams, ActuatorState, LeverJoint, WindingDrive};

/// Energy by kind since the audit began, J.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
struct EnergyBook {
    /// From the supply into the winding.
    supplied_j: f64,
    /// Heat in the winding.
    copper_j: f64,
    /// Viscous loss.
    viscous_j: f64,
    /// Ring friction, bristle store included.
    friction_j: f64,
    /// Into stops and the joint's flanks, their springs' store included.
    contacts_j: f64,
    /// From the gas onto the ring.
    gas_j: f64,
    /// Rise of what is stored in spring, motion and winding.
    stored_j: f64,
}

impl EnergyBook {
    /// In minus out minus stored: 0 but for the step's truncation.
    fn residual_j(&self) -> f64 {
        let spent = self.copper_j + self.viscous_j + self.friction_j + self.contacts_j;
        self.supplied_j + self.gas_j - spent - self.stored_j
    }
}

/// A running audit.
#[derive(Debug, Clone, PartialEq)]
struct EnergyAudit {
    book: EnergyBook,
    stored_at_start_j: f64,
}

impl EnergyAudit {
    /// Starts with the books of this moment.
    fn new(actuator: &Actuator) -> Self {
        Self { book: EnergyBook::default(), stored_at_start_j: stored(actuator) }
    }

    /// Steps the actuator on an ideal voltage and books the step.
    fn step(&mut self, actuator: &mut Actuator, volts: f64, gas_torque_nm: f64, dt: f64) {
        let before = *actuator.state();
        actuator.step(WindingDrive::Volts(volts), gas_torque_nm, dt);
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
    fn book(&self) -> &EnergyBook {
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
    let LeverJoint::Lash { play_rad, stiffness_nm_per_rad, damping_nm_s_per_rad } = actuator.params.linkage
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
    fn mechanical_energy_j(&self) -> f64 {
        let (s, p) = (&self.state, &self.params);
        let moving = p.lever_inertia_kg_m2() * s.lever_rad_s * s.lever_rad_s
            + p.ring.inertia_kg_m2 * s.ring_rad_s * s.ring_rad_s;
        0.5 * moving + self.lever_contacts.stored(s.lever_rad) + self.ring_contacts.stored(s.ring_rad)
    }
}

/// Volts of the stroke in the reference: open, then gently closed, then let go.
fn stroke_volts(t_s: f64) -> f64 {
    if t_s < 0.05 {
        0.0
    } else if t_s < 0.8 {
        6.0
    } else if t_s < 1.3 {
        -3.0
    } else {
        0.0
    }
}

#[test]
fn the_energy_account_closes_to_a_thousandth() {
    let mut actuator = Actuator::try_new(ActuatorParams::bench_actuator_a()).unwrap();
    let mut audit = EnergyAudit::new(&actuator);
    for step in 0..15_000 {
        audit.step(&mut actuator, stroke_volts((f64::from(step) + 0.5) * 1e-4), 0.0, 1e-4);
    }
    let book = audit.book();
    // 13.685 721 J: SciPy 1.17.1 Radau at rtol 1e-9, `tests/reference/world/c2_motor.py`.
    assert!((book.supplied_j / 13.685_721 - 1.0).abs() < 1e-3, "supplied {} J", book.supplied_j);
    assert!(book.residual_j().abs() < 1e-3 * book.supplied_j, "residual {} J", book.residual_j());
}

#[test]
fn the_energy_account_closes_with_play_in_the_joint() {
    let mut params = ActuatorParams::bench_actuator_a();
    params.linkage = LeverJoint::with_play_deg(0.4);
    let mut actuator = Actuator::try_new(params).unwrap();
    let mut audit = EnergyAudit::new(&actuator);
    let dt = 2e-5;
    for step in 0..75_000 {
        audit.step(&mut actuator, stroke_volts(f64::from(step) * dt), 0.0, dt);
    }
    let book = audit.book();
    assert!(
        book.residual_j().abs() < 1e-3 * book.supplied_j,
        "residual {} of {} J",
        book.residual_j(),
        book.supplied_j
    );
}

/// Bench actuator A unpowered, without spring or (all but) ring friction: what moves may only lose energy.
fn undriven(play_deg: f64) -> ActuatorParams {
    let mut params = ActuatorParams::bench_actuator_a();
    params.spring = None;
    params.ring.friction.coulomb = 1e-12;
    params.ring.friction.breakaway = 1e-12;
    params.ring.friction.bristle_damping = 0.0;
    params.motor.torque_constant_nm_per_a = 0.0;
    params.linkage = LeverJoint::with_play_deg(play_deg);
    params
}

/// The lever at a speed, the ring still beside it.
fn struck(angle_rad: f64, speed_rad_s: f64) -> ActuatorState {
    ActuatorState {
        current_a: 0.0,
        lever_rad: angle_rad,
        lever_rad_s: speed_rad_s,
        ring_rad: angle_rad,
        ring_rad_s: 0.0,
        bristle_rad: 0.0,
        winding_c: 20.0,
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]
    #[test]
    fn stops_and_joint_never_create_energy(
        speed in -12.0_f64..12.0, start in 0.05_f64..1.15, play_deg in 0.0_f64..2.0, dt in 2e-5_f64..3e-4,
    ) {
        let mut actuator = Actuator::try_new(undriven(play_deg)).unwrap();
        actuator.set_state(struck(start, speed));
        let at_start = actuator.mechanical_energy_j();
        for _ in 0..5_000 {
            actuator.step(WindingDrive::Volts(0.0), 0.0, dt);
            prop_assert!(actuator.mechanical_energy_j() <= at_start * (1.0 + 1e-9) + 1e-12);
        }
    }
}
