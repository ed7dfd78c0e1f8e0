//! What a motion needs to stand on, compared with what is in force.

use std::path::Path;

use firmware_core::calibration::{Setup, Warmth};
use firmware_core::held::Standing;
use firmware_core::settings::SettingsHash;

use super::standing::{InForce, NoneWhy, UnitStanding};
use super::{history, words};
use crate::exit::{Exit, Failure};
use crate::record::{BoardId, Serials};
use crate::short_text::ShortText;

/// The unit as it stands on the bench now.
#[derive(Debug, Clone, Copy)]
pub struct Wanted<'a> {
    /// Its name.
    pub unit: &'a str,
    /// Its folder.
    pub unit_dir: &'a Path,
    /// How it is mounted.
    pub setup: Setup,
    /// Cold or hot.
    pub warmth: Warmth,
    /// The profile's settings.
    pub settings: SettingsHash,
    /// Serial numbers, where they are given.
    pub serials: &'a Serials,
}

/// Whether a calibration that is not proven or suspended may do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OnUnproven {
    /// Only an accepted one does.
    Refuse,
    /// It may: `--on-unproven`.
    Allow,
}

/// What sets a calibration apart from the unit on the bench.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Mismatch {
    /// Learned under other settings.
    Settings {
        /// Then.
        learned: SettingsHash,
        /// Now.
        now: SettingsHash,
    },
    /// Learned on another actuator, or on one without a serial number.
    Actuator {
        /// Then.
        learned: Option<ShortText>,
        /// Now.
        now: ShortText,
    },
    /// Learned on another turbo, or on one without a serial number.
    Turbo {
        /// Then.
        learned: Option<ShortText>,
        /// Now.
        now: ShortText,
    },
    /// Learned with another board.
    Board {
        /// Then.
        learned: BoardId,
        /// Now.
        now: BoardId,
    },
}

impl InForce {
    /// What sets it apart from the unit; a serial number that is not given is not compared.
    #[must_use]
    pub fn mismatch(&self, wanted: &Wanted<'_>) -> Option<Mismatch> {
        let then = &self.provenance;
        if then.settings != wanted.settings {
            return Some(Mismatch::Settings { learned: then.settings, now: wanted.settings });
        }
        if let Some(now) = other(&then.serials.actuator, &wanted.serials.actuator) {
            return Some(Mismatch::Actuator { learned: then.serials.actuator.clone(), now });
        }
        let now = other(&then.serials.turbo, &wanted.serials.turbo)?;
        Some(Mismatch::Turbo { learned: then.serials.turbo.clone(), now })
    }

    /// Refuses a board that did not learn it: counts belong to the board that converted them.
    ///
    /// # Errors
    /// Names both boards.
    pub fn learned_with(&self, unit: &str, now: &BoardId) -> Result<(), Failure> {
        let learned = &self.provenance.board;
        if learned == now {
            return Ok(());
        }
        let mismatch = Mismatch::Board { learned: learned.clone(), now: now.clone() };
        Err(Failure::usage(words::mismatch(unit, self, &mismatch)))
    }
}

fn other(learned: &Option<ShortText>, now: &Option<ShortText>) -> Option<ShortText> {
    let now = now.as_ref()?;
    let is_same = learned.as_ref().is_some_and(|learned| learned.is_same(now));
    (!is_same).then(|| now.clone())
}

/// The calibration that an opening may be reached on.
///
/// # Errors
/// Says what is in force, from which run, what differs and what to do. The exit code tells why: 1 refused, 2 never
/// learned or another unit, setup or settings, 3 not proven, suspended or cut short.
pub fn ground(wanted: &Wanted<'_>, on_unproven: OnUnproven) -> Result<Box<InForce>, Failure> {
    let in_force = to_relearn(wanted)?;
    match (in_force.held.standing, on_unproven) {
        (Standing::Accepted, OnUnproven::Refuse)
        | (Standing::NotProven { .. } | Standing::Suspended { .. }, OnUnproven::Allow) => Ok(in_force),
        (Standing::Accepted, OnUnproven::Allow) => {
            Err(Failure::usage(words::nothing_unproven(wanted.unit, &in_force)))
        }
        (Standing::NotProven { .. } | Standing::Suspended { .. }, OnUnproven::Refuse) => {
            Err(Failure::undetermined(words::unproven(wanted.unit, &in_force)))
        }
    }
}

/// The calibration that a relearn starts from, however it stands.
///
/// # Errors
/// As [`ground`], but for its standing.
pub fn to_relearn(wanted: &Wanted<'_>) -> Result<Box<InForce>, Failure> {
    let in_force = match history::read(wanted.unit_dir, wanted.unit, wanted.setup, wanted.warmth)? {
        UnitStanding::NeverLearned => return Err(Failure::usage(words::never(wanted))),
        UnitStanding::NoneInForce { run, why } => {
            let message = words::none(wanted, run, &why);
            return Err(Failure { exit: exit_of(&why), message });
        }
        UnitStanding::InForce(in_force) => in_force,
    };
    if let Some(mismatch) = in_force.mismatch(wanted) {
        return Err(Failure::usage(words::mismatch(wanted.unit, &in_force, &mismatch)));
    }
    Ok(in_force)
}

fn exit_of(why: &NoneWhy) -> Exit {
    match why {
        NoneWhy::Refused(_) => Exit::NotFit,
        NoneWhy::CutShort { .. } => Exit::Undetermined,
        NoneWhy::Unsound { .. } | NoneWhy::WithoutProvenance => Exit::Usage,
    }
}
