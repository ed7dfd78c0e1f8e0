//! `sweep`, `friction` and `step`: move a learned unit and record it.

use serde::Serialize;

use crate::console::Console;
use crate::exit::{Failure, VerbResult};
use crate::procedure::{Bench, MoveKind, TargetArgs, record_move};
use crate::record::Run;
use crate::unit_store;

/// What each of them takes.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(flatten)]
    target: TargetArgs,
}

#[derive(Serialize)]
struct Told {
    unit: String,
    run: String,
    folder: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    lost: Option<String>,
}

/// Moves the unit and records it.
///
/// # Errors
/// A [`Failure`] when the unit was never learned, or the run was cut short.
pub fn run(args: &Args, kind: MoveKind, console: &Console) -> VerbResult {
    let target = args.target.prepare()?;
    let known = unit_store::known(&target.unit_dir, target.setup, target.warmth)?
        .ok_or_else(|| unit_store::no_calibration(&target))?;
    let mut bench = Bench::open(&target)?;
    let bar = console.progress("moving", 1000);
    let progress = |part: f64| bar.set_position((part * 1000.0) as u64);
    let dir = record_move(&mut bench, &target, kind, known, &progress);
    bar.finish_and_clear();
    let dir = dir.map_err(Failure::from)?;
    let run = dir.file_name().map_or_else(String::new, |name| name.to_string_lossy().into_owned());
    let lost = Run::open(&dir).map_err(Failure::undetermined)?.loss().text();
    let mut text = format!("{}: recorded {}", target.unit, dir.display());
    if let Some(lost) = &lost {
        text.push_str(&format!("\n  {lost}; a figure that needs them is undetermined"));
    }
    let told = Told { unit: target.unit, run, folder: dir.display().to_string(), lost };
    console.result(&text, &told);
    Ok(crate::exit::Exit::Done)
}
