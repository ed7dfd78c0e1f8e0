//! `campaign guard`: does the guard keep boost, turbo speed and exhaust pressure under their limits, whatever
//! is wrong? Every named fault in turn, each in a world of its own.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use study::campaign::guard::{
    AblationRow, GuardCampaign, GuardCampaignError, Row, Table, ablation, run as run_worlds,
};

use super::campaign_job::{Counting, PartArgs, refused_part};
use super::{guard_report, simulate};
use crate::console::Console;
use crate::document::{AblatedRow, GuardDocument, GuardRow};
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
    /// Also cripple each parameter of the guard in turn, over the same worlds: about twenty times as long
    #[arg(long, conflicts_with = "part")]
    ablate: bool,
    #[command(flatten)]
    job: PartArgs,
}

/// What a result names beside its numbers; a part keeps it.
#[derive(Debug, Serialize, Deserialize)]
pub(super) struct GuardTold {
    seed: u64,
    worlds: u32,
}

/// Runs the worlds and tells what became of them; a world that passed a limit puts the verdict out of limits.
///
/// # Errors
/// A [`Failure`] for settings that are refused or a world that runs away.
pub fn run(args: &Args, console: &Console) -> VerbResult {
    let settings = simulate::controller_or_built_in(args.with.as_deref())?;
    let folder = claimed(args.job.folder())?;
    let told = GuardTold { seed: args.seed, worlds: args.worlds };
    let plan = GuardCampaign { settings, worlds: args.worlds, seed: args.seed };
    let counting = args.job.count(
        ("guard campaign", console),
        &told,
        |job, watch| run_worlds(&plan, job, watch),
        refused,
    )?;
    let table = match counting {
        Counting::Part(exit) => return Ok(exit),
        Counting::Whole(so_far) => args.job.whole(so_far)?,
    };
    let crippled = if args.ablate { ablation(&plan).map_err(refused)? } else { Vec::new() };
    tell(&told, (&table, &crippled), folder, console)
}

/// The folder for verdict, page and table.
///
/// # Errors
/// When it holds what this campaign did not make.
pub(super) fn claimed(dir: Option<&Path>) -> Result<Option<OutFolder>, Failure> {
    dir.map(|dir| OutFolder::claim(dir, Maker::GuardCampaign)).transpose()
}

/// Tells the result of a whole campaign.
///
/// # Errors
/// When the folder or standard output cannot be written.
pub(super) fn tell(
    told: &GuardTold,
    (table, crippled): (&Table, &[AblationRow]),
    folder: Option<OutFolder>,
    console: &Console,
) -> VerbResult {
    let GuardTold { seed, worlds } = *told;
    if let Some(folder) = folder {
        guard_report::write(folder, table, seed, worlds)?;
    }
    let exit = if table.lost() == 0 { Exit::Done } else { Exit::OutOfLimits };
    let document = GuardDocument {
        seed,
        worlds,
        lost: table.lost(),
        untraced: table.untraced(),
        faults: table.rows.iter().map(GuardRow::from).collect(),
        ablation: crippled.iter().map(AblatedRow::from).collect(),
    };
    console.result(&text(told, table, crippled), &document)?;
    Ok(exit)
}

fn refused(error: GuardCampaignError) -> Failure {
    match error {
        GuardCampaignError::Part(error) => refused_part(error),
        GuardCampaignError::World { .. } | GuardCampaignError::Diverged { .. } => {
            Failure::undetermined(error)
        }
    }
}

/// The verdict, what became of the worlds of each fault, why limits were passed, and the verdict once more.
fn text(told: &GuardTold, table: &Table, crippled: &[AblationRow]) -> String {
    let verdict = verdict(table);
    let mut out =
        format!("{verdict}\n{} simulated worlds, seed {}; nothing moved\n\n", told.worlds, told.seed);
    // Writing to a string cannot fail.
    let _ = writeln!(
        out,
        "{:<24}{:>7}{:>7}{:>7}{:>8}{:>9}{:>11}{:>6}\n{:<24}{:>7}{:>7}{:>7}{:>8}{:>9}{:>11}{:>6}",
        "",
        "",
        "de-",
        "",
        "kept in",
        "",
        "not",
        "ms to", //
        "fault",
        "worlds",
        "manding",
        "quiet",
        "time",
        "too late",
        "noticed",
        "react"
    );
    let rows = || table.rows.iter().filter(|row| row.worlds > 0);
    rows().for_each(|row| out.push_str(&line(row)));
    out.push_str(
        "\ndemanding: would pass a limit without a guard; react: the slowest\n\
         faults and drives are drawn evenly: shares of draws, no diagnostic coverage\n",
    );
    for row in rows().filter(|row| !row.causes.is_empty()) {
        let _ = writeln!(out, "\n{}: what the runs that passed a limit show", row.fault.name());
        for (cause, worlds) in &row.causes {
            let _ = writeln!(out, "{worlds:>8}  {}", cause.name());
        }
    }
    if !crippled.is_empty() {
        let _ = writeln!(out, "\n{}", AblationRow::HEADER);
    }
    for row in crippled {
        let _ = writeln!(out, "{row}");
    }
    out + "\n" + &verdict
}

fn line(row: &Row) -> String {
    format!(
        "{:<24}{:>7}{:>7}{:>7}{:>8}{:>9}{:>11}{:>6}\n",
        row.fault.name(),
        row.worlds,
        row.demanding,
        row.quiet,
        row.in_time,
        row.too_late.len(),
        row.undetected.len(),
        row.reaction_ticks
    )
}

/// What it comes to, in a line.
fn verdict(table: &Table) -> String {
    match (table.lost(), table.untraced()) {
        (0, _) => "WITHIN LIMITS: no world passed a limit".to_owned(),
        (lost, 0) => format!("OUT OF LIMITS: {lost} worlds passed a limit, each with a traced cause"),
        (lost, untraced) => {
            format!("OUT OF LIMITS: {lost} worlds passed a limit, {untraced} without a traced cause")
        }
    }
}
