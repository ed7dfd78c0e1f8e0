//! Outside checks of the gear's mesh, in closed form.
//!
//! Sources: efficiencies of a square-threaded screw, tan λ/tan(λ + φ) driving and tan(λ − φ)/tan λ driven back,
//! self-locking where φ is at least λ (screw theory, as in any handbook of machine elements; from memory); what
//! a motor takes and a load gives at steady speed. The parameters are invented.

use plant::actuator::{
    Actuator, ActuatorParams, ActuatorState, LeverJoint, MeshParams, StopPair, WindingDrive,
};
use vanebench_checks::assert_near;

/// A square-threaded screw, degrees of lead and of friction.
fn screw(lead_deg: f64, friction_deg: f64) -> MeshParams {
    let (lead, friction) = (lead_deg.to_radians(), friction_deg.to_radians());
    MeshParams {
        driving_efficiency: lead.tan() / (lead + friction).tan(),
        back_driving_efficiency: (lead - friction).tan() / lead.tan(),
    }
}

/// A motor and a gear on a ring that hardly rubs, without spring or stops: the gas is all its load.
fn geared(mesh: MeshParams, linkage: LeverJoint) -> Actuator {
    let mut params = ActuatorParams::bench_actuator_a();
    params.spring = None;
    params.ring.stops = StopPair::default();
    params.ring.friction.coulomb = 1e-9;
    params.ring.friction.breakaway = 1e-9;
    params.ring.friction.bristle_damping = 0.0;
    params.gear.viscous_nm_s_per_rad = 0.0;
    params.gear.mesh = Some(mesh);
    params.linkage = linkage;
    let mut actuator = Actuator::try_new(params).unwrap();
    actuator.set_state(ActuatorState { lever_rad: 0.3, ring_rad: 0.3, ..*actuator.state() });
    actuator
}

fn run(actuator: &mut Actuator, volts: f64, load_nm: f64, span_s: f64) {
    for _ in 0..(span_s / 1e-4).round() as u32 {
        actuator.step(WindingDrive::Volts(volts), load_nm, 1e-4);
    }
}

/// 0.018 N m/A × gear 48.
const NM_PER_A: f64 = 0.864;
const OHM: f64 = 1.6;
const JOINTS: [LeverJoint; 2] = [
    LeverJoint::Rigid,
    LeverJoint::Lash { play_rad: 0.007, stiffness_nm_per_rad: 2000.0, damping_nm_s_per_rad: 1.0 },
];

#[test]
fn a_screw_holds_its_load_exactly_where_friction_angle_exceeds_lead_angle() {
    for linkage in JOINTS {
        for (friction_deg, holds) in [(4.9, false), (5.1, true), (9.0, true)] {
            let mut actuator = geared(screw(5.0, friction_deg), linkage);
            run(&mut actuator, 0.0, 1.0, 0.2);
            let at = actuator.state().lever_rad;
            run(&mut actuator, 0.0, 1.0, 5.0);
            let crept = actuator.state().lever_rad - at;
            assert_eq!(crept.abs() < 1e-9, holds, "φ {friction_deg}°, {linkage:?}: crept {crept} rad in 5 s");
        }
    }
}

/// With the winding at `volts`, steady speed is (volts − R T/k)/k for a motor torque T: here η of the load.
#[test]
fn a_driven_and_an_overrunning_load_take_the_share_that_efficiency_says() {
    let load_nm = 1.2;
    for linkage in JOINTS {
        for mesh in [screw(5.0, 4.0), screw(5.0, 7.0), screw(20.0, 3.0)] {
            // Lifting: the load pulls down, the motor gives load over efficiency.
            let mut actuator = geared(mesh, linkage);
            run(&mut actuator, 9.0, -load_nm, 0.6);
            let amperes = load_nm / mesh.driving_efficiency / NM_PER_A;
            assert_near("lifting, A", actuator.state().current_a, amperes, 2e-3 * amperes);
            let speed = (9.0 - OHM * amperes) / NM_PER_A;
            assert_near("lifting, rad/s", actuator.state().lever_rad_s, speed, 0.02);
            // Lowering: the motor brakes with what comes through, or pushes where nothing does.
            let mut actuator = geared(mesh, linkage);
            run(&mut actuator, -9.0, -load_nm, 0.6);
            let amperes = load_nm * mesh.back_driving_efficiency / NM_PER_A;
            assert_near("lowering, A", actuator.state().current_a, amperes, 2e-3 * amperes.abs() + 1e-3);
        }
    }
}

#[test]
fn a_wedged_screw_stays_at_its_stop_until_the_motor_pulls_it_off() {
    let mesh = screw(5.0, 8.0);
    let mut params = ActuatorParams::bench_actuator_a_in_service();
    params.spring = None;
    params.gear.mesh = Some(mesh);
    params.motor.heat = None;
    let mut actuator = Actuator::try_new(params).unwrap();
    run(&mut actuator, 6.0, 0.0, 2.0);
    let pressed = actuator.state().lever_rad;
    let depth = pressed - params.ring.stops.high.unwrap().angle_rad - 0.5 * params.linkage.play_rad();
    assert!(depth > 1e-3, "pressed in by {depth} rad");
    run(&mut actuator, 0.0, 0.0, 5.0);
    assert_near("let go, rad", actuator.state().lever_rad, pressed, 1e-9 + 0.2 * depth);
    run(&mut actuator, -6.0, 0.0, 0.3);
    assert!(actuator.state().lever_rad < pressed - 0.05);
}
