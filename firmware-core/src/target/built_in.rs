//! The laws that the core brings along; the settings choose.

use crate::position::regulator::OutputRange;
use crate::settings::TargetSettings;

use super::law::{Aim, Forward, Law};
use super::map_trim::MapTrim;

/// The laws that the core brings along; the settings choose.
#[derive(Debug, Clone, Copy, Default)]
pub struct BuiltInLaw {
    map_trim: MapTrim,
}

impl Law for BuiltInLaw {
    #[inline(always)]
    fn forward(&mut self, settings: &TargetSettings, aim: &Aim<'_>) -> Forward {
        self.map_trim.forward(settings, aim)
    }

    #[inline(always)]
    fn start(&mut self, settings: &TargetSettings, aim: &Aim<'_>, correction: f32) {
        self.map_trim.start(settings, aim, correction);
    }

    #[inline(always)]
    fn tick(&mut self, settings: &TargetSettings, aim: &Aim<'_>, range: OutputRange) -> f32 {
        self.map_trim.tick(settings, aim, range)
    }
}
