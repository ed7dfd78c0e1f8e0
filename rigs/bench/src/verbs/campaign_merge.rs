//! `campaign merge`: the parts of a campaign, made by whatever scheduler, told as one run would have told them.
//!
//! In: the files of all parts, in any order. Out: the bytes of one run. Refuses parts that differ, overlap or miss.

use std::path::PathBuf;

use study::campaign::learn::LearnExtras;
use study::campaign::{Asks, Counted, Merged, asked_by, merge};

use super::campaign_job::{refused_part, told};
use super::{gauge_study, guard_campaign, learn_campaign, scenario_campaign};
use crate::console::Console;
use crate::exit::{Failure, VerbResult};

/// What `campaign merge` takes.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Files of all parts, in any order
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// Folder for the pages, as for `campaign guard --out` and `campaign SCENARIO --out`
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Picture, as for `campaign learn --picture`
    #[arg(long, value_name = "FILE")]
    picture: Option<PathBuf>,
}

/// Merges and tells.
///
/// # Errors
/// A [`Failure`] that names the file, what is wrong with it and what to do.
pub fn run(args: &Args, console: &Console) -> VerbResult {
    let Some(asks) = asked_by(&args.files).map_err(refused_part)? else {
        return Err(Failure::usage("give the file of every part"));
    };
    let (out, picture) = (args.out.as_deref(), args.picture.as_deref());
    match asks {
        Asks::Learn | Asks::Gauge if out.is_some() => {
            Err(Failure::usage(format!("--out: a {asks} campaign makes no pages; leave it out")))
        }
        Asks::Scenario | Asks::Guard | Asks::Gauge if picture.is_some() => {
            Err(Failure::usage(format!("--picture: a {asks} campaign draws no picture; leave it out")))
        }
        Asks::Scenario => {
            let merged = all(args)?;
            let folder = scenario_campaign::claimed(out)?;
            scenario_campaign::tell(&told(merged.told)?, &merged.counted, (None, folder), console)
        }
        Asks::Learn => {
            let merged = all(args)?;
            learn_campaign::tell(
                &told(merged.told)?,
                (merged.counted, LearnExtras::default()),
                picture,
                console,
            )
        }
        Asks::Guard => {
            let merged = all(args)?;
            let folder = guard_campaign::claimed(out)?;
            guard_campaign::tell(&told(merged.told)?, (&merged.counted, &[]), folder, console)
        }
        Asks::Gauge => {
            let merged = all(args)?;
            gauge_study::tell(told(merged.told)?, &merged.counted, console)
        }
    }
}

fn all<C: Counted>(args: &Args) -> Result<Merged<C>, Failure> {
    merge(&args.files).map_err(refused_part)
}
