//! `campaign guard`: does the guard keep boost, turbo speed and exhaust pressure under their limits, whatever
//! is wrong? Every named fault in turn, each in a world of its own.

use std::path::PathBuf;

use serde::Serialize;
use study::campaign::guard::{GuardCampaign, Row, Table, run as run_worlds};

use super::{guard_report, simulate};
use crate::console::Console;
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

#[derive(Debug, Serialize)]
struct ToldLoss {
    reason: &'static str,
    worlds: u32,
}

#[derive(Debug, Serialize)]
struct ToldRow {
    fault: &'static str,
    worlds: u32,
    tripped: u32,
    held: u32,
    lost: Vec<ToldLoss>,
    unhandled: Vec<u32>,
    held_peak_boost_of_limit: f64,
    held_peak_turbo_rpm: f64,
    peak_exhaust_kpa: f64,
    slowest_reaction_ticks: u32,
}

impl From<&Row> for ToldRow {
    fn from(row: &Row) -> Self {
        Self {
            fault: row.fault.name(),
            worlds: row.worlds,
            tripped: row.tripped,
            held: row.held,
            lost: row
                .lost
                .iter()
                .map(|(loss, worlds)| ToldLoss { reason: loss.name(), worlds: *worlds })
                .collect(),
            unhandled: row.unhandled.clone(),
            held_peak_boost_of_limit: row.boost_used,
            held_peak_turbo_rpm: row.turbo_rpm,
            peak_exhaust_kpa: row.exhaust_kpa,
            slowest_reaction_ticks: row.reaction_ticks,
        }
    }
}

#[derive(Debug, Serialize)]
struct Told {
    seed: u64,
    worlds: u32,
    unhandled: Vec<u32>,
    faults: Vec<ToldRow>,
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
    let faults = table.rows.iter().map(ToldRow::from).collect();
    console.result(&text, &Told { seed: args.seed, worlds: args.worlds, unhandled, faults })?;
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
