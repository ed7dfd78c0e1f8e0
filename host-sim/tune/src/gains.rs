//! A PID controller in parallel form.

/// PID in parallel form: output = proportional × (error + integral ÷ integral time + …).
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, schemars::JsonSchema)]
pub struct Gains {
    /// Output per error.
    pub proportional: f64,
    /// s.
    pub integral_time_s: f64,
    /// s; 0 for PI.
    pub derivative_time_s: f64,
    /// Time constant of the derivative's filter, s.
    pub derivative_filter_s: f64,
}

impl Gains {
    /// PI.
    #[must_use]
    pub fn pi(proportional: f64, integral_time_s: f64) -> Self {
        Self { proportional, integral_time_s, derivative_time_s: 0.0, derivative_filter_s: 0.0 }
    }

    /// The parallel form of the series form in which SIMC states its PID.
    #[must_use]
    pub fn from_series(proportional: f64, integral_time_s: f64, derivative_time_s: f64) -> Self {
        let factor = 1.0 + derivative_time_s / integral_time_s;
        Self {
            proportional: proportional * factor,
            integral_time_s: integral_time_s * factor,
            derivative_time_s: derivative_time_s / factor,
            derivative_filter_s: 0.0,
        }
    }
}
