//! Wanted and measured opening in, motor volts out.
//!
//! PID in volts (so a low battery changes only the reserve), with the back-EMF of the wanted speed and
//! the sliding friction in its direction fed forward. A vane that has stood inside the rest band is
//! left alone: the volts stand still, so stiction holds it and no limit cycle can start. An error
//! larger than the wake band ends the rest.

pub mod regulator;
pub mod speed;

use crate::settings::PositionSettings;
use regulator::{Gains, Integral, OutputRange, Regulator};

/// One tick's inputs of the loop.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Errand {
    /// Wanted opening.
    pub setpoint: f32,
    /// Measured opening; beyond 0 and 1 the lever presses into a stop.
    pub measured: f32,
    /// Back-EMF for one opening per second, V.
    pub back_emf_v_per_opening_per_s: f32,
    /// Volts that may be asked for.
    pub range: OutputRange,
}

/// Memory of the loop.
#[derive(Debug, Clone, Copy, Default)]
pub struct PositionLoop {
    regulator: Regulator,
    last_setpoint: Option<f32>,
    in_band: u16,
    /// Volts that stand while the vane rests.
    resting: Option<f32>,
}

impl PositionLoop {
    /// Motor volts for this tick; positive opens.
    pub fn tick(&mut self, settings: &PositionSettings, errand: &Errand) -> f32 {
        let error = errand.setpoint - errand.measured;
        let moved = self.last_setpoint.map_or(0.0, |last| errand.setpoint - last);
        self.last_setpoint = Some(errand.setpoint);
        if let Some(volts) = self.rest(settings, error, moved) {
            return errand.range.hold(volts);
        }
        let gains = Gains {
            proportional: settings.gain_v,
            integral_time_s: settings.integral_time_s,
            derivative_time_s: settings.derivative_time_s,
            derivative_filter_s: settings.derivative_filter_s,
        };
        let ahead = self.ahead(settings, errand, error, moved);
        let room = OutputRange { low: errand.range.low - ahead, high: errand.range.high - ahead };
        let integral = self.integral(settings, error);
        let volts = self.regulator.tick(&gains, errand.setpoint, errand.measured, room, integral) + ahead;
        if self.in_band >= settings.rest_ticks {
            self.resting = Some(volts);
        }
        volts
    }

    /// The standing volts, while the vane may be left alone.
    fn rest(&mut self, settings: &PositionSettings, error: f32, moved: f32) -> Option<f32> {
        let size = libm::fabsf(error);
        let is_inside = size <= settings.rest_band && moved == 0.0;
        self.in_band = if is_inside { self.in_band.saturating_add(1) } else { 0 };
        if moved != 0.0 || size > settings.rest_band * settings.wake_factor {
            self.resting = None;
        }
        self.resting
    }

    /// Volts fed forward: back-EMF of the wanted speed and the friction against it.
    fn ahead(&self, settings: &PositionSettings, errand: &Errand, error: f32, moved: f32) -> f32 {
        let wanted_per_s = moved / crate::units::TICK_SECONDS;
        let friction = if moved > 0.0 {
            settings.sliding_friction_v
        } else if moved < 0.0 {
            -settings.sliding_friction_v
        } else if libm::fabsf(error) > settings.rest_band {
            libm::copysignf(settings.break_away_v, error)
        } else {
            0.0
        };
        wanted_per_s * errand.back_emf_v_per_opening_per_s + friction
    }

    fn integral(&self, settings: &PositionSettings, error: f32) -> Integral {
        let would_grow = self.regulator.integral() * error > 0.0;
        let is_full = libm::fabsf(self.regulator.integral()) >= settings.integral_max_v;
        if libm::fabsf(error) <= settings.rest_band || (would_grow && is_full) {
            Integral::Holds
        } else {
            Integral::Runs
        }
    }

    /// Forgets everything.
    pub fn reset(&mut self) {
        *self = Self::default();
    }
}
