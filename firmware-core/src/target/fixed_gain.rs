//! The law `fixed-gain`: a PI on boost error with one gain everywhere, from the least opening up.

use crate::position::regulator::{OutputRange, Regulator, RegulatorGains};
use crate::settings::{FixedGainSettings, TargetSettings};
use crate::units::larger;

use super::law::{Aim, Forward, Law};
use super::trim::{begin, unless_still};

/// Memory of the law.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct FixedGain {
    regulator: Regulator,
}

fn gains(settings: &FixedGainSettings) -> RegulatorGains {
    RegulatorGains {
        // Closing raises boost: the gain is negative.
        proportional: -settings.gain_per_kpa,
        integral_time_s: settings.integral_time_s,
        derivative_time_s: 0.0,
        derivative_filter_s: 0.0,
    }
}

impl Law for FixedGain {
    /// The least opening. Without a turbo speed sensor nothing shows boost that reads low: then no lower than a trim may
    /// close from the map.
    #[inline(never)]
    fn forward(&mut self, settings: &TargetSettings, aim: &Aim<'_>) -> Forward {
        let opening = if aim.air.turbo_speed.is_some() {
            aim.minimum
        } else {
            larger(aim.minimum, aim.feed_forward - settings.trim.unseen_authority)
        };
        Forward { opening, closes: 0.0, opens: 1.0 }
    }

    #[inline(never)]
    fn start(&mut self, settings: &TargetSettings, aim: &Aim<'_>, correction: f32) {
        begin(&mut self.regulator, &gains(&settings.fixed_gain), aim, correction);
    }

    #[inline(never)]
    fn tick(&mut self, settings: &TargetSettings, aim: &Aim<'_>, range: OutputRange) -> f32 {
        let integral = unless_still(&settings.trim, aim);
        self.regulator.tick(&gains(&settings.fixed_gain), aim.target, aim.boost, range, integral)
    }
}
