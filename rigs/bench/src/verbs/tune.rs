//! `tune`: gains from what is known: of the position loop from a recorded step, of the boost law from simulated
//! engines.

use super::{tune_boost, tune_position};
use crate::console::Console;
use crate::exit::VerbResult;

/// What `tune` takes.
#[derive(Debug, clap::Args)]
#[command(args_conflicts_with_subcommands = true, subcommand_negates_reqs = true)]
pub struct Args {
    #[command(subcommand)]
    about: Option<TuneVerb>,
    #[command(flatten)]
    position: tune_position::PositionArgs,
}

#[derive(Debug, clap::Subcommand)]
enum TuneVerb {
    /// Search the boost law's gains and map over scenarios and engines that differ; judge them on other engines
    Boost(Box<tune_boost::Args>),
}

/// Runs the verb.
///
/// # Errors
/// A [`crate::exit::Failure`] with what the record, the command line or a file lacks.
pub fn run(args: &Args, console: &Console) -> VerbResult {
    match &args.about {
        Some(TuneVerb::Boost(args)) => tune_boost::run(args, console),
        None => tune_position::run(&args.position, console),
    }
}
