//! `unit list`: the units in a folder of records.

use std::fs;
use std::path::{Path, PathBuf};

use super::{counted, in_force};
use crate::console::Console;
use crate::document::{UnitRow, UnitsDocument};
use crate::exit::{Exit, Failure, VerbResult};
use crate::record::{Run, runs_in};

/// What `unit list` takes.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Folder that holds the records, one folder for each unit
    #[arg(value_name = "DIR", default_value = "units")]
    records: PathBuf,
}

pub(super) fn run(args: &Args, console: &Console) -> VerbResult {
    let unreadable = |error| {
        Failure::usage(format!("{}: {error}. Give the folder that holds the units.", args.records.display()))
    };
    let entries = fs::read_dir(&args.records).map_err(unreadable)?;
    let mut dirs: Vec<PathBuf> = entries.filter_map(Result::ok).map(|entry| entry.path()).collect();
    dirs.sort();
    let rows = dirs.iter().filter(|dir| dir.is_dir()).map(|dir| row(dir));
    let units = rows.filter_map(Result::transpose).collect::<Result<Vec<_>, _>>()?;
    let found = UnitsDocument { units };
    console.result(&text(&found), &found)?;
    Ok(Exit::Done)
}

/// A unit; nothing where a folder holds no runs.
fn row(dir: &Path) -> Result<Option<UnitRow>, Failure> {
    let names = runs_in(dir).map_err(Failure::undetermined)?;
    let Some((newest, _)) = names.last() else { return Ok(None) };
    let unit = super::name_of(dir)?;
    let runs: Vec<Run> = names.iter().filter_map(|(_, dir)| Run::open(dir).ok()).collect();
    Ok(Some(UnitRow {
        in_force: in_force(dir, &unit, &runs)?,
        folder: dir.display().to_string(),
        runs: names.len(),
        newest: newest.to_string(),
        unit,
    }))
}

fn text(found: &UnitsDocument) -> String {
    if found.units.is_empty() {
        return "No units here yet. `vanebench learn` makes the first record.".into();
    }
    let mut lines = Vec::new();
    for row in &found.units {
        lines.push(format!("{}: {}, newest {}", row.unit, counted(row.runs), row.newest));
        lines.extend(row.in_force.iter().map(|line| format!("  in force {line}")));
    }
    lines.join("\n")
}
