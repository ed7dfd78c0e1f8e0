//! The calibrations that the board holds, one for each setup, and what a learn does to them.
//!
//! A learn takes force away before it gives any: whatever cuts it short, power included, finds the calibrations as
//! [`Bank::doubt`] left them.

use crate::calibration::{Calibration, Setup};
use crate::held::{Held, Origin, Standing};
use crate::learn::{LearnKind, LearnOrder, LearnOutcome};
use crate::link::refusal::Refusal;

/// Setups in the order in which one is chosen for use: the most complete mounting first.
const MOST_COMPLETE_FIRST: [Setup; 3] = [Setup::OnEngine, Setup::Attached, Setup::Free];

/// Whether something is no longer as it was.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Change {
    Made,
    None,
}

/// At most one calibration for each setup.
#[derive(Debug, Clone, Copy)]
pub(super) struct Bank {
    free: Option<Held>,
    attached: Option<Held>,
    on_engine: Option<Held>,
}

impl Bank {
    pub(super) const fn empty() -> Self {
        Self { free: None, attached: None, on_engine: None }
    }

    /// What is held for a setup.
    pub(super) fn get(&self, setup: Setup) -> Option<&Held> {
        match setup {
            Setup::Free => self.free.as_ref(),
            Setup::Attached => self.attached.as_ref(),
            Setup::OnEngine => self.on_engine.as_ref(),
        }
    }

    fn place(&mut self, setup: Setup) -> &mut Option<Held> {
        match setup {
            Setup::Free => &mut self.free,
            Setup::Attached => &mut self.attached,
            Setup::OnEngine => &mut self.on_engine,
        }
    }

    /// Takes a calibration in place of the one of its setup.
    pub(super) fn put(&mut self, held: Held) {
        *self.place(held.calibration.setup) = Some(held);
    }

    /// All that is held, free first.
    pub(super) fn all(&self) -> [Option<Held>; 3] {
        [self.free, self.attached, self.on_engine]
    }

    /// The setup to start with, where any is held.
    pub(super) fn most_complete(&self) -> Option<Setup> {
        MOST_COMPLETE_FIRST.into_iter().find(|setup| self.get(*setup).is_some())
    }

    /// What is held for a setup.
    ///
    /// # Errors
    /// None is held at all, or only that of another setup.
    pub(super) fn of(&self, wanted: Setup) -> Result<&Held, Refusal> {
        let other = || match self.most_complete() {
            Some(learned) => Refusal::OtherSetup { learned, wanted },
            None => Refusal::NotCalibrated,
        };
        self.get(wanted).ok_or_else(other)
    }

    /// Before anything moves: a full learn on the bench leaves none of the bench's in force, for what stands in the
    /// vice may be another unit; every other learn leaves the one of its setup suspended.
    pub(super) fn doubt(&mut self, order: &LearnOrder) -> Change {
        let is_new_on_bench = match (order.kind, order.setup) {
            (LearnKind::Full, Setup::Free | Setup::Attached) => true,
            (LearnKind::Full, Setup::OnEngine) | (LearnKind::Relearn { .. }, _) => false,
        };
        if is_new_on_bench {
            let held = (self.free.take(), self.attached.take());
            return if held == (None, None) { Change::None } else { Change::Made };
        }
        match self.place(order.setup) {
            Some(held) => {
                held.standing = doubted(held.standing);
                Change::Made
            }
            None => Change::None,
        }
    }

    /// What a full learn has found, where it changes what is held.
    pub(super) fn learned(&self, outcome: &LearnOutcome, origin: Origin) -> Option<Held> {
        let (calibration, standing) = self.found(outcome)?;
        Some(Held::of_full_learn(calibration, standing, origin))
    }

    /// What a relearn has found, where it changes what is held.
    pub(super) fn relearned(&self, outcome: &LearnOutcome, origin: Origin) -> Option<Held> {
        let (calibration, standing) = self.found(outcome)?;
        let held = self.get(calibration.setup)?;
        Some(Held { standing, ..held.relearned(calibration, origin) })
    }

    /// A refused learn leaves what [`Bank::doubt`] left, and so does one on an engine that is not proven: the engine
    /// goes on, with more reserve, by what was accepted once.
    fn found(&self, outcome: &LearnOutcome) -> Option<(Calibration, Standing)> {
        match *outcome {
            LearnOutcome::Accepted(calibration) => Some((calibration, Standing::Accepted)),
            LearnOutcome::NotProven { calibration, check } => {
                let is_on_engine = calibration.setup == Setup::OnEngine && self.on_engine.is_some();
                (!is_on_engine).then_some((calibration, Standing::NotProven { open: check }))
            }
            LearnOutcome::Refused(_) => None,
        }
    }

    /// True when nothing is held.
    pub(super) fn is_empty(&self) -> bool {
        self.most_complete().is_none()
    }
}

/// After a learn that confirmed nothing. What was never proven does not become more by that.
fn doubted(standing: Standing) -> Standing {
    match standing {
        Standing::Accepted => Standing::Suspended { refusals: 1 },
        Standing::Suspended { refusals } => Standing::Suspended { refusals: refusals.saturating_add(1) },
        Standing::NotProven { .. } => standing,
    }
}
