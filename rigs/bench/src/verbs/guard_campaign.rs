//! `campaign guard`: does the guard keep boost, turbo speed and exhaust pressure under their limits, whatever
//! is wrong? Every named fault in turn, each in a world of its own.

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use study::campaign::guard::{
    AblationRow, FaultRow, FaultTable, GuardCampaign, GuardCampaignError, ablation, run as run_worlds,
};

use super::campaign_job::{Counting, PartArgs, refused_part};
use super::{guard_report, simulate};
use crate::console::Console;
use crate::document::{AblatedRow, GuardDocument, GuardRow};
use crate::exit::{Exit, Failure, VerbResult};
use crate::fold::Fold;
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
    /// Also cripple each parameter of the guard in turn, over the same worlds: about twenty times
    /// as long. Not with --part
    #[arg(long)]
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
    args.job.without_extras(&[args.ablate.then_some("--ablate")])?;
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
    let crippled = args.ablate.then(|| {
        let what = ("guard crippled in turn", "--ablate");
        args.job.beside(what, console, |watch| ablation(&plan, watch), refused)
    });
    let crippled = crippled.transpose()?.unwrap_or_default();
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
    (table, crippled): (&FaultTable, &[AblationRow]),
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
    console.result(&text(told, table, crippled, Fold::of_the_reader()), &document)?;
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
fn text(told: &GuardTold, table: &FaultTable, crippled: &[AblationRow], fold: Fold) -> String {
    let verdict = verdict(table);
    let rows = || table.rows.iter().filter(|row| row.worlds > 0);
    let head =
        ["fault", "worlds", "demanding", "quiet", "kept in time", "too late", "not noticed", "ms to react"];
    let mut told_rows = vec![head.map(str::to_owned).to_vec()];
    told_rows.extend(rows().map(row));
    let mut lines = vec![
        verdict.clone(),
        format!("{} simulated worlds, seed {}; nothing moved", told.worlds, told.seed),
        String::new(),
        fold.table(&told_rows),
        String::new(),
        "demanding: would pass a limit without a guard; ms to react: slowest world".to_owned(),
        "faults and drives are drawn evenly: shares of draws, not diagnostic coverage".to_owned(),
    ];
    for row in rows().filter(|row| !row.causes.is_empty()) {
        lines.push(format!("\n{}: what the runs that passed a limit show", row.fault.name()));
        lines.extend(row.causes.iter().map(|(cause, worlds)| format!("  {worlds} × {}", cause.name())));
    }
    if !crippled.is_empty() {
        lines.extend([String::new(), fold.table(&ablation_rows(crippled))]);
    }
    lines.extend([String::new(), verdict]);
    lines.join("\n")
}

fn row(row: &FaultRow) -> Vec<String> {
    vec![
        row.fault.name().to_owned(),
        row.worlds.to_string(),
        row.demanding.to_string(),
        row.quiet.to_string(),
        row.in_time.to_string(),
        row.too_late.len().to_string(),
        row.undetected.len().to_string(),
        row.reaction_ticks.to_string(),
    ]
}

/// What each crippled parameter moved, head first.
fn ablation_rows(crippled: &[AblationRow]) -> Vec<Vec<String>> {
    let head = [
        "crippled",
        "demanding",
        "kept in time",
        "too late",
        "not noticed",
        "past a limit, s",
        "mean share of limit",
        "ms to react",
        "trips",
        "fuel limited, s",
        "sound acted",
    ];
    let row = |row: &AblationRow| {
        vec![
            row.crippled.to_owned(),
            row.demanding.to_string(),
            row.in_time.to_string(),
            row.too_late.to_string(),
            row.undetected.to_string(),
            format!("{:.3}", row.past_s),
            format!("{:.4}", row.mean_used),
            row.slowest_reaction_ticks.to_string(),
            row.trips.to_string(),
            format!("{:.1}", row.limited_s),
            row.sound_acted.to_string(),
        ]
    };
    std::iter::once(head.map(str::to_owned).to_vec()).chain(crippled.iter().map(row)).collect()
}

/// What it comes to, in a line.
fn verdict(table: &FaultTable) -> String {
    match (table.lost(), table.untraced()) {
        (0, _) => "WITHIN LIMITS: no world passed a limit".to_owned(),
        (lost, 0) => format!("OUT OF LIMITS: {lost} worlds passed a limit, each with a traced cause"),
        (lost, untraced) => {
            format!("OUT OF LIMITS: {lost} worlds passed a limit, {untraced} without a traced cause")
        }
    }
}
