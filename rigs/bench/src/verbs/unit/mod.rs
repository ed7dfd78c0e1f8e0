//! `unit`: what is on record of units, and what a person adds to it. Nothing moves.

mod attach;
mod check;
mod compare;
mod confirm;
mod explain;
mod history;
mod list;
mod round;

use std::path::Path;

use firmware_core::calibration::{Setup, Warmth};

use crate::caution::Effect;
use crate::console::Console;
use crate::exit::{Failure, VerbResult};
use crate::record::{RunHead, RunKind};
use crate::unit_store::{self, UnitStanding};

/// What `unit` takes.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(subcommand)]
    about: UnitVerb,
}

#[derive(Debug, clap::Subcommand)]
enum UnitVerb {
    /// List the units in a folder of records: verdict, job, age, drift, calibration in force
    List(list::Args),
    /// List a unit's runs, oldest first, how its figures changed, and the calibration in force
    History(history::Args),
    /// Find runs that were changed, removed, swapped or added since they were recorded
    Check(check::Args),
    /// Compare two units, or two rounds of one: what changed by more than re-mounting explains
    Compare(compare::Args),
    /// Attach a photograph or document to a unit; its hash goes into the unit's log
    Attach(attach::Args),
    /// Confirm what a learn could not prove, after the fact and without moving
    Confirm(confirm::Args),
    /// Say why a run has no closing line in the log; it stays incomplete and does not count
    Explain(explain::Args),
}

impl Args {
    pub(crate) fn effect(&self) -> Effect {
        match self.about {
            UnitVerb::List(_)
            | UnitVerb::History(_)
            | UnitVerb::Compare(_)
            | UnitVerb::Attach(_)
            | UnitVerb::Check(_)
            | UnitVerb::Explain(_) => Effect::Neither,
            UnitVerb::Confirm(_) => Effect::HandsOver,
        }
    }
}

/// Runs the verb.
///
/// # Errors
/// A [`Failure`] that says which record cannot be read, or why nothing was confirmed.
pub fn run(args: &Args, console: &Console) -> VerbResult {
    match &args.about {
        UnitVerb::List(args) => list::run(args, console),
        UnitVerb::History(args) => history::run(args, console),
        UnitVerb::Compare(args) => compare::run(args, console),
        UnitVerb::Attach(args) => attach::run(args, console),
        UnitVerb::Check(args) => check::run(args, console),
        UnitVerb::Confirm(args) => confirm::run(args, console),
        UnitVerb::Explain(args) => explain::run(args, console),
    }
}

/// The unit whose folder this is.
pub(super) fn name_of(dir: &Path) -> Result<String, Failure> {
    let real = dir.canonicalize().map_err(|error| {
        Failure::usage(format!("{}: {error}. Give a unit's folder, such as units/NAME.", dir.display()))
    })?;
    Ok(real.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default())
}

/// What is in force, a line for each setup and warmth that these runs were made in.
fn in_force(
    runs: &[&RunHead],
    read: impl Fn(Setup, Warmth) -> Result<UnitStanding, Failure>,
) -> Result<Vec<String>, Failure> {
    let mut mounted: Vec<(Setup, Warmth)> = Vec::new();
    for info in runs.iter().filter(|run| run.name.kind == RunKind::Learn).map(|run| &run.file.run) {
        if !mounted.contains(&(info.setup, info.warmth)) {
            mounted.push((info.setup, info.warmth));
        }
    }
    let line = |(setup, warmth)| {
        let standing = read(setup, warmth)?;
        Ok(format!("{setup}, {warmth}: {}", unit_store::in_force(&standing)))
    };
    mounted.into_iter().map(line).collect()
}

/// The same by what the records say of themselves.
fn in_force_as_recorded(unit: &str, runs: &[&RunHead]) -> Result<Vec<String>, Failure> {
    in_force(runs, |setup, warmth| Ok(unit_store::as_recorded(runs.iter().copied(), unit, setup, warmth)))
}

fn counted(runs: usize) -> String {
    if runs == 1 { "1 run".into() } else { format!("{runs} runs") }
}
