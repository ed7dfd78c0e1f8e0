//! Several actuators over one tick, side by side in lanes.
//!
//! In: actuators with their drives and gas torques. Out: their states a tick later, to the bit what each
//! would have come to alone. An actuator that is not two bodies in free motion over the whole tick is left
//! as it was, and the caller steps it by itself.

use super::between_stops::{LeverAndRing, LeverAndRingLanes, Motion, MotionLanes, PushesLanes};
use super::motor::{AppliedLanes, HoldLanes};
use super::params::LeverJoint;
use super::{Actuator, HEAT_STEPS, WindingDrive};
use crate::lanes::{Lanes, WIDTH, go_on_in_widest_registers, laned, larger};

laned! {
    /// Current, and what gathers or is held over the tick.
    struct Gathered across GatheredLanes {
        current_a,
        heat_j,
        gas_nm,
        /// Furthest that a stop was overrun, rad.
        overrun,
    }
}

/// Actuators in lanes; a lane is one actuator's from its first tick to its last.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct ActuatorLanes {
    /// Revision of the actuator whose bodies lie in the lane.
    revisions: [u32; WIDTH],
    pairs: LeverAndRingLanes,
    applied: AppliedLanes,
    holds: HoldLanes,
    motions: MotionLanes,
    pushes: PushesLanes,
    gathered: GatheredLanes,
}

impl ActuatorLanes {
    /// Puts an actuator into a lane. False: it cannot go along.
    pub(crate) fn take(
        &mut self,
        lane: usize,
        actuator: &mut Actuator,
        drive: WindingDrive,
        gas_nm: f64,
        dt: f64,
    ) -> bool {
        let params = &actuator.params;
        let is_plain = params.ring.soot_patch.is_none() && params.gear.mesh.is_none();
        if matches!(params.linkage, LeverJoint::Rigid) || !is_plain || actuator.heat_steps != 0 {
            return false;
        }
        if self.revisions[lane] != actuator.revision {
            self.revisions[lane] = actuator.revision;
            self.pairs.put(lane, actuator.pair(dt));
        }
        debug_assert_eq!(self.pairs.at(lane), *actuator.pair(dt), "a lane keeps its actuator");
        self.applied.put(lane, &actuator.winding.applied(&actuator.params, drive, dt));
        self.motions.put(lane, &actuator.motion());
        let (current_a, heat_j) = (actuator.state.current_a, actuator.heat_j);
        let overrun = f64::NEG_INFINITY;
        self.gathered.put(lane, &Gathered { current_a, heat_j, gas_nm, overrun });
        true
    }

    /// Moves every lane on by a tick of [`HEAT_STEPS`] steps of `dt` s.
    pub(crate) fn run(&mut self, dt: f64) {
        go_on_in_widest_registers(self, dt);
    }

    /// Gives a lane's result to its actuator. False: it met a stop and is left as it was.
    pub(crate) fn give(&self, lane: usize, actuator: &mut Actuator, dt: f64) -> bool {
        let gathered = self.gathered.at(lane);
        if gathered.overrun > 0.0 {
            return false;
        }
        actuator.set_motion(&self.motions.at(lane));
        actuator.state.current_a = gathered.current_a;
        if let Some(heat) = actuator.params.motor.heat {
            actuator.heat_j = gathered.heat_j;
            actuator.pass_heat_on(&heat, dt);
        }
        true
    }
}

impl Lanes for ActuatorLanes {
    #[inline(always)]
    fn go_on(&mut self, dt: f64) {
        for lane in 0..WIDTH {
            self.holds.put(lane, &self.applied.at(lane).hold());
        }
        for _ in 0..HEAT_STEPS {
            self.push(dt);
            self.pass();
            self.each(|pair, motion| pair.take_tangent(motion));
            self.pass();
            self.each(|pair, motion| pair.arrive(motion, NO_PATCH));
        }
    }
}

/// Factor on the friction level of a ring without a soot patch.
const NO_PATCH: f64 = 1.0;

/// The parts of a step, each for all lanes: one register computes while another waits for its division.
impl ActuatorLanes {
    #[inline(always)]
    fn push(&mut self, dt: f64) {
        for lane in 0..WIDTH {
            let (pair, hold, motion) = (self.pairs.at(lane), self.holds.at(lane), self.motions.at(lane));
            let mut gathered = self.gathered.at(lane);
            gathered.current_a = hold.current_after(gathered.current_a, motion.lever_rad_s);
            gathered.heat_j += gathered.current_a * gathered.current_a * hold.resistance_ohm * dt;
            let motor_nm = hold.nm_per_a * gathered.current_a;
            self.pushes.put(lane, &pair.pushes(&motion, motor_nm, gathered.gas_nm));
            self.gathered.put(lane, &gathered);
        }
    }

    #[inline(always)]
    fn pass(&mut self) {
        for lane in 0..WIDTH {
            let (pair, pushes) = (self.pairs.at(lane), self.pushes.at(lane));
            let (mut motion, mut gathered) = (self.motions.at(lane), self.gathered.at(lane));
            gathered.overrun = larger(pair.pass(&mut motion, &pushes, NO_PATCH), gathered.overrun);
            self.motions.put(lane, &motion);
            self.gathered.put(lane, &gathered);
        }
    }

    #[inline(always)]
    fn each(&mut self, part: impl Fn(&LeverAndRing, &mut Motion)) {
        for lane in 0..WIDTH {
            let mut motion = self.motions.at(lane);
            part(&self.pairs.at(lane), &mut motion);
            self.motions.put(lane, &motion);
        }
    }
}
