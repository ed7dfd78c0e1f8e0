//! What is controlled: an integrating or a first-order process with dead time, in frequency and in time.

use std::collections::VecDeque;

/// What is controlled.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, schemars::JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Process {
    /// k′ e^(−θs) / (s (τs + 1)).
    Integrating {
        /// k′, output per second and input.
        gain_per_s: f64,
        /// τ, s; 0 for none.
        time_constant_s: f64,
        /// θ, s.
        dead_time_s: f64,
    },
    /// k e^(−θs) / (τs + 1).
    FirstOrder {
        /// k, output per input.
        gain: f64,
        /// τ, s.
        time_constant_s: f64,
        /// θ, s.
        dead_time_s: f64,
    },
}

impl Process {
    /// Gain and phase (rad) at a frequency.
    pub(super) fn at(&self, omega: f64) -> (f64, f64) {
        match *self {
            Self::Integrating { gain_per_s, time_constant_s, dead_time_s } => {
                let lag = omega * time_constant_s;
                let gain = gain_per_s / (omega * (1.0 + lag * lag).sqrt());
                (gain, -core::f64::consts::FRAC_PI_2 - lag.atan() - omega * dead_time_s)
            }
            Self::FirstOrder { gain, time_constant_s, dead_time_s } => {
                let lag = omega * time_constant_s;
                (gain.abs() / (1.0 + lag * lag).sqrt(), -lag.atan() - omega * dead_time_s)
            }
        }
    }

    /// Dead time, s.
    #[must_use]
    pub fn dead_time_s(&self) -> f64 {
        match *self {
            Self::Integrating { dead_time_s, .. } | Self::FirstOrder { dead_time_s, .. } => dead_time_s,
        }
    }
}

/// A process in time, with its dead time.
pub(super) struct ProcessInTime {
    delayed: VecDeque<f64>,
    dt: f64,
    process: Process,
    speed: f64,
    output: f64,
}

impl ProcessInTime {
    pub(super) fn new(process: &Process, dt: f64) -> Self {
        let steps = (process.dead_time_s() / dt).round() as usize;
        Self { delayed: VecDeque::from(vec![0.0; steps]), dt, process: *process, speed: 0.0, output: 0.0 }
    }

    /// Exact for an input that stands during the step.
    pub(super) fn step(&mut self, input: f64) -> f64 {
        self.delayed.push_back(input);
        let input = self.delayed.pop_front().unwrap_or(input);
        match self.process {
            Process::FirstOrder { gain, time_constant_s, .. } => {
                let keep = libm::exp(-self.dt / time_constant_s);
                self.output = gain * input + (self.output - gain * input) * keep;
            }
            Process::Integrating { gain_per_s, time_constant_s, .. } => {
                let goal = gain_per_s * input;
                let keep = if time_constant_s > 0.0 { libm::exp(-self.dt / time_constant_s) } else { 0.0 };
                let next = goal + (self.speed - goal) * keep;
                self.output += goal * self.dt - time_constant_s * (next - self.speed);
                self.speed = next;
            }
        }
        self.output
    }
}
