//! When a vane may be left alone, and with how many volts.
//!
//! In: the path, the error and the volts that the loop asks for. Out: the volts that hold a vane at rest. It
//! rests once it has stood still inside the rest band, for one that still creeps is not held by its friction.
//! The mean of the loop's volts stays on, for a single tick's are half noise, and with it a soft pull on the
//! error without noise: too weak to move a vane that sticks, enough where nothing else holds the lever, in
//! the play of a worn joint. A larger error ends the rest.

use super::reference::Reference;
use crate::settings::PositionSettings;

/// Memory of the rest.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Rest {
    /// Error without the sensor's noise.
    quiet_error: f32,
    /// Volts without what the noise makes of them.
    quiet_volts: f32,
    /// Quiet error at which the stand began.
    anchor: f32,
    still_ticks: u16,
    is_inside: bool,
    standing: Option<f32>,
}

/// Time constant of the filters, ticks.
const QUIET_TICKS: f32 = 8.0;
/// Share of the rest band that a vane which stands still may move.
const STILL_SHARE: f32 = 1.0 / 3.0;
/// Share of the loop's gain that stays on in a rest, on the quiet error.
const HOLD_SHARE: f32 = 0.3;

impl Rest {
    /// The standing volts, while the vane may be left alone.
    pub(super) fn tick(&mut self, settings: &PositionSettings, path: Reference, error: f32) -> Option<f32> {
        self.quiet_error += (error - self.quiet_error) / QUIET_TICKS;
        let size = libm::fabsf(self.quiet_error);
        self.is_inside = path.is_at_rest() && size <= settings.rest_band;
        if !path.is_at_rest() || size > settings.rest_band * settings.wake_factor {
            self.standing = None;
        }
        let moved = libm::fabsf(self.quiet_error - self.anchor);
        if self.is_inside && moved <= settings.rest_band * STILL_SHARE {
            self.still_ticks = self.still_ticks.saturating_add(1);
        } else {
            (self.anchor, self.still_ticks) = (self.quiet_error, 0);
        }
        let soft = HOLD_SHARE * settings.gain_v * self.quiet_error;
        self.standing.map(|base| base + soft)
    }

    /// Takes the volts of a loop that is on; they stand from here on once the vane has.
    pub(super) fn settle(&mut self, settings: &PositionSettings, volts: f32) {
        self.quiet_volts += (volts - self.quiet_volts) / QUIET_TICKS;
        if self.still_ticks >= settings.rest_ticks {
            self.standing = Some(self.quiet_volts - HOLD_SHARE * settings.gain_v * self.quiet_error);
        }
    }

    /// The path has arrived and the vane is where it is wanted.
    pub(super) fn is_inside(&self) -> bool {
        self.is_inside
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rests after so many ticks at these errors and volts.
    fn rested(error: impl Fn(usize) -> f32, volts: impl Fn(usize) -> f32) -> (Rest, Option<usize>) {
        let (settings, path) = (PositionSettings::default(), Reference::at_rest(0.5));
        let mut rest = Rest::default();
        let at = (0..500).find(|&tick| {
            let holds = rest.tick(&settings, path, error(tick)).is_some();
            rest.settle(&settings, volts(tick));
            holds
        });
        (rest, at)
    }

    #[test]
    fn what_stands_is_the_mean_of_the_noise_and_not_its_last_tick() {
        let noise = |tick: usize| if tick.is_multiple_of(2) { 0.25 } else { -0.25 };
        let (rest, at) = rested(|_| 0.0, |tick| 1.0 + noise(tick));
        assert!(at.is_some());
        assert!((rest.standing.unwrap() - 1.0).abs() < 0.05, "{:?}", rest.standing);
    }

    #[test]
    fn a_vane_that_creeps_through_the_band_is_not_let_go() {
        let band = PositionSettings::default().rest_band;
        let (_, at) = rested(|tick| 3.0 * band - 2.5e-5 * tick as f32, |_| 1.0);
        assert_eq!(at, None);
    }

    #[test]
    fn the_soft_pull_stays_below_the_friction_that_holds_a_vane() {
        let settings = PositionSettings::default();
        let wake = settings.rest_band * settings.wake_factor;
        assert!(HOLD_SHARE * settings.gain_v * wake < 0.3 * settings.sliding_friction_v);
    }
}
