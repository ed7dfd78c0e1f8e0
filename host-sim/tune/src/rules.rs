//! Published tuning rules, and the controller settings that follow.
//!
//! SIMC: S. Skogestad, "Simple analytic rules for model reduction and PID controller tuning", J. Process
//! Control 13 (2003) 291–309, table 1. Relay: K. J. Åström and T. Hägglund, "Automatic tuning of simple
//! regulators with specifications on phase and amplitude margins", Automatica 20 (1984) 645–651, with the
//! gains that Ziegler and Nichols (1942) give for the ultimate gain and period.

use firmware_core::settings::Settings;

use super::gains::Gains;
use super::identify::Identified;
use super::process::Process;
use super::relay::relay_cycle;

/// A rule.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Rule {
    /// SIMC with a chosen closed-loop time constant.
    Simc {
        /// τc, s: larger is gentler.
        closed_loop_s: f64,
    },
    /// Relay feedback on the identified model: ultimate gain and period, then Ziegler–Nichols.
    Relay,
}

/// Derivative filter as a share of the derivative time: a third keeps noise out and most of the phase in.
const FILTER_SHARE: f64 = 0.3;

impl Rule {
    /// The gains for a process.
    #[must_use]
    pub fn gains(self, process: &Process) -> Gains {
        let mut gains = match self {
            Self::Simc { closed_loop_s } => simc(process, closed_loop_s),
            Self::Relay => relay(process),
        };
        gains.derivative_filter_s = FILTER_SHARE * gains.derivative_time_s;
        gains
    }
}

fn simc(process: &Process, closed_loop_s: f64) -> Gains {
    match *process {
        Process::Integrating { gain_per_s, time_constant_s, dead_time_s } => {
            let reach = closed_loop_s + dead_time_s;
            Gains::from_series(1.0 / (gain_per_s * reach), 4.0 * reach, time_constant_s)
        }
        Process::FirstOrder { gain, time_constant_s, dead_time_s } => {
            let reach = closed_loop_s + dead_time_s;
            Gains::pi(time_constant_s / (gain * reach), time_constant_s.min(4.0 * reach))
        }
    }
}

fn relay(process: &Process) -> Gains {
    let cycle = relay_cycle(process, 1.0);
    Gains {
        proportional: 0.6 * cycle.ultimate_gain,
        integral_time_s: 0.5 * cycle.period_s,
        derivative_time_s: 0.125 * cycle.period_s,
        derivative_filter_s: 0.0,
    }
}

/// Settings with the position loop tuned to an identified actuator; the rest stays as it is.
///
/// # Errors
/// When the rule's gains lie outside what the controller allows.
pub fn tuned_settings(
    base: &Settings,
    found: &Identified,
    gains: &Gains,
) -> Result<Settings, firmware_core::settings::SettingError> {
    let mut settings = *base;
    let position = &mut settings.position;
    position.gain_v = gains.proportional as f32;
    position.integral_time_s = gains.integral_time_s as f32;
    position.derivative_time_s = gains.derivative_time_s as f32;
    position.derivative_filter_s = (gains.derivative_filter_s as f32).max(0.001);
    position.sliding_friction_v = found.friction_v as f32;
    position.inertia_v_s2 = (found.time_constant_s / found.gain_per_s_v) as f32;
    settings.validate()?;
    Ok(settings)
}
