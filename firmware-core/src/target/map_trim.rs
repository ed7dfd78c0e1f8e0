//! The law `map-trim`: feed-forward by engine speed and load, and a trim.

use crate::position::regulator::OutputRange;
use crate::settings::TargetSettings;

use super::law::{Aim, Forward, Law};
use super::trim::Trim;

/// Memory of the law.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct MapTrim {
    trim: Trim,
}

impl Law for MapTrim {
    #[inline(always)]
    fn forward(&mut self, settings: &TargetSettings, aim: &Aim<'_>) -> Forward {
        let authority = settings.trim.authority;
        Forward { opening: aim.feed_forward, closes: authority, opens: authority }
    }

    #[inline(always)]
    fn start(&mut self, settings: &TargetSettings, aim: &Aim<'_>, correction: f32) {
        self.trim.start(&settings.trim, aim, correction);
    }

    #[inline(always)]
    fn tick(&mut self, settings: &TargetSettings, aim: &Aim<'_>, range: OutputRange) -> f32 {
        self.trim.tick(&settings.trim, aim, range)
    }
}
