//! `unit explain`: why a run has no closing line in the unit's log.
//!
//! In: the unit's folder, the run, who says so and why. Out: a line in the log, and the folder checked again. The
//! run is not touched, stays incomplete and counts for nothing. Refused for every run that the log does not hold as open.

use std::path::PathBuf;

use super::{check, name_of};
use crate::console::Console;
use crate::exit::{Failure, VerbResult};
use crate::record::{Checked, RunName, RunTrouble, explain};
use crate::short_text::ShortText;

/// What `unit explain` takes.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// The unit's folder, such as units/NAME
    #[arg(value_name = "UNIT_DIR")]
    unit_dir: PathBuf,
    /// The run, such as 0003-sweep
    #[arg(value_name = "RUN", value_parser = run_name)]
    run: RunName,
    /// Who explains it
    #[arg(long, value_name = "NAME")]
    by: ShortText,
    /// Why it was not closed, such as "power cut"
    #[arg(long, value_name = "TEXT")]
    why: ShortText,
}

fn run_name(word: &str) -> Result<RunName, String> {
    RunName::parse(word).ok_or_else(|| "allowed: a run's name, such as 0003-sweep".to_owned())
}

pub(super) fn run(args: &Args, console: &Console) -> VerbResult {
    let unit = name_of(&args.unit_dir)?;
    let run = args.run;
    let refused = |why: String| Failure::usage(format!("{unit}: nothing was explained. {why}"));
    let checked = Checked::of(&args.unit_dir, |one| one == run).map_err(Failure::undetermined)?;
    if let Some(trouble) = &checked.log {
        return Err(refused(format!("{trouble}. Restore the folder from a copy.")));
    }
    match checked.trouble(run) {
        Some(RunTrouble::NotClosed) => {}
        Some(trouble) => {
            return Err(refused(format!("{run}: {trouble}. Allowed: a run without a closing line.")));
        }
        None => {
            return Err(refused(format!(
                "The log has no open entry for {run}. Allowed: a run that `unit check` names as incomplete."
            )));
        }
    }
    explain(&args.unit_dir, &unit, run, args.by.clone(), args.why.clone()).map_err(Failure::undetermined)?;
    check::show(&args.unit_dir, console)
}
