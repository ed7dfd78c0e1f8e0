//! Debris in the ring's way that gives way under force: each push leaves it further out.
//!
//! In: the ring's angle tick by tick. Out: a new place of the debris when the push was above its yield. It flows as
//! a Bingham body does: not at all below the yield, above it at a speed in proportion to the excess.

use serde::{Deserialize, Serialize};

use super::TICK_S;
use crate::actuator::Obstruction;
use crate::check::{BadParameter, not_negative};

/// Debris as it stands in a file.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DebrisParams {
    /// Where it lies before the first push, and how stiff it is.
    pub obstruction: Obstruction,
    /// Push from which it gives way, N m; 0 or more.
    pub yield_nm: f64,
    /// How fast: rad/s for each N m above the yield.
    pub creep_rad_per_nm_s: f64,
    /// How far in all, rad: then it is packed and holds.
    pub most_rad: f64,
}

impl DebrisParams {
    /// Checks every field.
    ///
    /// # Errors
    /// Names the field.
    pub fn validate(&self) -> Result<(), BadParameter> {
        self.obstruction.validate().map_err(|e| e.within("obstruction"))?;
        not_negative("yield_nm", self.yield_nm)?;
        not_negative("creep_rad_per_nm_s", self.creep_rad_per_nm_s)?;
        not_negative("most_rad", self.most_rad)
    }
}

/// Debris and how far it was pushed.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Debris {
    params: DebrisParams,
    moved_rad: f64,
}

impl Debris {
    /// Debris pushed so far already.
    pub(super) fn new(params: DebrisParams, moved_rad: f64) -> Self {
        Self { params, moved_rad }
    }

    pub(super) fn moved_rad(&self) -> f64 {
        self.moved_rad
    }

    /// The obstruction where it lies now.
    pub(super) fn obstruction(&self) -> Obstruction {
        let mut obstruction = self.params.obstruction;
        obstruction.stop.angle_rad += obstruction.shuts_off.sign() * self.moved_rad;
        obstruction
    }

    /// Gives way for a tick with the ring at this angle. False: it lies where it lay.
    pub(super) fn give_way(&mut self, ring_rad: f64) -> bool {
        let Obstruction { shuts_off, stop } = self.obstruction();
        let push_nm = stop.stiffness_nm_per_rad * shuts_off.sign() * (ring_rad - stop.angle_rad);
        let excess_nm = push_nm - self.params.yield_nm;
        if excess_nm <= 0.0 || self.moved_rad >= self.params.most_rad {
            return false;
        }
        // Never further than to where it is pushed with its yield.
        let by_rad =
            (self.params.creep_rad_per_nm_s * TICK_S).min(1.0 / stop.stiffness_nm_per_rad) * excess_nm;
        self.moved_rad = (self.moved_rad + by_rad).min(self.params.most_rad);
        true
    }
}

#[cfg(test)]
mod tests {
    use firmware_core::units::Duty;

    use super::*;
    use crate::actuator::{ActuatorParams, BridgeIdle, LeverJoint, StopParams, TravelEnd};
    use crate::world::{EngineState, Fault, FaultKind, World, WorldConfig};

    /// 0.018 N m/A × gear 48 × 12 V × duty / 1.6 Ω, without spring or friction: what the motor pushes with at rest.
    const NM_PER_DUTY: f64 = 6.48;

    fn world(debris: DebrisParams) -> World {
        let mut actuator = ActuatorParams::bench_actuator_a();
        actuator.spring = None;
        actuator.ring.friction.coulomb = 1e-9;
        actuator.ring.friction.breakaway = 1e-9;
        actuator.ring.friction.bristle_damping = 0.0;
        actuator.gear.viscous_nm_s_per_rad = 0.0;
        actuator.linkage = LeverJoint::Rigid;
        actuator.bridge.idle = BridgeIdle::Shorted;
        let faults = vec![Fault::standing(FaultKind::Debris(debris))];
        World::new(&WorldConfig { actuator, faults, ..WorldConfig::default() }, 1).unwrap()
    }

    fn lies_at(world: &World) -> f64 {
        world.actuator().params().ring.obstruction.unwrap().stop.angle_rad
    }

    fn push(world: &mut World, duty: f32, ticks: u32) {
        for _ in 0..ticks {
            world.step(Duty::try_new(duty).unwrap(), &EngineState::Standing).unwrap();
        }
    }

    fn debris(yield_nm: f64, most_rad: f64) -> DebrisParams {
        let stop = StopParams { angle_rad: 0.8, stiffness_nm_per_rad: 400.0, damping_nm_s_per_rad: 0.6 };
        let obstruction = Obstruction { shuts_off: TravelEnd::High, stop };
        DebrisParams { obstruction, yield_nm, creep_rad_per_nm_s: 0.002, most_rad }
    }

    /// A Bingham body under a steady push flows at (push − yield) × mobility, and not at all below its yield. The
    /// flow itself takes some of the push by back-emf: 0.864² / 1.6 N m per rad/s, below a thousandth here.
    #[test]
    fn debris_flows_by_the_push_above_its_yield_and_a_second_push_goes_further() {
        let mut world = world(debris(0.9, 1.0));
        push(&mut world, -0.2, 500);
        let start = lies_at(&world);
        push(&mut world, -0.2, 10_000);
        let flow = (lies_at(&world) - start) / 10.0;
        let expected = (0.2 * NM_PER_DUTY - 0.9) * 0.002;
        assert!((flow / expected - 1.0).abs() < 3e-3, "{flow} rad/s of {expected}");
        // Let go, and pushed again from where it lies then.
        push(&mut world, 0.2, 50);
        let left = lies_at(&world);
        push(&mut world, 0.2, 300);
        assert_eq!(lies_at(&world).to_bits(), left.to_bits());
        push(&mut world, -0.2, 5000);
        assert!(lies_at(&world) > left + 4.0 * expected);
    }

    #[test]
    fn debris_holds_below_its_yield_and_where_it_is_packed() {
        let mut below = world(debris(1.4, 1.0));
        push(&mut below, -0.2, 5000);
        // The blow of arriving is above the yield for some ms; then it holds.
        let held = lies_at(&below);
        push(&mut below, -0.2, 5000);
        assert_eq!(lies_at(&below).to_bits(), held.to_bits());
        let mut packed = world(debris(0.5, 0.004));
        push(&mut packed, -0.2, 20_000);
        assert!((lies_at(&packed) - 0.804).abs() < 1e-12);
    }

    #[test]
    fn debris_survives_toml_and_a_bad_number_is_named() {
        let config = world(debris(0.9, 0.1)).config().clone();
        let text = toml::to_string(&config).unwrap();
        assert_eq!(WorldConfig::from_toml(&text, "unit.toml").unwrap().faults, config.faults);
        let bad = text.replace("yield_nm = 0.9", "yield_nm = -0.9");
        let refusal = WorldConfig::from_toml(&bad, "unit.toml").unwrap_err().to_string();
        assert!(refusal.contains("faults[0].what.debris.yield_nm = -0.9"), "{refusal}");
    }
}
