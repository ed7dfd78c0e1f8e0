//! Bench actuator A, invented: plain, for checks against outside models, and as it serves the demo. What a file leaves out
//! is taken from the latter.

use super::contact::{StopPair, StopParams};
use super::params::{
    ActuatorParams, BridgeIdle, BridgeParams, GearParams, HeatParams, LeverJoint, MotorParams, VaneRingParams,
};
use super::spring::SpringParams;
use crate::friction::LuGreParams;

/// Travel of bench actuator A between its ring stops, rad (70°).
pub const BENCH_TRAVEL_RAD: f64 = 70.0 * core::f64::consts::PI / 180.0;

impl ActuatorParams {
    /// Invented bench actuator A in its plainest form: no play, ideal supply, no winding heat, no
    /// internal stops. The form that the outside checks use.
    #[must_use]
    pub fn bench_actuator_a() -> Self {
        Self {
            motor: MotorParams {
                resistance_ohm: 1.6,
                inductance_h: 0.9e-3,
                torque_constant_nm_per_a: 0.018,
                rotor_inertia_kg_m2: 2.2e-6,
                heat: None,
            },
            bridge: BridgeParams {
                supply_v: 12.0,
                source_resistance_ohm: 0.0,
                switch_resistance_ohm: 0.0,
                dead_band: 0.0,
                idle: BridgeIdle::Shorted,
            },
            gear: GearParams { ratio: 48.0, efficiency: 1.0, viscous_nm_s_per_rad: 0.03, mesh: None },
            spring: Some(SpringParams::default()),
            lever_stops: StopPair::default(),
            linkage: LeverJoint::Rigid,
            ring: VaneRingParams {
                inertia_kg_m2: 2.5e-4,
                friction: LuGreParams::bench_ring_a(),
                soot_patch: None,
                stops: StopPair {
                    low: Some(StopParams::bench_a(0.0)),
                    high: Some(StopParams::bench_a(BENCH_TRAVEL_RAD)),
                },
                obstruction: None,
            },
        }
    }

    /// Bench actuator A as it is used in the demo: play in the joint, a real supply, dead time, winding
    /// heat, gear loss, and internal stops outside the ring's own (−4° and 75°). All invented.
    #[must_use]
    pub fn bench_actuator_a_in_service() -> Self {
        let plain = Self::bench_actuator_a();
        Self {
            motor: MotorParams { heat: Some(HeatParams::default()), ..plain.motor },
            bridge: BridgeParams {
                supply_v: 12.0,
                source_resistance_ohm: 0.08,
                switch_resistance_ohm: 0.04,
                dead_band: 0.01,
                idle: BridgeIdle::Open,
            },
            gear: GearParams { efficiency: 0.92, ..plain.gear },
            lever_stops: StopPair {
                low: Some(StopParams::bench_a((-4.0_f64).to_radians())),
                high: Some(StopParams::bench_a(75.0_f64.to_radians())),
            },
            linkage: LeverJoint::with_play_deg(0.4),
            ..plain
        }
    }
}

impl Default for MotorParams {
    fn default() -> Self {
        ActuatorParams::bench_actuator_a_in_service().motor
    }
}

impl Default for HeatParams {
    fn default() -> Self {
        Self {
            capacity_j_per_k: 25.0,
            resistance_k_per_w: 9.0,
            surroundings_c: 20.0,
            copper_per_k: 0.003_93,
            magnet_per_k: -0.002,
        }
    }
}

impl Default for BridgeParams {
    fn default() -> Self {
        ActuatorParams::bench_actuator_a_in_service().bridge
    }
}

impl Default for GearParams {
    fn default() -> Self {
        ActuatorParams::bench_actuator_a_in_service().gear
    }
}

impl Default for VaneRingParams {
    fn default() -> Self {
        ActuatorParams::bench_actuator_a_in_service().ring
    }
}

impl Default for ActuatorParams {
    fn default() -> Self {
        ActuatorParams::bench_actuator_a_in_service()
    }
}
