//! `unit history`: the runs of a unit.

use std::path::{Path, PathBuf};

use super::{counted, in_force, name_of};
use crate::console::Console;
use crate::document::{HistoryDocument, HistoryRow};
use crate::exit::{Exit, Failure, VerbResult};
use crate::record::{Checked, Run, RunName, Status, runs_in};

/// What `unit history` takes.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// The unit's folder, such as units/NAME
    #[arg(value_name = "UNIT_DIR")]
    unit_dir: PathBuf,
}

pub(super) fn run(args: &Args, console: &Console) -> VerbResult {
    let unit = name_of(&args.unit_dir)?;
    let named = runs_in(&args.unit_dir).map_err(Failure::usage)?;
    let checked = Checked::of(&args.unit_dir, |_| true).map_err(Failure::undetermined)?;
    let open = |dir: &Path| Run::open(dir).map(|run| checked.without_doubted(run)).map_err(|e| e.to_string());
    let opened: Vec<_> = named.iter().map(|(name, dir)| (*name, open(dir))).collect();
    let rows = opened.iter().map(|(name, run)| row(*name, run.as_ref(), &checked)).collect();
    let runs: Vec<Run> = opened.into_iter().filter_map(|(_, run)| run.ok()).collect();
    let in_force = in_force(&args.unit_dir, &unit, &runs)?;
    let log = checked.log.as_ref().map(ToString::to_string);
    let log_found = log.into_iter().chain(checked.confirmed.as_ref().map(ToString::to_string)).collect();
    let history = HistoryDocument { unit, runs: rows, log_found, in_force };
    console.result(&text(&history, &args.unit_dir), &history)?;
    Ok(Exit::Done)
}

fn row(name: RunName, run: Result<&Run, &String>, checked: &Checked) -> HistoryRow {
    let file = run.ok().map(|run| &run.file);
    let ended = match (run, file.map(|file| &file.status)) {
        (Err(error), _) => format!("cannot be relied on: {error}"),
        (Ok(_), Some(Status::EndedByUnit { reason, .. })) => format!("ended by the unit: {reason}"),
        (Ok(_), Some(Status::Incomplete { reason })) => format!("incomplete: {reason}"),
        (Ok(run), Some(Status::Complete) | None) => match &run.file.outcome.refusal {
            Some(refusal) => format!("refused: {}", refusal.text()),
            None => "complete".into(),
        },
    };
    let ended = match checked.trouble(name) {
        Some(trouble) => format!("cannot be relied on: {trouble}"),
        None if checked.unchained.contains(&name) => format!("{ended} (unchained)"),
        None => ended,
    };
    HistoryRow {
        run: name.to_string(),
        what: name.kind,
        mounted: file.map(|file| format!("{}, {}", file.run.setup, file.run.warmth)),
        begun: file.and_then(|file| file.begun()),
        status: file.map(|file| file.status.clone()),
        ended,
        confirmed: run.map(|run| run.confirmed.clone()).unwrap_or_default(),
    }
}

fn text(history: &HistoryDocument, dir: &Path) -> String {
    if history.runs.is_empty() {
        return format!("{}: no runs in {}", history.unit, dir.display());
    }
    let mut lines = vec![format!("{}: {}", history.unit, counted(history.runs.len()))];
    for row in &history.runs {
        let when = row.begun.as_deref().unwrap_or("");
        let mounted = row.mounted.as_deref().unwrap_or("");
        lines.push(format!("  {:<13} {mounted:<15} {when:<21} {}", row.run, row.ended));
        lines.extend(row.confirmed.iter().map(|one| format!("    confirmed: {one}")));
    }
    lines.extend(history.log_found.iter().map(|found| format!("  {found}")));
    lines.extend(history.in_force.iter().map(|line| format!("  in force {line}")));
    lines.join("\n")
}
