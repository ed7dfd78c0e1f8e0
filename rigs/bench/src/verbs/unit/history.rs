//! `unit history`: the runs of a unit, and how its figures went from learn to learn.

use std::path::{Path, PathBuf};

use super::{counted, in_force, in_force_as_recorded, name_of, round};
use crate::console::Console;
use crate::document::{HistoryDocument, HistoryRow};
use crate::exit::{Exit, Failure, VerbResult};
use crate::fold::Fold;
use crate::record::{
    Attached, Checked, Endurance, RecordError, Run, RunHead, RunKind, RunName, RunStatus, attached,
};
use crate::unit_store;

/// What `unit history` takes.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// The unit's folder, such as units/NAME
    #[arg(value_name = "UNIT_DIR")]
    unit_dir: PathBuf,
    /// Check every run against the unit's log first; without it, the history is shown unchecked
    #[arg(long)]
    check: bool,
}

pub(super) fn run(args: &Args, console: &Console) -> VerbResult {
    let (dir, unit) = (&args.unit_dir, name_of(&args.unit_dir)?);
    let mut runs = RunHead::all_in(dir).map_err(Failure::usage)?;
    let checked = if args.check { read_whole(dir, &mut runs) } else { Checked::by_names(dir, &runs) };
    let checked = checked.map_err(Failure::undetermined)?;
    let rows = runs.iter().map(|(name, run)| row(*name, run.as_ref(), &checked)).collect();
    let heads: Vec<&RunHead> = runs.iter().filter_map(|(_, run)| run.as_ref().ok()).collect();
    let in_force = if args.check {
        in_force(&heads, |setup, warmth| unit_store::read(dir, &unit, setup, warmth))?
    } else {
        in_force_as_recorded(&unit, &heads)?
    };
    let log = checked.log.as_ref().map(ToString::to_string);
    let history = HistoryDocument {
        runs: rows,
        rounds: round::rounds(&heads),
        attached: attached(dir).map_err(Failure::undetermined)?,
        checked: args.check,
        log_found: log.into_iter().chain(checked.confirmed.as_ref().map(ToString::to_string)).collect(),
        in_force,
        unit,
    };
    console.result(&text(&history, dir, Fold::of_the_reader()), &history)?;
    Ok(Exit::Done)
}

/// Reads every run whole, so that what its own checksums do not bear out is known, then the log.
fn read_whole(
    dir: &Path,
    runs: &mut [(RunName, Result<RunHead, RecordError>)],
) -> Result<Checked, RecordError> {
    let checked = Checked::of(dir, |_| true)?;
    for (name, run) in runs {
        *run = Run::open(&dir.join(name.to_string())).map(|run| checked.without_doubted(run).into_head());
    }
    Ok(checked)
}

fn row(name: RunName, run: Result<&RunHead, &RecordError>, checked: &Checked) -> HistoryRow {
    let file = run.ok().map(|run| &run.file);
    let ended = match (run, file.map(|file| &file.status)) {
        (Err(error), _) => format!("cannot be relied on: {error}"),
        (Ok(_), Some(RunStatus::EndedByUnit { reason, .. })) => format!("ended by the unit: {reason}"),
        (Ok(_), Some(RunStatus::Incomplete { reason })) => format!("incomplete: {reason}"),
        (Ok(run), Some(RunStatus::Complete) | None) => match &run.file.outcome.refusal {
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
        job: file.and_then(|file| file.job()),
        status: file.map(|file| file.status.clone()),
        ended,
        endurance: run.ok().and_then(endurance).unwrap_or_default(),
        confirmed: run.map(|run| run.confirmed.clone()).unwrap_or_default(),
    }
}

/// How far a cycle run is; its strokes stand among its samples.
fn endurance(head: &RunHead) -> Option<Vec<String>> {
    let run = (head.name.kind == RunKind::Cycle).then(|| Run::open(&head.dir).ok()).flatten()?;
    Endurance::of(&run).map(|endurance| endurance.lines())
}

fn text(history: &HistoryDocument, dir: &Path, fold: Fold) -> String {
    if history.runs.is_empty() {
        return format!("{}: no runs in {}", history.unit, dir.display());
    }
    let mut rows = vec![["run", "mounted", "begun, UTC", "job", "how it ended"].map(str::to_owned).to_vec()];
    let or_none = |text: &Option<String>| text.clone().unwrap_or_else(|| "–".into());
    rows.extend(history.runs.iter().map(|row| {
        let [mounted, begun, job] = [&row.mounted, &row.begun, &row.job].map(or_none);
        // Date and time stay on one line.
        let begun = begun.trim_end_matches(" UTC").replace(' ', "\u{a0}");
        vec![row.run.clone(), mounted, begun, job, row.ended.clone()]
    }));
    let mut lines = vec![head(history), String::new(), fold.table(&rows)];
    let endured = history.runs.iter().flat_map(|row| row.endurance.iter().map(move |line| (&row.run, line)));
    lines.extend(endured.map(|(run, line)| fold.paragraph(&format!("  {run}: {line}"))));
    let confirmed = history.runs.iter().flat_map(|row| &row.confirmed);
    lines.extend(confirmed.map(|one| fold.paragraph(&format!("  confirmed: {one}"))));
    lines.extend(history.attached.iter().map(|one: &Attached| fold.paragraph(&format!("  {one}"))));
    if !history.rounds.is_empty() {
        lines.extend([String::new(), round::table(&history.rounds, fold)]);
    }
    lines.push(String::new());
    lines.extend(history.log_found.iter().map(|found| fold.paragraph(&format!("  {found}"))));
    lines.extend(history.in_force.iter().map(|line| fold.paragraph(&format!("  in force {line}"))));
    lines.push(fold.paragraph(&head(history)));
    lines.join("\n")
}

fn head(history: &HistoryDocument) -> String {
    let runs = counted(history.runs.len());
    let how = if history.checked {
        "each checked against the log"
    } else {
        "not checked; --check compares them with the log"
    };
    format!("{}: {runs}, {how}", history.unit)
}
