//! What a plant's own parameters say that its signals show: closed forms, the drive as positive current opens.
//!
//! Balance at a steady slow speed with torque k per ampere, efficiency η, spring S toward angle 0 and friction F: upward
//! k I − (1 − η) k |I| = S + F, downward k I + (1 − η) k |I| = S − F. Friction is half the difference of the two currents,
//! the spring's current half their sum (hand calculation).

use firmware_core::settings::{CountsDirection, SpringAction};
use plant::actuator::BENCH_TRAVEL_RAD;
use plant::world::{OpeningDirection, World, WorldConfig};

/// Temperature at which a plant's motor data are stated, °C.
const REFERENCE_C: f64 = 20.0;

/// What characterising should find.
#[derive(Debug, Clone, Copy)]
pub struct Truth {
    pub ohm: f64,
    pub friction_a: f64,
    /// At the weaker and the stronger end.
    pub spring_a: [f64; 2],
    pub spring: SpringAction,
    pub back_emf: f64,
    /// Counts at the open and the closed stop.
    pub stops: [f64; 2],
    pub direction: CountsDirection,
    /// Longest way between stops, counts.
    pub span: f64,
}

/// Which way counts go when the vanes open.
pub fn direction(world: &WorldConfig) -> CountsDirection {
    if world.opening.sign() * world.sensors.position.counts_per_rad > 0.0 {
        CountsDirection::OpeningRaises
    } else {
        CountsDirection::OpeningLowers
    }
}

/// The truth with the winding at this temperature.
pub fn truth(config: &WorldConfig, winding_c: f64) -> Truth {
    let actuator = &config.actuator;
    let (motor, gear) = (&actuator.motor, &actuator.gear);
    let (copper, magnet) = motor.heat.map_or((0.0, 0.0), |heat| (heat.copper_per_k, heat.magnet_per_k));
    let rise = winding_c - REFERENCE_C;
    let constant = motor.torque_constant_nm_per_a * (1.0 + magnet * rise);
    let per_a = constant * gear.ratio;
    let current = |nm: f64, way: f64| {
        let share = if nm * way > 0.0 { gear.efficiency } else { 2.0 - gear.efficiency };
        nm / (per_a * share)
    };
    let rubs = actuator.ring.friction.coulomb;
    let high = actuator.ring.stops.high.map_or(BENCH_TRAVEL_RAD, |stop| stop.angle_rad);
    let pulls = |angle: f64| actuator.spring.map_or(0.0, |k| k.preload_nm + k.rate_nm_per_rad * angle);
    let both = |angle: f64| {
        let (up, down) = (current(pulls(angle) + rubs, 1.0), current(pulls(angle) - rubs, -1.0));
        (0.5 * (up - down), 0.5 * (up + down))
    };
    let spring = match (actuator.spring, config.opening) {
        (None, _) => SpringAction::None,
        (Some(_), OpeningDirection::RaisesAngle) => SpringAction::Closes,
        (Some(_), OpeningDirection::LowersAngle) => SpringAction::Opens,
    };
    let at = World::new(config, 1).expect("a valid world").stop_truth();
    let stops = [at.open_counts, at.closed_counts].map(|counts| counts.expect("both stops"));
    Truth {
        ohm: motor.resistance_ohm * (1.0 + copper * rise) + actuator.bridge.switch_resistance_ohm,
        friction_a: both(0.5 * high).0,
        spring_a: [both(0.0).1, both(high).1],
        spring,
        back_emf: per_a / config.sensors.position.counts_per_rad.abs(),
        stops,
        direction: direction(config),
        span: (stops[0] - stops[1]).abs(),
    }
}
