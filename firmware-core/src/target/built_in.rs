//! The laws that the core brings along; the settings choose.

use crate::position::regulator::OutputRange;
use crate::settings::{LawName, TargetSettings};

use super::fixed_gain::FixedGain;
use super::law::{Aim, Forward, Law};
use super::map_trim::MapTrim;
use super::model_trim::ModelTrim;

/// The law that the settings name. Whoever changes the settings has boost control start afresh.
#[derive(Debug, Clone, Copy, Default)]
pub struct BuiltInLaw {
    map_trim: MapTrim,
    fixed_gain: FixedGain,
    model_trim: ModelTrim,
}

impl BuiltInLaw {
    // Out of the way: the default law's tick is the one whose instructions are scarce.
    #[cold]
    #[inline(never)]
    fn other_forward(&mut self, settings: &TargetSettings, aim: &Aim<'_>) -> Forward {
        match settings.law {
            LawName::MapTrim => self.map_trim.forward(settings, aim),
            LawName::FixedGain => self.fixed_gain.forward(settings, aim),
            LawName::ModelTrim => self.model_trim.forward(settings, aim),
        }
    }

    #[cold]
    #[inline(never)]
    fn other_start(&mut self, settings: &TargetSettings, aim: &Aim<'_>, correction: f32) {
        match settings.law {
            LawName::MapTrim => self.map_trim.start(settings, aim, correction),
            LawName::FixedGain => self.fixed_gain.start(settings, aim, correction),
            LawName::ModelTrim => self.model_trim.start(settings, aim, correction),
        }
    }

    #[cold]
    #[inline(never)]
    fn other_tick(&mut self, settings: &TargetSettings, aim: &Aim<'_>, range: OutputRange) -> f32 {
        match settings.law {
            LawName::MapTrim => self.map_trim.tick(settings, aim, range),
            LawName::FixedGain => self.fixed_gain.tick(settings, aim, range),
            LawName::ModelTrim => self.model_trim.tick(settings, aim, range),
        }
    }
}

impl Law for BuiltInLaw {
    #[inline(always)]
    fn forward(&mut self, settings: &TargetSettings, aim: &Aim<'_>) -> Forward {
        if settings.law == LawName::MapTrim {
            self.map_trim.forward(settings, aim)
        } else {
            self.other_forward(settings, aim)
        }
    }

    #[inline(always)]
    fn start(&mut self, settings: &TargetSettings, aim: &Aim<'_>, correction: f32) {
        if settings.law == LawName::MapTrim {
            self.map_trim.start(settings, aim, correction);
        } else {
            self.other_start(settings, aim, correction);
        }
    }

    #[inline(always)]
    fn tick(&mut self, settings: &TargetSettings, aim: &Aim<'_>, range: OutputRange) -> f32 {
        if settings.law == LawName::MapTrim {
            self.map_trim.tick(settings, aim, range)
        } else {
            self.other_tick(settings, aim, range)
        }
    }
}
