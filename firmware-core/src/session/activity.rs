//! Who moves the vanes: nobody, the engine controller, or one of the bench's own.

use crate::held::OriginTag;
use crate::learn::Learner;
use crate::link::state::Source;
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
        /// Segment of the last tick.
        segment: Option<usize>,
    },
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
            Self::Released | Self::Engine(_) | Self::Motion { .. } => 0,
        }
    }

    pub(super) fn enter_segment(&mut self, index: usize) {
        if let Self::Motion { segment, .. } = self {
            *segment = Some(index);
        }
    }
}
