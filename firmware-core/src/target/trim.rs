//! A PID on boost error whose gain follows engine speed: what corrects a feed-forward.

use crate::position::regulator::{Integral, OutputRange, Regulator, RegulatorGains};
use crate::settings::TrimSettings;

use super::law::Aim;

/// Memory of the trim.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Trim(Regulator);

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

impl Trim {
    /// Begins at this correction.
    #[inline(always)]
    pub(super) fn start(&mut self, settings: &TrimSettings, aim: &Aim<'_>, correction: f32) {
        begin(&mut self.0, &gains(settings, aim), aim, correction);
    }

    /// The correction in this tick.
    #[inline(always)]
    pub(super) fn tick(&mut self, settings: &TrimSettings, aim: &Aim<'_>, range: OutputRange) -> f32 {
        let integral = unless_still(settings, aim);
        self.0.tick(&gains(settings, aim), aim.target, aim.boost, range, integral)
    }
}

/// Presets a regulator so that its first output is this correction.
#[inline(always)]
pub(super) fn begin(regulator: &mut Regulator, gains: &RegulatorGains, aim: &Aim<'_>, correction: f32) {
    let error = aim.target - aim.boost;
    regulator.reset();
    regulator.preset(correction - gains.proportional * error);
}

/// The integral stands while boost error is small, so that the vanes come to rest.
#[inline(always)]
pub(super) fn unless_still(settings: &TrimSettings, aim: &Aim<'_>) -> Integral {
    let is_still = libm::fabsf(aim.target - aim.boost) <= settings.still_kpa;
    if is_still { Integral::Holds } else { Integral::Runs }
}
