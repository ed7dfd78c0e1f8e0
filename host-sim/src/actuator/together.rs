//! Several actuators over one tick, side by side in lanes.
//!
//! In: actuators with their drives and gas torques. Out: their states a tick later, to the bit what each
//! would have come to alone. An actuator that is not two bodies in free motion over the whole tick is left
//! as it was, and the caller steps it by itself.

use super::free::{MotionLanes, PairLanes};
use super::motor::HoldLanes;
use super::params::Linkage;
use super::{Actuator, Drive, HEAT_STEPS};
use crate::lanes::{WIDTH, laned, larger};

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

/// Actuators in lanes.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Together {
    pairs: PairLanes,
    holds: HoldLanes,
    motions: MotionLanes,
    gathered: GatheredLanes,
}

impl Together {
    /// Puts an actuator into a lane. False: it cannot go along.
    pub(crate) fn take(
        &mut self,
        lane: usize,
        actuator: &mut Actuator,
        drive: Drive,
        gas_nm: f64,
        dt: f64,
    ) -> bool {
        let is_rigid = matches!(actuator.params.linkage, Linkage::Rigid);
        if is_rigid || actuator.params.ring.soot_patch.is_some() || actuator.heat_steps != 0 {
            return false;
        }
        self.pairs.put(lane, actuator.pair(dt));
        self.holds.put(lane, &actuator.winding.hold(&actuator.params, drive, dt));
        self.motions.put(lane, &actuator.motion());
        let (current_a, heat_j) = (actuator.state.current_a, actuator.heat_j);
        let overrun = f64::NEG_INFINITY;
        self.gathered.put(lane, &Gathered { current_a, heat_j, gas_nm, overrun });
        true
    }

    /// Moves every lane on by a tick of [`HEAT_STEPS`] steps of `dt` s.
    pub(crate) fn run(&mut self, dt: f64) {
        for _ in 0..HEAT_STEPS {
            for lane in 0..WIDTH {
                let (pair, hold) = (self.pairs.at(lane), self.holds.at(lane));
                let (motion, mut gathered) = (self.motions.at(lane), self.gathered.at(lane));
                gathered.current_a = hold.current_after(gathered.current_a, motion.lever_rad_s);
                let motor_nm = hold.nm_per_a * gathered.current_a;
                let (motion, overrun) = pair.step(&motion, motor_nm, gathered.gas_nm, 1.0);
                gathered.overrun = larger(gathered.overrun, overrun);
                gathered.heat_j += gathered.current_a * gathered.current_a * hold.resistance_ohm * dt;
                self.motions.put(lane, &motion);
                self.gathered.put(lane, &gathered);
            }
        }
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
