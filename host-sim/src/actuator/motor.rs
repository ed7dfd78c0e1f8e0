//! Winding, bridge and winding heat.
//!
//! In: what the bridge does, the lever's speed, a step length. Out: the current at the end of the step.
//! The winding equation is solved exactly over the step with the back-emf held, so no step is too long.

use super::params::{ActuatorParams, BridgeParams, MotorParams, REFERENCE_C};

/// What is put on the winding during a step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Drive {
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
    loop_resistance_ohm: f64,
    decay: f64,
    decay_dt: f64,
}

impl Winding {
    pub(super) fn new(motor: &MotorParams) -> Self {
        Self {
            resistance_ohm: motor.resistance_ohm,
            torque_constant: motor.torque_constant_nm_per_a,
            loop_resistance_ohm: 0.0,
            decay: 0.0,
            decay_dt: 0.0,
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

    /// Current after `dt`, A. `emf_v` is the back-emf held over the step.
    #[inline]
    pub(super) fn step(
        &mut self,
        params: &ActuatorParams,
        current: f64,
        drive: Drive,
        emf_v: f64,
        dt: f64,
    ) -> f64 {
        match drive {
            Drive::Volts(volts) => self.driven(&params.motor, 0.0, current, volts - emf_v, dt),
            Drive::Bridge { duty, supply_v } => {
                let duty = past_dead_band(duty, params.bridge.dead_band);
                let outside = outside_resistance(&params.bridge, duty);
                self.driven(&params.motor, outside, current, duty * supply_v - emf_v, dt)
            }
            Drive::Off { supply_v } => {
                let opposing = supply_v + DIODES_V + self.resistance_ohm * current.abs();
                let fall = dt * opposing / params.motor.inductance_h;
                if current.abs() <= fall { 0.0 } else { current - fall.copysign(current) }
            }
        }
    }

    #[inline]
    fn driven(&mut self, motor: &MotorParams, outside_ohm: f64, current: f64, volts: f64, dt: f64) -> f64 {
        let loop_ohm = self.resistance_ohm + outside_ohm;
        if loop_ohm != self.loop_resistance_ohm || dt != self.decay_dt {
            self.loop_resistance_ohm = loop_ohm;
            self.decay_dt = dt;
            self.decay = libm::exp(-dt * loop_ohm / motor.inductance_h);
        }
        let settled = volts / loop_ohm;
        settled + (current - settled) * self.decay
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
pub fn supply_at_connector(bridge: &BridgeParams, drive: Drive, current_a: f64) -> f64 {
    match drive {
        Drive::Volts(volts) => volts,
        Drive::Bridge { duty, supply_v } => {
            supply_v - bridge.source_resistance_ohm * past_dead_band(duty, bridge.dead_band) * current_a
        }
        Drive::Off { supply_v } => supply_v,
    }
}
