//! Push without travel: how long it may last.
//!
//! In: position, current, duty wanted. Out: whether the push must be taken back.

use super::{DriveNow, Push};
use crate::settings::Settings;
use crate::units::{Counts, Duty};

/// Watches for push without travel.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Stall {
    anchor: Option<Counts>,
    ticks: u16,
    pulse: u16,
    heading: Heading,
}

/// Where a duty pushes; a push ends when the drive is let go, whichever way it went.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
enum Heading {
    #[default]
    Off,
    Opening,
    Closing,
}

impl Heading {
    fn of(duty: Duty) -> Self {
        if duty > Duty::ZERO {
            Self::Opening
        } else if duty < Duty::ZERO {
            Self::Closing
        } else {
            Self::Off
        }
    }
}

impl Stall {
    /// True while the push must be taken back.
    #[inline(always)]
    pub(super) fn tick(
        &mut self,
        settings: &Settings,
        drive: &DriveNow,
        current: f32,
        wanted: Duty,
        push: Push,
    ) -> bool {
        let limits = &settings.limits;
        let has_travelled = match (drive.position, self.anchor) {
            (Some(now), Some(anchor)) => {
                libm::fabsf(now.distance_from(anchor) as f32) > limits.stall_travel_counts
            }
            // Blind: time alone counts.
            (None, _) => false,
            (_, None) => true,
        };
        let heading = Heading::of(wanted);
        if has_travelled || heading != self.heading || push == Push::Holding {
            self.anchor = drive.position.or(self.anchor);
            self.ticks = 0;
            self.pulse = 0;
            self.heading = heading;
        }
        let is_stalled = self.ticks >= limits.stall_ticks;
        if libm::fabsf(current) > limits.stall_current.0 {
            self.ticks = self.ticks.saturating_add(1);
        }
        is_stalled && !self.is_pulsing(settings, push)
    }

    /// Full current for a pulse, then a pause, while the guard opens.
    fn is_pulsing(&mut self, settings: &Settings, push: Push) -> bool {
        let limits = &settings.limits;
        self.pulse = self.pulse.saturating_add(1);
        if self.pulse >= limits.break_away_ticks.saturating_add(limits.break_away_pause_ticks) {
            self.pulse = 0;
        }
        push == Push::BreakAway && self.pulse < limits.break_away_ticks
    }
}
