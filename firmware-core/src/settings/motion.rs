//! How fast the vanes are led, how the position loop holds them, and what the winding may take.

use serde::{Deserialize, Serialize};

use super::table::{AllowedRange, OnWire, WireField, section};
use crate::units::{Ampere, Duty};

section! {
    /// Rates of the wanted opening.
    pub struct SlewSettings as it {
        /// Normal rate, opening/s; higher follows boost error sooner.
        normal_per_s: f32 = 5.0, from 0.1, to 50.0;
        /// Protective rate when the guard opens, opening/s.
        protective_per_s: f32 = 20.0, from it.normal_per_s, to 100.0;
        /// Change of the wanted opening that is not followed; sensor noise then wears no vane.
        still_band: f32 = 0.003, from 0.0, to 0.05;
    }
}

section! {
    /// The position loop. Gains are in volts, so that a low battery changes nothing but the reserve.
    pub struct PositionSettings {
        /// Volts for each unit of opening error: SIMC on the bench actuator with a closed-loop time of 12
        /// ms, as the times below.
        gain_v: f32 = 95.0, from 0.0, to 2000.0;
        /// Integral time, s.
        integral_time_s: f32 = 0.067, from 0.005, to 10.0;
        /// Derivative time, s.
        derivative_time_s: f32 = 0.009, from 0.0, to 1.0;
        /// Time constant of the derivative's filter, s.
        derivative_filter_s: f32 = 0.003, from 0.001, to 0.1;
        /// Largest volts of the integral.
        integral_max_v: f32 = 4.0, from 0.1, to 30.0;
        /// Natural rate of the path to a new opening, 1/s; a small step takes 3.51 times its inverse to 86
        /// %.
        path_rate_per_s: f32 = 55.0, from 5.0, to 500.0;
        /// Fastest path, opening/s.
        path_speed_per_s: f32 = 7.0, from 0.1, to 50.0;
        /// Strongest acceleration of the path, opening/s².
        path_acceleration_per_s2: f32 = 300.0, from 1.0, to 5000.0;
        /// Volts for one opening/s² of acceleration (5.32e-3 kg m² at the lever, 1.6 Ω over 0.864 N m/A, 70°
        /// of travel).
        inertia_v_s2: f32 = 0.012, from 0.0, to 1.0;
        /// Error within which a vane at rest is left alone, opening.
        rest_band: f32 = 0.0015, from 0.0002, to 0.05;
        /// Error that ends the rest, as a multiple of the rest band: a ring loaded near its break-away
        /// creeps on for seconds, and less would wake it for that.
        wake_factor: f32 = 2.0, from 1.1, to 10.0;
        /// Ticks that the vane must stand still within the band before it rests: still is a third of the
        /// band, so that one creeping at more than 1.3 % of travel in a second is not let go.
        rest_ticks: u16 = 40, from 1.0, to 1000.0;
        /// Volts that overcome sliding friction while the wanted opening moves (0.18 N m over 0.0180 N m/A,
        /// gear 48 and 1.6 Ω).
        sliding_friction_v: f32 = 0.33, from 0.0, to 6.0;
        /// Volts by which sticking exceeds sliding, taken back at break-away (0.26 against 0.18 N m).
        break_away_v: f32 = 0.15, from 0.0, to 6.0;
        /// Volts that hold the vane while its position is lost.
        blind_open_v: f32 = 2.0, from 0.0, to 12.0;
    }
}

section! {
    /// What no command may pass: heat, stall, end stops. Largest current and duty stand with the actuator.
    pub struct LimitSettings as it {
        /// Current that the winding can take for ever, A.
        continuous_current: Ampere = Ampere(1.2), from 0.05, to 30.0;
        /// Thermal time constant of the winding, s.
        heat_time_s: f32 = 20.0, from 0.5, to 1000.0;
        /// Current that counts as a push when nothing moves, A.
        stall_current: Ampere = Ampere(0.8), from 0.05, to 30.0;
        /// Travel that ends a stall, counts.
        stall_travel_counts: f32 = 20.0, from 2.0, to 2000.0;
        /// Time that a push may last without travel, ticks.
        stall_ticks: u16 = 2500, from 50.0, to 20_000.0;
        /// Current that is left to a stalled drive, A.
        stalled_current: Ampere = Ampere(0.6), from 0.0, to it.continuous_current.0;
        /// Length of a break-away pulse past the stall limit, ticks.
        break_away_ticks: u16 = 60, from 0.0, to 1000.0;
        /// Pause between break-away pulses, ticks.
        break_away_pause_ticks: u16 = 240, from 10.0, to 10_000.0;
        /// Largest duty that pushes into a learned end stop.
        end_stop_duty: Duty = Duty::saturating(0.15, Duty::ZERO), from 0.0, to 1.0;
        /// Gain of the current loop on the rest that feed-forward leaves, volts per ampere and tick, as a fraction
        /// of the winding resistance.
        current_loop_gain: f32 = 0.2, from 0.0, to 1.0;
    }
}
