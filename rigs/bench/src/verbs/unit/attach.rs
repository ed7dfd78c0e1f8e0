//! `unit attach`: puts a photograph or a paper to a unit, its hash in the unit's log.

use std::path::PathBuf;

use super::name_of;
use crate::console::Console;
use crate::document::AttachedDocument;
use crate::exit::{Exit, Failure, VerbResult};
use crate::record::attach;
use crate::short_text::ShortText;

/// What `unit attach` takes.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// The unit's folder, such as units/NAME
    #[arg(value_name = "UNIT_DIR")]
    unit_dir: PathBuf,
    /// The file, of at most 64 MB; it is copied
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// Who attaches it
    #[arg(long, value_name = "NAME")]
    by: ShortText,
    /// What it shows, such as "soot at the closed stop"
    #[arg(long, value_name = "TEXT")]
    note: ShortText,
}

pub(super) fn run(args: &Args, console: &Console) -> VerbResult {
    let unit = name_of(&args.unit_dir)?;
    let refused = |error| Failure::usage(format!("{unit}: nothing was attached. {error}"));
    let attached = attach(&args.unit_dir, &unit, &args.file, args.by.clone(), args.note.clone());
    let attached = attached.map_err(refused)?;
    let text = format!("{unit}: attached {attached}\n  SHA-256 {}", attached.sha256);
    console.result(&text, &AttachedDocument { unit: &unit, attached: &attached })?;
    Ok(Exit::Done)
}
