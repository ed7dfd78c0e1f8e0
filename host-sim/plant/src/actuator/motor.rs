//! Winding, bridge and winding heat.
//!
//! In: what the bridge does, the lever's speed, a step length. Out: the current at the end of the step.
//! The winding equation is solved exactly over the step with the back-emf held, so no step is too long.

use crate::lanes::{self, laned, smaller};

use super::params::{ActuatorParams, BridgeParams, MotorParams, REFERENCE_C};

/// What is put on the winding during a step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum WindingDrive {
    /// An ideal voltage, positive raises the angle (outside checks).
    Volts(f64),
    /// A bridge duty, −1 … 1, positive raises the angle, from a supply of so many volts without load.
    Bridge {
        /// Signed duty.
        duty: f64,
        /// Supply without load, V.
        supply_v: f64,
    },
    /// Bridge off: the winding is open but for its diodes into a supply of so many volts.
    Off {
        /// Supply without load, V.
        supply_v: f64,
    },
}

/// Forward drop of two free-wheeling diodes, V (common practice, no source).
const DIODES_V: f64 = 1.4;

/// Winding state that changes slowly, and the decay factor that belongs to it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Winding {
    resistance_ohm: f64,
    pub torque_constant: f64,
    /// As in [`Applied::decay`], kept for this loop resistance and step length.
    decay: (f64, f64),
    loop_ohm: f64,
    dt: f64,
}

laned! {
    /// What stands on the winding from outside.
    struct Applied across AppliedLanes {
        /// As in [`Hold`].
        volts,
        emf_per_rad_s,
        /// Winding, switches and source in a row; infinite: the bridge is off.
        loop_ohm,
        resistance_ohm,
        dt_per_h,
        nm_per_a,
    }
}

laned! {
    /// What the bridge does to the winding over one step.
    struct Hold across HoldLanes {
        /// Voltage put on the winding, V; with the bridge off, the supply and diodes that oppose its current.
        volts,
        /// Back-emf per lever speed, V s/rad.
        emf_per_rad_s,
        per_loop_ohm,
        /// What is left of the distance to the settled current after the step; above 1: the bridge is off.
        decay,
        resistance_ohm,
        /// Step length over inductance, s/H.
        dt_per_h,
        /// Motor torque at the lever per ampere, N m/A.
        nm_per_a,
    }
}

/// Stands in for the decay factor, which is below 1, when the bridge is off.
const OFF: f64 = 2.0;
/// exp(−this) is nothing beside 1.
const DECAYED: f64 = 100.0;

impl Applied {
    /// 1 over the loop's resistance, and what is left of the distance to the settled current after a step.
    #[inline(always)]
    fn decay(&self) -> (f64, f64) {
        let [left] = lanes::exp([-smaller(self.dt_per_h * self.loop_ohm, DECAYED)]);
        (1.0 / self.loop_ohm, if self.loop_ohm < f64::INFINITY { left } else { OFF })
    }

    #[inline(always)]
    pub(super) fn hold(&self) -> Hold {
        self.hold_with(self.decay())
    }

    #[inline(always)]
    fn hold_with(&self, (per_loop_ohm, decay): (f64, f64)) -> Hold {
        Hold {
            volts: self.volts,
            emf_per_rad_s: self.emf_per_rad_s,
            per_loop_ohm,
            decay,
            resistance_ohm: self.resistance_ohm,
            dt_per_h: self.dt_per_h,
            nm_per_a: self.nm_per_a,
        }
    }
}

impl Hold {
    /// Current after the step, A, with the back-emf held.
    #[inline(always)]
    pub(super) fn current_after(&self, current: f64, lever_rad_s: f64) -> f64 {
        let settled = (self.volts - self.emf_per_rad_s * lever_rad_s) * self.per_loop_ohm;
        let driven = settled + (current - settled) * self.decay;
        let fall = (self.volts + self.resistance_ohm * current.abs()) * self.dt_per_h;
        let dying = if current.abs() <= fall { 0.0 } else { current - fall.copysign(current) };
        if self.decay >= OFF { dying } else { driven }
    }
}

impl Winding {
    pub(super) fn new(motor: &MotorParams) -> Self {
        Self {
            resistance_ohm: motor.resistance_ohm,
            torque_constant: motor.torque_constant_nm_per_a,
            decay: (0.0, 0.0),
            loop_ohm: 0.0,
            dt: 0.0,
        }
    }

    /// Takes resistance and torque constant to a winding temperature.
    pub(super) fn set_temperature(&mut self, motor: &MotorParams, winding_c: f64) {
        let Some(heat) = &motor.heat else { return };
        let rise = winding_c - REFERENCE_C;
        self.resistance_ohm = motor.resistance_ohm * (1.0 + heat.copper_per_k * rise);
        self.torque_constant = motor.torque_constant_nm_per_a * (1.0 + heat.magnet_per_k * rise);
    }

    pub(super) fn resistance_ohm(&self) -> f64 {
        self.resistance_ohm
    }

    /// What this drive puts on the winding.
    #[inline]
    pub(super) fn applied(&self, params: &ActuatorParams, drive: WindingDrive, dt: f64) -> Applied {
        let (volts, outside_ohm) = match drive {
            WindingDrive::Volts(volts) => (volts, 0.0),
            WindingDrive::Bridge { duty, supply_v } => {
                let duty = past_dead_band(duty, params.bridge.dead_band);
                (duty * supply_v, outside_resistance(&params.bridge, duty))
            }
            WindingDrive::Off { supply_v } => (supply_v + DIODES_V, f64::INFINITY),
        };
        let nm_per_a = params.gear.ratio * self.torque_constant;
        Applied {
            volts,
            emf_per_rad_s: nm_per_a,
            loop_ohm: self.resistance_ohm + outside_ohm,
            resistance_ohm: self.resistance_ohm,
            dt_per_h: dt / params.motor.inductance_h,
            nm_per_a,
        }
    }

    /// What this drive does to the winding over a step of `dt` s.
    #[inline]
    pub(super) fn hold(&mut self, params: &ActuatorParams, drive: WindingDrive, dt: f64) -> Hold {
        let applied = self.applied(params, drive, dt);
        if applied.loop_ohm != self.loop_ohm || dt != self.dt {
            (self.loop_ohm, self.dt) = (applied.loop_ohm, dt);
            self.decay = applied.decay();
        }
        applied.hold_with(self.decay)
    }
}

/// Duty that is left of the commanded one after dead time.
#[inline]
pub(super) fn past_dead_band(duty: f64, dead_band: f64) -> f64 {
    let left = (duty.abs() - dead_band).max(0.0);
    left.copysign(duty)
}

/// Switches plus the source seen through the bridge: the supply carries duty × current, and its sag
/// reaches the winding times duty once more.
#[inline]
fn outside_resistance(bridge: &BridgeParams, duty: f64) -> f64 {
    bridge.switch_resistance_ohm + bridge.source_resistance_ohm * duty * duty
}

/// Voltage at the controller's supply connector, V.
#[must_use]
pub(crate) fn supply_at_connector(bridge: &BridgeParams, drive: WindingDrive, current_a: f64) -> f64 {
    match drive {
        WindingDrive::Volts(volts) => volts,
        WindingDrive::Bridge { duty, supply_v } => {
            supply_v - bridge.source_resistance_ohm * past_dead_band(duty, bridge.dead_band) * current_a
        }
        WindingDrive::Off { supply_v } => supply_v,
    }
}
