//! Which plants are drawn: all ranges in this one place, all invented, none taken from the code that is judged.
//!
//! A draw that no actuator of this bench could be is drawn again: it needs more than 3 A, or more than 0.8 of the current
//! that its supply drives through its winding at standstill.

use plant::actuator::{BridgeIdle, HeatParams, LeverJoint, MeshParams, SpringParams, StopPair, StopParams};
use plant::world::{OpeningDirection, WorldConfig};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;
use vanebench::characterise::Answers;

/// Most current that moving it may need, A, and as a share of the stall current.
const MOST_NEED_A: f64 = 3.0;
const MOST_NEED_OF_STALL: f64 = 0.8;

/// A plant, and what a person would say of it.
#[derive(Debug, Clone)]
pub struct Drawn {
    pub world: WorldConfig,
    pub answers: Answers,
    /// Current that its hardest place takes to break away, A.
    pub need_a: f64,
}

/// The plant of a seed.
pub fn drawn(seed: u64) -> Drawn {
    let mut rng = Pcg64Mcg::seed_from_u64(seed);
    loop {
        let draw = once(&mut rng);
        let motor = &draw.world.actuator.motor;
        let stall_a = draw.answers.rated_voltage / motor.resistance_ohm;
        if draw.need_a < MOST_NEED_A.min(MOST_NEED_OF_STALL * stall_a) {
            return draw;
        }
    }
}

/// Evenly over the logarithm.
fn even_log(rng: &mut Pcg64Mcg, low: f64, high: f64) -> f64 {
    (rng.random_range(low.ln()..high.ln())).exp()
}

fn once(rng: &mut Pcg64Mcg) -> Drawn {
    let mut world = WorldConfig::default();
    let rated_voltage = if rng.random::<bool>() { 12.0 } else { 24.0 };
    let degrees = rng.random_range(20.0..110.0_f64);
    let (travel_rad, actuator) = (degrees.to_radians(), &mut world.actuator);

    let motor = &mut actuator.motor;
    motor.resistance_ohm = even_log(rng, 0.5, 8.0);
    motor.inductance_h = motor.resistance_ohm * even_log(rng, 0.3e-3, 2e-3);
    motor.torque_constant_nm_per_a = even_log(rng, 0.005, 0.05);
    motor.rotor_inertia_kg_m2 = 2.2e-6 * even_log(rng, 0.3, 5.0);
    let gear = &mut actuator.gear;
    gear.ratio = even_log(rng, 20.0, 300.0);
    gear.efficiency = rng.random_range(0.4..0.9);
    gear.mesh = None::<MeshParams>;

    let nm_per_a = motor.torque_constant_nm_per_a * gear.ratio * gear.efficiency;
    let stall_nm = nm_per_a * rated_voltage / motor.resistance_ohm;
    let coulomb = stall_nm * even_log(rng, 0.05, 0.6);
    gear.viscous_nm_s_per_rad = coulomb * rng.random_range(0.05..0.2);
    let friction = &mut actuator.ring.friction;
    friction.coulomb = coulomb;
    friction.breakaway = coulomb * rng.random_range(1.2..1.5);
    friction.stribeck_speed = rng.random_range(0.02..0.05);
    friction.bristle_stiffness = coulomb * rng.random_range(1100.0..3200.0);
    friction.bristle_damping = 0.003 * friction.bristle_stiffness;
    let breakaway = friction.breakaway;
    actuator.ring.inertia_kg_m2 = 2.5e-4 * even_log(rng, 0.3, 5.0);

    // None, or opening or closing by which way the vanes open; at its strongest 0.5 to 3 times the friction.
    let strongest_nm = coulomb * rng.random_range(0.5..3.0);
    let preload = strongest_nm * rng.random_range(0.4..0.8);
    let has_spring = rng.random_range(0..3) > 0;
    actuator.spring = has_spring.then_some(SpringParams {
        preload_nm: preload,
        rate_nm_per_rad: (strongest_nm - preload) / travel_rad,
    });
    let need_nm = breakaway + if has_spring { strongest_nm } else { 0.0 };
    let need_a = need_nm / nm_per_a;
    let opens_up = rng.random::<bool>();

    // Stops yield 1/4800 to 1/500 of a radian under what moving takes; the lever's own lie 3 to 5 degrees outside.
    let stiffness = need_nm * even_log(rng, 500.0, 4800.0);
    let stop = |angle_rad: f64| StopParams {
        angle_rad,
        stiffness_nm_per_rad: stiffness,
        damping_nm_s_per_rad: 0.0015 * stiffness,
    };
    actuator.ring.stops = StopPair { low: Some(stop(0.0)), high: Some(stop(travel_rad)) };
    let beyond = rng.random_range(3.0..5.0_f64).to_radians();
    actuator.lever_stops = StopPair { low: Some(stop(-beyond)), high: Some(stop(travel_rad + beyond)) };
    actuator.linkage = LeverJoint::Lash {
        play_rad: rng.random_range(0.1..0.4_f64).to_radians(),
        stiffness_nm_per_rad: 4.0 * stiffness,
        damping_nm_s_per_rad: 0.002 * stiffness,
    };

    let bridge = &mut actuator.bridge;
    bridge.supply_v = rated_voltage * rng.random_range(0.97..1.08);
    bridge.source_resistance_ohm = rng.random_range(0.04..0.12);
    bridge.switch_resistance_ohm = rng.random_range(0.02..0.06);
    bridge.dead_band = rng.random_range(0.0..0.02);
    bridge.idle = if rng.random_range(0.0..1.0) < 0.7 { BridgeIdle::Open } else { BridgeIdle::Shorted };

    // What the maker prints holds 1 to 2.5 times what moving takes; at that, the winding rises by 20 to 60 K in the end.
    let continuous_current = (need_a * rng.random_range(1.0..2.5)).clamp(0.05, 10.0);
    let watts = actuator.motor.resistance_ohm * continuous_current.powi(2);
    let k_per_w = rng.random_range(20.0..60.0) / watts;
    actuator.motor.heat = Some(HeatParams {
        resistance_k_per_w: k_per_w,
        capacity_j_per_k: rng.random_range(100.0..300.0) / k_per_w,
        surroundings_c: rng.random_range(10.0..35.0),
        ..HeatParams::default()
    });

    let span = even_log(rng, 800.0, 15_000.0);
    let rises = rng.random::<bool>();
    let position = &mut world.sensors.position;
    position.counts_per_rad = if rises { span / travel_rad } else { -span / travel_rad };
    let lowest = rng.random_range(500.0..15_900.0 - span);
    position.counts_at_zero = if rises { lowest } else { lowest + span };
    position.noise_counts = (span * even_log(rng, 1e-4, 5e-4)).max(0.3);
    world.sensors.current.gain = rng.random_range(0.97..1.03);
    world.sensors.current.offset = rng.random_range(-0.01..0.01);
    world.opening = if opens_up { OpeningDirection::RaisesAngle } else { OpeningDirection::LowersAngle };
    let answers = Answers { degrees, rated_voltage, continuous_current, back_drives: true };
    Drawn { world, answers, need_a }
}
