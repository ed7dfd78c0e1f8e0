//! `campaign guard`: does the guard keep boost, turbo speed and exhaust pressure under their limits, whatever
//! is wrong? Every named fault in turn, each in a world of its own.

use std::path::PathBuf;

use study::campaign::guard::{AblationRow, GuardCampaign, Table, ablation, run as run_worlds};

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
    #[arg(long)]
    ablate: bool,
    /// Folder for verdict.json and guard.html
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
}

/// Runs the worlds and tells what became of them; a world that passed a limit puts the verdict out of limits.
///
/// # Errors
/// A [`Failure`] for settings that are refused or a world that runs away.
pub fn run(args: &Args, console: &Console) -> VerbResult {
    let settings = simulate::controller_or_built_in(args.with.as_deref())?;
    let folder = args.out.as_deref().map(|dir| OutFolder::claim(dir, Maker::GuardCampaign)).transpose()?;
    let plan = GuardCampaign { settings, worlds: args.worlds, seed: args.seed };
    let table = run_worlds(&plan).map_err(Failure::undetermined)?;
    let crippled = if args.ablate { ablation(&plan).map_err(Failure::undetermined)? } else { Vec::new() };
    if let Some(folder) = folder {
        guard_report::write(folder, &table, args.seed, args.worlds)?;
    }
    let exit = if table.lost() == 0 { Exit::Done } else { Exit::OutOfLimits };
    let document = GuardDocument {
        seed: args.seed,
        worlds: args.worlds,
        lost: table.lost(),
        untraced: table.untraced(),
        faults: table.rows.iter().map(GuardRow::from).collect(),
        ablation: crippled.iter().map(AblatedRow::from).collect(),
    };
    console.result(&text(&table, &crippled), &document)?;
    Ok(exit)
}

/// The tables as comma-separated values, then what they come to.
fn text(table: &Table, crippled: &[AblationRow]) -> String {
    let mut text = table.to_string();
    if !crippled.is_empty() {
        text += "\ncrippled,in_time,too_late,undetected,sound_acted\n";
        for row in crippled {
            let AblationRow { crippled, in_time, too_late, undetected, sound_acted } = row;
            text += &format!("\"{crippled}\",{in_time},{too_late},{undetected},{sound_acted}\n");
        }
        text.push('\n');
    }
    let (lost, untraced) = (table.lost(), table.untraced());
    text + &format!(
        "{lost} worlds passed a limit, {untraced} of them without a traced cause; faults and drives are drawn \
         evenly, so shares are shares of draws, no diagnostic coverage"
    )
}
