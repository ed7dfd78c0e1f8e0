//! A motion that the board runs by itself and ends by itself.
//!
//! In: a profile, then what each of its ticks came to. Out: the command of the next tick. A profile that comes to
//! its end lets the push down slowly; one that cannot go on ([`Ending`]) lets go at once.

mod ease;
mod profile;
mod ramp;
mod reach;
mod seen;
mod watch;

pub use profile::{Footing, Goal, MAX_SEGMENTS, MotionError, MotionProfile, Segment};
pub use seen::{Ending, Seen};
pub use watch::MotionWatch;

use crate::calibration::Calibration;
use crate::command::Command;
use crate::settings::Settings;
use crate::units::Opening;
use ease::Ease;

/// What a motion does in a tick.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum MotionStep {
    /// The profile goes on.
    Go(Command),
    /// The profile has ended; the push is let down.
    Ease(Command),
    /// Profile and push have ended.
    Done,
    /// The motion cannot go on.
    Cut(Ending),
}

/// A profile on its way, and what watches it.
#[derive(Debug, Clone, Default)]
pub struct Motion {
    profile: MotionProfile,
    watch: MotionWatch,
    ease: Ease,
    ending: Option<Ending>,
}

impl Motion {
    /// A motion without a profile.
    #[must_use]
    pub const fn new() -> Self {
        Self { profile: MotionProfile::new(), watch: MotionWatch::new(), ease: Ease::new(), ending: None }
    }

    /// Adds a segment at the end of the profile.
    ///
    /// # Errors
    /// [`MotionError`] when the profile is full or the goal is not a number.
    pub fn push(&mut self, segment: Segment) -> Result<(), MotionError> {
        self.profile.push(segment)
    }

    /// Removes all segments.
    pub fn clear(&mut self) {
        *self = Self::new();
    }

    /// Segments in the profile.
    #[must_use]
    pub fn segments(&self) -> &[Segment] {
        self.profile.segments()
    }

    /// The segment that is running, counted from 0; the number of segments when the profile has ended.
    #[must_use]
    pub fn index(&self) -> usize {
        self.profile.index()
    }

    /// Puts the motion back to its start; `here` is the opening that the first ramp leaves from.
    ///
    /// # Errors
    /// [`MotionError::Empty`] when there is nothing to run.
    pub fn rewind(&mut self, here: Opening) -> Result<(), MotionError> {
        (self.watch, self.ease, self.ending) = (MotionWatch::new(), Ease::new(), None);
        self.profile.rewind(here)
    }

    /// What to do in this tick.
    pub fn tick(&mut self) -> MotionStep {
        if let Some(ending) = self.ending {
            return MotionStep::Cut(ending);
        }
        match self.profile.tick() {
            Some(command) => MotionStep::Go(command),
            None => self.ease.tick().map_or(MotionStep::Done, MotionStep::Ease),
        }
    }

    /// Takes in what the tick came to; the next one ends the motion where it cannot go on. Once the push is let down,
    /// nothing can hold it up.
    pub fn see(&mut self, settings: &Settings, calibration: Option<&Calibration>, seen: &Seen) {
        if self.profile.is_over() {
            self.ease.see(seen.position);
            return;
        }
        self.ease.follow(seen.duty);
        self.ending = self.watch.tick(settings, calibration, self.profile.ramp(), seen);
    }
}
