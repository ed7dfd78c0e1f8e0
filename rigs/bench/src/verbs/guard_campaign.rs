//! `campaign guard`: does the guard keep boost, turbo speed and exhaust pressure under their limits, whatever
//! is wrong? Every named fault in turn, each in a world of its own.

use std::path::PathBuf;

use study::campaign::guard::{GuardCampaign, Table, run as run_worlds};

use super::{guard_report, simulate};
use crate::console::Console;
use crate::document::{GuardDocument, GuardRow};
use crate::exit::{Exit, Failure, VerbResult};
use crate::output::{Maker, OutFolder};

/// What `campaign guard` takes.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// How many random worlds; the named faults take turns
    #[arg(long, default_value_t = 290, value_parser = clap::value_parser!(u32).range(1..=10_000_000))]
    worlds: u32,
    /// Seed; the same seed gives the same table
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Controller settings, a TOML file; without it, the built-in settings
    #[arg(long = "with", value_name = "CONTROLLER.toml")]
    with: Option<PathBuf>,
    /// Folder for verdict.json and guard.html
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
}

/// Runs the worlds and tells what became of them; a world without explanation puts the verdict out of limits.
///
/// # Errors
/// A [`Failure`] for settings that are refused or a world that runs away.
pub fn run(args: &Args, console: &Console) -> VerbResult {
    let settings = simulate::controller_or_built_in(args.with.as_deref())?;
    let folder = args.out.as_deref().map(|dir| OutFolder::claim(dir, Maker::GuardCampaign)).transpose()?;
    let plan = GuardCampaign { settings, worlds: args.worlds, seed: args.seed };
    let table = run_worlds(&plan).map_err(Failure::undetermined)?;
    if let Some(folder) = folder {
        guard_report::write(folder, &table, args.seed, args.worlds)?;
    }
    let unhandled = table.unhandled();
    let exit = if unhandled.is_empty() { Exit::Done } else { Exit::OutOfLimits };
    let text = text(&table, &unhandled);
    let faults = table.rows.iter().map(GuardRow::from).collect();
    console.result(&text, &GuardDocument { seed: args.seed, worlds: args.worlds, unhandled, faults })?;
    Ok(exit)
}

/// The table as comma-separated values, then what it comes to.
fn text(table: &Table, unhandled: &[u32]) -> String {
    let lost: u32 = table.rows.iter().flat_map(|row| &row.lost).map(|(_, worlds)| worlds).sum();
    let end = if unhandled.is_empty() {
        format!("no world passed a limit unexplained; {lost} were lost for the reasons named")
    } else {
        format!("OUT OF LIMITS: worlds {unhandled:?} passed a limit unexplained")
    };
    format!("{table}{end}")
}
