//! How fast the vanes are led, how the position loop holds them, and what the winding may take.

use serde::{Deserialize, Serialize};

use super::{SettingError, check};
use crate::units::{Ampere, Duty};

/// Rates of the wanted opening.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(default, deny_unknown_fields)]
pub struct SlewSettings {
    /// Normal rate, opening/s, 0.1 to 50. Default 5; higher follows boost error sooner.
    pub normal_per_s: f32,
    /// Protective rate when the guard opens, opening/s, 0.1 to 100. Default 20; never below the normal rate.
    pub protective_per_s: f32,
    /// Change of the wanted opening that is not followed, 0 to 0.05. Default 0.003; sensor noise then wears
    /// no vane.
    pub still_band: f32,
}

impl SlewSettings {
    /// The defaults.
    pub const DEFAULT: Self = Self { normal_per_s: 5.0, protective_per_s: 20.0, still_band: 0.003 };
}

impl Default for SlewSettings {
    fn default() -> Self {
        Self::DEFAULT
    }
}

impl SlewSettings {
    #[inline]
    pub(super) fn validate(&self) -> Result<(), SettingError> {
        check("slew.normal_per_s", self.normal_per_s, 0.1, 50.0)?;
        check("slew.protective_per_s", self.protective_per_s, self.normal_per_s, 100.0)?;
        check("slew.still_band", self.still_band, 0.0, 0.05)
    }
}

/// The position loop. Gains are in volts, so that a low battery changes nothing but the reserve.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(default, deny_unknown_fields)]
pub struct PositionSettings {
    /// Volts for each unit of opening error, 0 to 2000. Default 95: SIMC on
    /// the bench actuator with a closed-loop time of 12 ms, as the times below.
    pub gain_v: f32,
    /// Integral time, s, 0.005 to 10. Default 0.067.
    pub integral_time_s: f32,
    /// Derivative time, s, 0 to 1. Default 0.009.
    pub derivative_time_s: f32,
    /// Time constant of the derivative's filter, s, 0.001 to 0.1. Default 0.003.
    pub derivative_filter_s: f32,
    /// Largest volts of the integral, 0.1 to 30. Default 4.
    pub integral_max_v: f32,
    /// Natural rate of the path to a new opening, 1/s, 5 to 500. Default 55; a small step takes 3.51
    /// times its inverse to 86 %.
    pub path_rate_per_s: f32,
    /// Fastest path, opening/s, 0.1 to 50. Default 7.
    pub path_speed_per_s: f32,
    /// Strongest acceleration of the path, opening/s², 1 to 5000. Default 300.
    pub path_acceleration_per_s2: f32,
    /// Volts for one opening/s² of acceleration, 0 to 1. Default 0.012 (5.32e-3 kg m² at the lever, 1.6 Ω
    /// over 0.864 N m/A, 70° of travel).
    pub inertia_v_s2: f32,
    /// Error within which a vane at rest is left alone, opening, 0.0002 to 0.05. Default 0.0015.
    pub rest_band: f32,
    /// Error that ends the rest, as a multiple of the rest band, 1.1 to 10. Default 2: a ring loaded near its
    /// break-away creeps on for seconds, and less would wake it for that.
    pub wake_factor: f32,
    /// Ticks that the vane must stand still within the band before it rests, 1 to 1000. Default 40: still is
    /// a third of the band, so that one creeping at more than 1.3 % of travel in a second is not let go.
    pub rest_ticks: u16,
    /// Volts that overcome sliding friction while the wanted opening moves, 0 to 6. Default 0.33
    /// (0.18 N m over 0.0180 N m/A, gear 48 and 1.6 Ω).
    pub sliding_friction_v: f32,
    /// Volts by which sticking exceeds sliding, taken back at break-away, 0 to 6. Default 0.15 (0.26
    /// against 0.18 N m).
    pub break_away_v: f32,
    /// Volts that hold the vane while its position is lost, 0 to 12. Default 2.
    pub blind_open_v: f32,
}

impl PositionSettings {
    /// The defaults.
    pub const DEFAULT: Self = Self {
        gain_v: 95.0,
        integral_time_s: 0.067,
        derivative_time_s: 0.009,
        derivative_filter_s: 0.003,
        integral_max_v: 4.0,
        path_rate_per_s: 55.0,
        path_speed_per_s: 7.0,
        path_acceleration_per_s2: 300.0,
        inertia_v_s2: 0.012,
        rest_band: 0.0015,
        wake_factor: 2.0,
        rest_ticks: 40,
        sliding_friction_v: 0.33,
        break_away_v: 0.15,
        blind_open_v: 2.0,
    };
}

impl Default for PositionSettings {
    fn default() -> Self {
        Self::DEFAULT
    }
}

impl PositionSettings {
    #[inline]
    pub(super) fn validate(&self) -> Result<(), SettingError> {
        check("position.gain_v", self.gain_v, 0.0, 2000.0)?;
        check("position.integral_time_s", self.integral_time_s, 0.005, 10.0)?;
        check("position.derivative_time_s", self.derivative_time_s, 0.0, 1.0)?;
        check("position.derivative_filter_s", self.derivative_filter_s, 0.001, 0.1)?;
        check("position.integral_max_v", self.integral_max_v, 0.1, 30.0)?;
        check("position.path_rate_per_s", self.path_rate_per_s, 5.0, 500.0)?;
        check("position.path_speed_per_s", self.path_speed_per_s, 0.1, 50.0)?;
        check("position.path_acceleration_per_s2", self.path_acceleration_per_s2, 1.0, 5000.0)?;
        check("position.inertia_v_s2", self.inertia_v_s2, 0.0, 1.0)?;
        check("position.rest_band", self.rest_band, 0.0002, 0.05)?;
        check("position.wake_factor", self.wake_factor, 1.1, 10.0)?;
        check("position.rest_ticks", f32::from(self.rest_ticks), 1.0, 1000.0)?;
        check("position.sliding_friction_v", self.sliding_friction_v, 0.0, 6.0)?;
        check("position.break_away_v", self.break_away_v, 0.0, 6.0)?;
        check("position.blind_open_v", self.blind_open_v, 0.0, 12.0)
    }
}

/// What no command may pass: heat, stall, end stops. Largest current and duty stand with the actuator.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(default, deny_unknown_fields)]
pub struct LimitSettings {
    /// Current that the winding can take for ever, A, 0.05 to 30. Default 1.2.
    pub continuous_current: Ampere,
    /// Thermal time constant of the winding, s, 0.5 to 1000. Default 20.
    pub heat_time_s: f32,
    /// Current that counts as a push when nothing moves, A, 0.05 to 30. Default 0.8.
    pub stall_current: Ampere,
    /// Travel that ends a stall, counts, 2 to 2000. Default 20.
    pub stall_travel_counts: f32,
    /// Time that a push may last without travel, ticks, 50 to 20 000. Default 2500.
    pub stall_ticks: u16,
    /// Current that is left to a stalled drive, A, 0 to `continuous_current`. Default 0.6.
    pub stalled_current: Ampere,
    /// Length of a break-away pulse past the stall limit, ticks, 0 to 1000. Default 60.
    pub break_away_ticks: u16,
    /// Pause between break-away pulses, ticks, 10 to 10 000. Default 240.
    pub break_away_pause_ticks: u16,
    /// Largest duty that pushes into a learned end stop, 0 to 1. Default 0.15.
    pub end_stop_duty: Duty,
    /// Gain of the current loop on the rest that feed-forward leaves, volts per ampere and tick, as a
    /// fraction of the winding resistance, 0 to 1. Default 0.2.
    pub current_loop_gain: f32,
}

impl LimitSettings {
    /// The defaults.
    pub const DEFAULT: Self = Self {
        continuous_current: Ampere(1.2),
        heat_time_s: 20.0,
        stall_current: Ampere(0.8),
        stall_travel_counts: 20.0,
        stall_ticks: 2500,
        stalled_current: Ampere(0.6),
        break_away_ticks: 60,
        break_away_pause_ticks: 240,
        end_stop_duty: Duty::saturating(0.15, Duty::ZERO),
        current_loop_gain: 0.2,
    };
}

impl Default for LimitSettings {
    fn default() -> Self {
        Self::DEFAULT
    }
}

impl LimitSettings {
    #[inline]
    pub(super) fn validate(&self) -> Result<(), SettingError> {
        check("limits.continuous_current", self.continuous_current.0, 0.05, 30.0)?;
        check("limits.heat_time_s", self.heat_time_s, 0.5, 1000.0)?;
        check("limits.stall_current", self.stall_current.0, 0.05, 30.0)?;
        check("limits.stall_travel_counts", self.stall_travel_counts, 2.0, 2000.0)?;
        check("limits.stall_ticks", f32::from(self.stall_ticks), 50.0, 20_000.0)?;
        check("limits.stalled_current", self.stalled_current.0, 0.0, self.continuous_current.0)?;
        check("limits.break_away_ticks", f32::from(self.break_away_ticks), 0.0, 1000.0)?;
        check("limits.break_away_pause_ticks", f32::from(self.break_away_pause_ticks), 10.0, 10_000.0)?;
        check("limits.end_stop_duty", self.end_stop_duty.get(), 0.0, 1.0)?;
        check("limits.current_loop_gain", self.current_loop_gain, 0.0, 1.0)
    }
}
