//! Frequency response of a loop: gain margin, phase margin and the peak of the sensitivity.

use super::gains::Gains;
use super::process::Process;

/// A controller around a process.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Loop {
    /// Process.
    pub process: Process,
    /// Controller.
    pub gains: Gains,
}

/// How far a loop is from ringing.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, schemars::JsonSchema)]
pub struct Margins {
    /// Factor by which the gain may grow; infinite when the phase never reaches −180°.
    pub gain: f64,
    /// Phase that may be lost at the crossover, degrees.
    pub phase_deg: f64,
    /// Largest sensitivity, |1/(1 + L)|.
    pub sensitivity: f64,
    /// Frequency at which the loop's gain passes 1, rad/s.
    pub crossover_rad_s: f64,
}

/// Points over the whole range of frequencies; margins are interpolated between them.
const POINTS: usize = 40_000;

impl Loop {
    /// Gain and phase (rad) of the open loop.
    fn at(&self, omega: f64) -> (f64, f64) {
        let g = &self.gains;
        let (gain, phase) = self.process.at(omega);
        // Parallel form with a filtered derivative: 1 − j/(ωτi) + jωτd/(1 + jωτf).
        let filter = omega * g.derivative_filter_s;
        let derivative = omega * g.derivative_time_s / (1.0 + filter * filter);
        let re = 1.0 + derivative * filter;
        let im = derivative - 1.0 / (omega * g.integral_time_s);
        (gain * g.proportional.abs() * re.hypot(im), phase + im.atan2(re))
    }

    /// The margins; nothing when the loop's gain never passes 1.
    #[must_use]
    pub fn margins(&self) -> Option<Margins> {
        // Dead time sets the scale: five decades around its inverse.
        let dead = self.process.dead_time_s().max(1e-4);
        let frequency = |index: usize| 10f64.powf(-3.5 + 5.0 * index as f64 / POINTS as f64) / dead;
        let mut last = (frequency(0), self.at(frequency(0)));
        let (mut gain, mut phase, mut sensitivity) = (f64::INFINITY, None, 1.0_f64);
        for index in 1..=POINTS {
            let omega = frequency(index);
            let (size, angle) = self.at(omega);
            let (_, (last_size, last_angle)) = last;
            if last_size >= 1.0 && size < 1.0 {
                let part = last_size.ln() / (last_size / size).ln();
                let crossed = last_angle + part * (angle - last_angle);
                phase = Some((180.0 + crossed.to_degrees(), last.0 + part * (omega - last.0)));
            }
            let half_turn = -core::f64::consts::PI;
            if gain.is_infinite() && last_angle >= half_turn && angle < half_turn {
                let part = (last_angle - half_turn) / (last_angle - angle);
                gain = 1.0 / (last_size + part * (size - last_size));
            }
            let (re, im) = (1.0 + size * angle.cos(), size * angle.sin());
            sensitivity = sensitivity.max(1.0 / re.hypot(im));
            last = (omega, (size, angle));
        }
        let (phase_deg, crossover_rad_s) = phase?;
        Some(Margins { gain, phase_deg, sensitivity, crossover_rad_s })
    }
}
