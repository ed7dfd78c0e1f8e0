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
    /// The law in use. Out of the way: the default law's tick is the one that is counted in instructions.
    #[cold]
    #[inline(never)]
    fn chosen(&mut self, law: LawName) -> &mut dyn Law {
        match law {
            LawName::MapTrim => &mut self.map_trim,
            LawName::FixedGain => &mut self.fixed_gain,
            LawName::ModelTrim => &mut self.model_trim,
        }
    }
}

impl Law for BuiltInLaw {
    #[inline(always)]
    fn forward(&mut self, settings: &TargetSettings, aim: &Aim<'_>) -> Forward {
        if settings.law == LawName::MapTrim {
            self.map_trim.forward(settings, aim)
        } else {
            self.chosen(settings.law).forward(settings, aim)
        }
    }

    #[inline(always)]
    fn start(&mut self, settings: &TargetSettings, aim: &Aim<'_>, correction: f32) {
        if settings.law == LawName::MapTrim {
            self.map_trim.start(settings, aim, correction);
        } else {
            self.chosen(settings.law).start(settings, aim, correction);
        }
    }

    #[inline(always)]
    fn tick(&mut self, settings: &TargetSettings, aim: &Aim<'_>, range: OutputRange) -> f32 {
        if settings.law == LawName::MapTrim {
            self.map_trim.tick(settings, aim, range)
        } else {
            self.chosen(settings.law).tick(settings, aim, range)
        }
    }
}
