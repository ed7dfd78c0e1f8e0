//! Who moves the vanes: nobody, the engine controller, or one of the bench's own.

use crate::held::OriginTag;
use crate::learn::Learner;
use crate::link::state::Source;
use crate::probe::Probe;
use crate::sample::EngineDemand;
use crate::settings::SettingsHash;
use crate::units::Tick;

/// What the drive is used for, with what that use needs.
#[derive(Debug)]
pub(super) enum Activity {
    /// Nothing.
    Released,
    /// The engine controller follows this demand.
    Engine(EngineDemand),
    /// The motion profile waits for its start or runs.
    Motion {
        start_at: Tick,
        /// Where it was in the last tick.
        place: MotionPlace,
    },
    /// A probe's segment waits for its start or runs.
    Probe { start_at: Tick, probe: Probe, place: ProbePlace },
    /// The learner waits for its start or runs.
    Learn {
        start_at: Tick,
        learner: Learner,
        /// The host's mark of unit and run.
        tag: OriginTag,
        /// Settings that it runs under: they do not change before its end.
        settings: SettingsHash,
        /// Events told so far.
        told: u16,
    },
}

impl Activity {
    pub(super) fn source(&self) -> Source {
        match self {
            Self::Released => Source::Released,
            Self::Engine(_) => Source::Engine,
            Self::Motion { .. } => Source::Motion,
            Self::Learn { .. } => Source::Learn,
            Self::Probe { .. } => Source::Probe,
        }
    }

    /// Number of the learner's next event.
    pub(super) fn number_event(&mut self) -> u16 {
        match self {
            Self::Learn { told, .. } => {
                let number = *told;
                *told = told.saturating_add(1);
                number
            }
            Self::Released | Self::Engine(_) | Self::Motion { .. } | Self::Probe { .. } => 0,
        }
    }

    pub(super) fn come_to(&mut self, now: MotionPlace) {
        if let Self::Motion { place, .. } = self {
            *place = now;
        }
    }
}

/// How far a probe's segment has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum ProbePlace {
    /// It has not ended.
    Driving,
    /// It has ended: the push is let down.
    Easing,
}

/// How far a motion has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum MotionPlace {
    /// It has not begun.
    Waiting,
    /// In this segment of its profile.
    Segment(usize),
    /// Past its profile: the push is let down.
    Easing,
}
