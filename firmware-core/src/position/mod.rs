//! Wanted and measured opening in, motor volts out.
//!
//! The wanted opening is approached along a path that the motor can follow ([`mod@reference`]); back-EMF,
//! inertia and sliding friction of that path are fed forward, a PID in volts (so that a low battery
//! takes reserve, not gain) does the rest. A vane that has stood still inside the rest band is left alone
//! ([`rest`]): stiction holds it and no limit cycle can start. A larger error ends the rest.

pub mod reference;
pub mod regulator;
mod rest;
pub mod speed;

use crate::settings::PositionSettings;
use reference::Reference;
use regulator::{Integral, OutputRange, Regulator, RegulatorGains};
use rest::Rest;

/// One tick's inputs of the loop.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Errand {
    /// Wanted opening.
    pub wanted: f32,
    /// Measured opening; beyond 0 and 1 the lever presses into a stop.
    pub measured: f32,
    /// Back-EMF for one opening per second, V.
    pub back_emf_v_per_opening_per_s: f32,
    /// Volts that may be asked for.
    pub range: OutputRange,
}

/// What the loop asks for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pull {
    /// Motor volts; positive opens.
    pub volts: f32,
    /// The vane rests where it is wanted.
    pub is_resting: bool,
}

/// Memory of the loop.
#[derive(Debug, Clone, Copy, Default)]
pub struct PositionLoop {
    regulator: Regulator,
    path: Option<Reference>,
    rest: Rest,
    stuck: Stuck,
}

/// Watches a vane that stands off its goal until it breaks away.
#[derive(Debug, Clone, Copy, Default)]
struct Stuck {
    /// Where the vane was, on a slow mean: a creeping one drags it along, one that breaks away leaves it.
    mean: f32,
    ticks: u16,
}

/// Time constant of that mean, ticks.
const MEAN_TICKS: f32 = 8.0;
/// Distance from the mean that tells a break-away from noise and creep, opening: six counts of the bench
/// actuator's sensor, 0.075 opening/s.
const BREAK_AWAY_TRAVEL: f32 = 6.0e-4;
/// Ticks without it after which a vane counts as stuck.
const STUCK_TICKS: u16 = 15;

impl Stuck {
    /// True in the tick in which a stuck vane breaks away toward a goal in the direction of `error`.
    fn breaks_away(&mut self, measured: f32, error: f32) -> bool {
        let moved = measured - self.mean;
        self.mean += moved / MEAN_TICKS;
        if libm::fabsf(moved) <= BREAK_AWAY_TRAVEL {
            self.ticks = self.ticks.saturating_add(1);
            return false;
        }
        let was_stuck = self.ticks >= STUCK_TICKS;
        self.ticks = 0;
        was_stuck && moved * error > 0.0
    }
}

impl PositionLoop {
    /// One tick.
    pub fn tick(&mut self, settings: &PositionSettings, errand: &Errand) -> Pull {
        let path = self.path.unwrap_or(Reference::at_rest(errand.measured)).toward(settings, errand.wanted);
        self.path = Some(path);
        let error = path.opening - errand.measured;
        if let Some(volts) = self.rest.tick(settings, path, error) {
            return Pull { volts: errand.range.hold(volts), is_resting: true };
        }
        if self.stuck.breaks_away(errand.measured, error) && path.is_at_rest() {
            // Sliding takes less than sticking: without this the rest of the integral overshoots.
            let spare = libm::copysignf(settings.break_away_v, error);
            self.regulator.preset(self.regulator.integral() - spare);
        }
        let ahead = feed_forward(settings, errand, path);
        let room = OutputRange { low: errand.range.low - ahead, high: errand.range.high - ahead };
        let gains = RegulatorGains {
            proportional: settings.gain_v,
            integral_time_s: settings.integral_time_s,
            derivative_time_s: settings.derivative_time_s,
            derivative_filter_s: settings.derivative_filter_s,
        };
        let integral = self.integral(settings, error);
        let volts = ahead
            + self.regulator.tick_with_slope(
                &gains,
                path.opening,
                errand.measured,
                path.per_s,
                room,
                integral,
            );
        self.rest.settle(settings, volts);
        Pull { volts, is_resting: false }
    }

    fn integral(&self, settings: &PositionSettings, error: f32) -> Integral {
        let is_full = libm::fabsf(self.regulator.integral()) >= settings.integral_max_v;
        let would_grow = self.regulator.integral() * error > 0.0;
        if self.rest.is_inside() || (would_grow && is_full) { Integral::Holds } else { Integral::Runs }
    }

    /// Forgets everything.
    pub fn reset(&mut self) {
        *self = Self::default();
    }
}

/// Volts for the path's speed, acceleration and friction.
fn feed_forward(settings: &PositionSettings, errand: &Errand, path: Reference) -> f32 {
    let direction = path.per_s / (libm::fabsf(path.per_s) + FRICTION_SPEED);
    path.per_s * errand.back_emf_v_per_opening_per_s
        + path.per_s2 * settings.inertia_v_s2
        + direction * settings.sliding_friction_v
}

/// Speed at which half of the sliding friction is fed forward, opening/s: no jump of duty at a reversal.
const FRICTION_SPEED: f32 = 0.05;

#[cfg(test)]
mod tests;
