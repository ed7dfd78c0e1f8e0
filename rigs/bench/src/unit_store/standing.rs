//! What the learns of a unit leave in force.

use firmware_core::calibration::Setup;
use firmware_core::held::{Held, Standing};

use crate::record::{Provenance, Refusal, RunName};

/// A calibration in force and the learn that it came from.
#[derive(Debug, Clone, PartialEq)]
pub struct InForce {
    /// What the board is given.
    pub held: Held,
    /// The learn.
    pub run: RunName,
    /// What that learn came from.
    pub provenance: Provenance,
    /// The newest learn that was refused or cut short since then.
    pub suspended_by: Option<RunName>,
}

/// Why a unit that was learned has nothing in force.
#[derive(Debug, Clone, PartialEq)]
pub enum NoneWhy {
    /// The learn refused it.
    Refused(Refusal),
    /// The learn did not come to its end.
    CutShort {
        /// Why, as its record says.
        reason: String,
    },
    /// The record of the learn cannot be relied on.
    Unsound {
        /// What is wrong with it.
        error: String,
    },
    /// An older release made it: it does not say under which settings.
    WithoutProvenance,
}

/// How a unit stands in one setup and warmth.
#[derive(Debug, Clone, PartialEq)]
pub enum UnitStanding {
    /// No learn on record.
    NeverLearned,
    /// A calibration is in force, or suspended.
    InForce(Box<InForce>),
    /// The newest learn left none.
    NoneInForce {
        /// That learn.
        run: RunName,
        /// Why.
        why: NoneWhy,
    },
}

/// What one learn did.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Learn {
    pub(super) run: RunName,
    pub(super) setup: Setup,
    pub(super) reach: Reach,
    pub(super) end: End,
}

/// Full learn or relearn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Reach {
    /// From nothing: what was there before no longer counts.
    Full,
    /// From the calibration in force.
    Relearn,
}

/// How it ended.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum End {
    /// With a calibration.
    Found(Box<(Held, Provenance)>),
    /// Without one.
    Without(NoneWhy),
}

impl UnitStanding {
    /// After all of these learns, oldest first.
    pub(super) fn after(learns: impl IntoIterator<Item = Learn>) -> Self {
        learns.into_iter().fold(Self::NeverLearned, Self::then)
    }

    fn then(self, learn: Learn) -> Self {
        let Learn { run, setup, reach, end } = learn;
        match (end, reach, self) {
            (End::Found(found), Reach::Full, _) => {
                let (held, provenance) = *found;
                Self::InForce(Box::new(InForce { held, run, provenance, suspended_by: None }))
            }
            (End::Found(found), Reach::Relearn, Self::InForce(before)) => {
                let (now, provenance) = *found;
                let held =
                    Held { standing: now.standing, ..before.held.relearned(now.calibration, now.origin) };
                Self::InForce(Box::new(InForce { held, run, provenance, suspended_by: None }))
            }
            // A relearn starts from what is in force: with nothing there, it says nothing.
            (_, Reach::Relearn, nothing @ (Self::NeverLearned | Self::NoneInForce { .. })) => nothing,
            (End::Without(why), Reach::Full, before) => match (setup, before) {
                // An engine cannot go without: the old calibration stays, suspended.
                (Setup::OnEngine, Self::InForce(before)) => before.suspended(run),
                (Setup::OnEngine | Setup::Free | Setup::Attached, _) => Self::NoneInForce { run, why },
            },
            (End::Without(_), Reach::Relearn, Self::InForce(before)) => before.suspended(run),
        }
    }
}

impl InForce {
    fn suspended(mut self: Box<Self>, by: RunName) -> UnitStanding {
        let refusals = match self.held.standing {
            Standing::Accepted | Standing::NotProven { .. } => 1,
            Standing::Suspended { refusals } => refusals.saturating_add(1),
        };
        self.held.standing = Standing::Suspended { refusals };
        self.suspended_by = Some(by);
        UnitStanding::InForce(self)
    }
}
