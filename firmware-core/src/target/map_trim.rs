//! The map with a trim: feed-forward by engine speed and load, and a PID on boost error whose gain follows engine speed.

use crate::position::regulator::{Integral, OutputRange, Regulator, RegulatorGains};
use crate::settings::{TargetSettings, TrimSettings};

use super::law::{Aim, Forward, Law};

/// Memory of the law.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct MapTrim {
    trim: Regulator,
}

/// Filter of the trim's derivative, s: a twentieth of the air path's time constant.
const DERIVATIVE_FILTER_S: f32 = 0.03;

#[inline(always)]
fn gains(trim: &TrimSettings, aim: &Aim<'_>) -> RegulatorGains {
    RegulatorGains {
        // Closing raises boost: the gain is negative.
        proportional: -trim.gain_per_kpa * aim.gain_factor,
        integral_time_s: trim.integral_time_s,
        derivative_time_s: trim.derivative_time_s,
        derivative_filter_s: DERIVATIVE_FILTER_S,
    }
}

impl Law for MapTrim {
    #[inline(always)]
    fn forward(&mut self, settings: &TargetSettings, aim: &Aim<'_>) -> Forward {
        let authority = settings.trim.authority;
        Forward { opening: aim.feed_forward, closes: authority, opens: authority }
    }

    #[inline(always)]
    fn start(&mut self, settings: &TargetSettings, aim: &Aim<'_>, correction: f32) {
        let error = aim.target - aim.boost;
        self.trim.reset();
        self.trim.preset(correction - gains(&settings.trim, aim).proportional * error);
    }

    #[inline(always)]
    fn tick(&mut self, settings: &TargetSettings, aim: &Aim<'_>, range: OutputRange) -> f32 {
        let trim = &settings.trim;
        let is_still = libm::fabsf(aim.target - aim.boost) <= trim.still_kpa;
        let integral = if is_still { Integral::Holds } else { Integral::Runs };
        self.trim.tick(&gains(trim, aim), aim.target, aim.boost, range, integral)
    }
}
