//! Learns the two mechanical end stops, or says why not.
//!
//! In: one [`crate::sample::Sample`] per tick. Out: a [`crate::command::Command`] for the same tick and, now and then, a [`LearnEvent`];
//! the last one is the [`LearnOutcome`]. A stop is believed only from several signs at once: speed gone,
//! current risen, the reading at rest under two current-controlled pushes, a yield like metal, touches
//! that agree without creeping, and a place inside the setup's window.
//!
//! A stop's position is its reading without push. The reading grows with the push, so two pushes are
//! read and extrapolated to the current that merely running needed just before contact: spring and
//! friction then drop out, and what is left is the point where lever and stop meet.
//!
//! What counts and current cannot show (see [`checks`]) must be confirmed by a person or gauge; without
//! that a sound learn ends as not proven, never as accepted.

mod approach;
mod axis;
pub mod checks;
mod friction;
mod judge;
mod machine;
mod place;
mod plan;
mod push;
pub mod refusal;
mod settle;
mod speed;
mod stop;
mod watch;

pub use checks::{Check, CheckSet};
pub use machine::Learner;
pub use refusal::{LearnRefusal, Reading, ReserveFault};
pub use stop::Touch;

use serde::{Deserialize, Serialize};

use crate::calibration::{Calibration, LearnedStop, Setup, Warmth};
use crate::command::Command;

/// Most touches of one stop.
pub(crate) const MAX_TOUCHES: usize = 8;

/// One of the two end stops.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(rename_all = "kebab-case")]
pub enum Stop {
    /// Opening 0.
    Closed,
    /// Opening 1.
    Open,
}

impl Stop {
    /// +1 for the stop that opening leads to, −1 for the other.
    #[must_use]
    pub fn opening_sign(self) -> f32 {
        match self {
            Self::Closed => -1.0,
            Self::Open => 1.0,
        }
    }

    /// The other stop.
    #[must_use]
    pub fn opposite(self) -> Self {
        match self {
            Self::Closed => Self::Open,
            Self::Open => Self::Closed,
        }
    }

    /// This stop of a calibration.
    #[must_use]
    pub fn of(self, calibration: &Calibration) -> &LearnedStop {
        match self {
            Self::Closed => &calibration.closed,
            Self::Open => &calibration.open,
        }
    }
}

impl core::fmt::Display for Stop {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::Closed => "closed",
            Self::Open => "open",
        })
    }
}

/// Full learn or key-off relearn.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(rename_all = "kebab-case")]
pub enum LearnKind {
    /// Both stops from nothing, every check.
    Full,
    /// Both stops near where they were: moves a stop only inside the relearn window.
    Relearn {
        /// The calibration to start from.
        previous: Calibration,
    },
}

/// What is to be learned, and what a person has confirmed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct LearnOrder {
    /// How the actuator is mounted.
    pub setup: Setup,
    /// Cold or hot.
    pub warmth: Warmth,
    /// Full or relearn.
    pub kind: LearnKind,
    /// What a person or gauge has confirmed.
    pub checked: CheckSet,
    /// The same unit's free calibration, where there is one: the over-travel reserve is judged against it.
    pub free: Option<Calibration>,
}

impl LearnOrder {
    /// A full learn.
    #[must_use]
    pub fn full(setup: Setup, warmth: Warmth, checked: CheckSet) -> Self {
        Self { setup, warmth, kind: LearnKind::Full, checked, free: None }
    }

    /// A key-off relearn in the setup of the last calibration.
    #[must_use]
    pub fn relearn(previous: Calibration, checked: CheckSet) -> Self {
        let (setup, warmth) = (previous.setup, previous.warmth);
        Self { setup, warmth, kind: LearnKind::Relearn { previous }, checked, free: None }
    }
}

/// What the learner is doing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(rename_all = "kebab-case")]
pub enum LearnPhase {
    /// Drive off, looking at supply, sensor and current.
    AtRest,
    /// Going to a stop.
    Approaching(Stop),
    /// Pushing with the smaller, then the larger current.
    Pressing(Stop),
    /// Backing off for another touch.
    Retreating(Stop),
    /// Nothing moved: trying the other way.
    Probing(Stop),
    /// Done: drive off.
    Finished,
}

/// How a learn ended.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(rename_all = "kebab-case")]
pub enum LearnOutcome {
    /// Every signal is sound and everything else was confirmed.
    Accepted(Calibration),
    /// Every signal is sound, but signals cannot show what is still to be checked.
    NotProven {
        /// What was learned.
        calibration: Calibration,
        /// What is still to be checked.
        check: CheckSet,
    },
    /// No calibration.
    Refused(LearnRefusal),
}

/// Something worth telling.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(rename_all = "kebab-case")]
#[allow(clippy::large_enum_variant)] // no heap to box on; the largest encodes in under 200 bytes
pub enum LearnEvent {
    /// A new phase began.
    Phase(LearnPhase),
    /// A stop was touched.
    Touch(Touch),
    /// The learn is over.
    Outcome(LearnOutcome),
}

/// What one tick of the learner gives.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct LearnTick {
    /// What the drive shall do in this tick.
    pub command: Command,
    /// What happened, if anything.
    pub event: Option<LearnEvent>,
}

#[cfg(test)]
mod tests;
