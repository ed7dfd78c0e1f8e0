//! Units with nothing wrong: the spread of new and worn-in units, and wear that is still within limits.
//!
//! The spread is invented, and in shares of the kind's own size (at 70° of travel and 12 V): supply 11 to 15 V, winding −10 to 90 °C, friction 0.7 to 1.4 times nominal,
//! joint play 0.15° to 0.7°, stop stiffness ±20 %, each stop ±0.30 % and the sensor's mounting ±0.20 % of
//! travel, torque constant ±4 %, sensor noise a third to 1.7 times nominal.

use rand::{Rng, RngExt};

use super::{Family, Preset, Size, Tag};
use plant::actuator::TravelEnd;
use plant::friction::RingCondition;
use plant::world::{FaultKind, WorldConfig};

/// Bench actuator A in service, as the profile describes it.
#[must_use]
pub fn nominal_unit() -> WorldConfig {
    WorldConfig::default()
}

/// One unit of bench actuator A's healthy spread.
#[must_use]
pub fn draw_unit(rng: &mut impl Rng) -> WorldConfig {
    draw_of(&nominal_unit(), rng)
}

/// One unit of a kind's healthy spread.
#[must_use]
pub(crate) fn draw_of(nominal: &WorldConfig, rng: &mut impl Rng) -> WorldConfig {
    let (mut unit, size) = (nominal.clone(), Size::of(nominal));
    let actuator = &mut unit.actuator;
    actuator.bridge.supply_v = size.supply * rng.random_range(11.0..15.0);
    if let Some(heat) = &mut actuator.motor.heat {
        heat.surroundings_c = rng.random_range(-10.0..90.0);
    }
    actuator.motor.torque_constant_nm_per_a *= rng.random_range(0.96..1.04);
    let friction = rng.random_range(0.7..1.4);
    actuator.ring.friction.coulomb *= friction;
    actuator.ring.friction.breakaway *= friction;
    actuator.linkage = size.joint(rng.random_range(0.15..0.7));
    for end in [TravelEnd::Low, TravelEnd::High] {
        if let Some(stop) = actuator.ring.stops.at_mut(end) {
            stop.angle_rad += rng.random_range(-0.003..0.003) * size.travel_rad;
            stop.stiffness_nm_per_rad *= rng.random_range(0.8..1.2);
        }
    }
    let position = &mut unit.sensors.position;
    position.counts_at_zero += rng.random_range(-0.002..0.002) * position.counts_per_rad * size.travel_rad;
    position.noise_counts = size.noise * rng.random_range(0.5..2.5);
    unit
}

const NONE: (f64, f64, &str) = (0.0, 1.0, "no effect");

pub(super) const PRESETS: &[Preset] = &[
    Family::Healthy.preset(
        "healthy",
        "nothing wrong: the spread of sound units",
        Tag::MustAccept,
        NONE,
        &[],
        |_, _| {},
    ),
    Family::Healthy.preset(
        "worn-ring",
        "pivots worn in: less friction, softer at rest",
        Tag::MustAccept,
        NONE,
        &[],
        |case, _| case.fault(FaultKind::Ring(RingCondition::Worn)),
    ),
    Family::Healthy.preset(
        "hot-ring",
        "hot and dry ring: friction a third higher, still within limits",
        Tag::MustAccept,
        (1.0, 1.35, "times friction"),
        &[],
        |case, factor| {
            let nominal = case.size.friction;
            let friction = &mut case.world.actuator.ring.friction;
            friction.coulomb = nominal.coulomb * factor;
            friction.breakaway = nominal.breakaway * factor;
            friction.stribeck_speed = nominal.stribeck_speed * 0.7;
        },
    ),
];
