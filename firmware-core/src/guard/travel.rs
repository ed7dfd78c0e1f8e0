//! Whether the vanes follow a command to open.

use super::Vane;
use crate::settings::GuardSettings;
use crate::units::smaller;

/// Travel since opening was commanded.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct OpeningTravel {
    from: f32,
    ticks: u16,
}

impl OpeningTravel {
    /// True while opening is commanded and the stated travel has not come in the stated time.
    pub(super) fn is_missing(&mut self, settings: &GuardSettings, commanded: f32, vane: Vane) -> bool {
        let stages = &settings.stages;
        let Some(measured) = vane.measured else {
            // Blind: nothing new can be said of travel, what was found stands.
            if self.ticks < stages.open_travel_ticks {
                self.ticks = 0;
            }
            return self.ticks >= stages.open_travel_ticks;
        };
        let measured = measured.get();
        let is_commanded = smaller(commanded, vane.reach.get()) - measured > stages.open_travel;
        if !is_commanded || measured - self.from > stages.open_travel {
            *self = Self { from: measured, ticks: 0 };
        } else {
            self.from = smaller(self.from, measured);
            self.ticks = self.ticks.saturating_add(1);
        }
        self.ticks >= stages.open_travel_ticks
    }
}
