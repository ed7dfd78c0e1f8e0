//! What a motion may stand on: the calibration in force, or why nothing moves.

use std::path::Path;

use firmware_core::held::Standing;
use firmware_core::learn::CheckSet;

use super::standing::{InForce, NoneWhy, UnitStanding};
use super::wanted::{Mismatch, OnUnproven, WantedUnit};
use super::{history, words};
use crate::exit::{Exit, Failure};
use crate::record::{BoardId, Run};

impl InForce {
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

/// The calibration that an opening may be reached on.
///
/// # Errors
/// Says what is in force, from which run, what differs and what to do. The exit code tells why: 1 refused, 2 never
/// learned or another unit, setup or settings, 3 not proven, suspended or cut short.
pub fn ground(wanted: &WantedUnit<'_>, on_unproven: OnUnproven) -> Result<Box<InForce>, Failure> {
    let in_force = to_relearn(wanted)?;
    match (in_force.held.standing, on_unproven) {
        (Standing::Accepted, OnUnproven::Refuse)
        | (Standing::NotProven { .. } | Standing::Suspended { .. }, OnUnproven::Allow) => Ok(in_force),
        (Standing::Accepted, OnUnproven::Allow) => {
            Err(Failure::usage(words::nothing_unproven(wanted.unit, &in_force)))
        }
        (Standing::NotProven { .. } | Standing::Suspended { .. }, OnUnproven::Refuse) => {
            Err(Failure::undetermined(words::unproven(wanted, &in_force)))
        }
    }
}

/// The calibration that a relearn starts from, however it stands.
///
/// # Errors
/// As [`ground`], but for its standing.
pub(crate) fn to_relearn(wanted: &WantedUnit<'_>) -> Result<Box<InForce>, Failure> {
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

/// The checks still open on a unit's newest learn, where confirming them is all that it lacks.
///
/// # Errors
/// Says what else is wrong: another unit's run, a refused, cut or damaged learn, or one that later learns doubt.
pub(crate) fn to_confirm(unit_dir: &Path, unit: &str, learn: &Run) -> Result<CheckSet, Failure> {
    let info = &learn.file.run;
    let run = learn.name;
    let refused =
        |exit, why: String| Failure { exit, message: format!("{unit}: nothing was confirmed. {why}") };
    if info.unit != unit {
        let why = format!("{run} was made on the unit {}. Give that unit's own folder.", info.unit);
        return Err(refused(Exit::Usage, why));
    }
    match history::read(unit_dir, unit, info.setup, info.warmth)? {
        UnitStanding::NeverLearned => Err(refused(Exit::Usage, "It was never learned. Learn first.".into())),
        UnitStanding::NoneInForce { run, why } => {
            let message =
                format!("{}. A confirmation cannot repair that: learn again.", words::because(run, &why));
            Err(refused(exit_of(&why), message))
        }
        UnitStanding::InForce(in_force) => match in_force.held.standing {
            Standing::NotProven { open } if in_force.run == run && in_force.doubted_by.is_none() => Ok(open),
            Standing::Accepted if in_force.run == run && in_force.doubted_by.is_none() => Ok(CheckSet::NONE),
            Standing::Accepted | Standing::NotProven { .. } | Standing::Suspended { .. } => {
                let doubt = in_force.doubted_by.unwrap_or(run);
                let why = format!(
                    "The later learn {doubt} found no stops that it could rely on. Do a full learn again."
                );
                Err(refused(Exit::Undetermined, why))
            }
        },
    }
}

fn exit_of(why: &NoneWhy) -> Exit {
    match why {
        NoneWhy::Refused(_) => Exit::OutOfLimits,
        NoneWhy::CutShort { .. } => Exit::Undetermined,
        NoneWhy::Unsound { .. } | NoneWhy::WithoutProvenance => Exit::Usage,
    }
}
