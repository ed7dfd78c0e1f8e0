//! Who moves the vanes: nobody, the engine controller, or one of the bench's own.

use crate::learn::Learner;
use crate::link::state::Source;
use crate::sample::EngineDemand;
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
    Learn { start_at: Tick, learner: Learner },
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

    pub(super) fn enter_segment(&mut self, index: usize) {
        if let Self::Motion { segment, .. } = self {
            *segment = Some(index);
        }
    }
}
