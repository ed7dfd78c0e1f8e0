//! Everything that is on record of a unit, judged: shared by `judge`, `report` and `demo`.

use std::path::Path;

use plant::files::write_whole;
use serde::Serialize;

use crate::evaluate::UnitResult;
use crate::exit::Failure;
use crate::limits::Limits;
use crate::output::write_file;
use crate::profile::Profile;
use crate::record::{Run, VERDICT_FILE, runs_in};
use crate::report::{Section, Sheet};

/// The file that a report is written to.
pub(crate) const REPORT_FILE: &str = "report.html";

/// Reads a unit's folder, or a single run's.
///
/// # Errors
/// When the folder holds no runs, or one of them was edited, torn or written by another version.
pub(crate) fn read_runs(dir: &Path) -> Result<Vec<Run>, Failure> {
    if dir.join(crate::record::RUN_FILE).exists() {
        return Ok(vec![Run::open(dir).map_err(Failure::usage)?]);
    }
    let found = runs_in(dir).map_err(Failure::usage)?;
    if found.is_empty() {
        return Err(Failure::usage(format!(
            "{}: no run folders here. Give a run's folder, or the folder of a unit that holds some.",
            dir.display()
        )));
    }
    found.iter().map(|(_, path)| Run::open(path).map_err(Failure::usage)).collect()
}

/// Judges each run by itself and writes its `verdict.json` into its folder.
///
/// # Errors
/// When a verdict cannot be written.
pub(crate) fn keep_verdicts(runs: &[Run], profile: &Profile, limits: &Limits) -> Result<(), Failure> {
    runs.iter().try_for_each(|run| {
        let alone = UnitResult::of(vec![run.clone()], &run.file.run.unit, profile, limits);
        let text = verdict_text(&alone.verdict)?;
        write_whole(&run.dir.join(VERDICT_FILE), text.as_bytes()).map_err(Failure::undetermined)
    })
}

/// A verdict as it stands in `verdict.json`.
///
/// # Errors
/// None in a sound build: every verdict can be written as JSON.
pub(crate) fn verdict_text(verdict: &impl Serialize) -> Result<String, Failure> {
    serde_json::to_string_pretty(verdict).map(|text| text + "\n").map_err(Failure::undetermined)
}

/// Lays out and writes the report.
///
/// # Errors
/// When the sheet is wrong or the disk refuses.
pub(crate) fn write_report(
    path: &Path,
    unit_dir: &Path,
    result: &UnitResult,
    profile: &Profile,
    limits: &Limits,
    more: Vec<Section>,
) -> Result<(), Failure> {
    let sheet = Sheet::of_unit(unit_dir).map_err(Failure::usage)?;
    let html = result.report(profile, limits, sheet, more).render().map_err(Failure::undetermined)?;
    write_file(path, html.as_bytes())
}

/// A verdict in the few lines that a technician reads.
#[must_use]
pub(crate) fn spoken(unit: &str, result: &UnitResult) -> String {
    let verdict = &result.verdict;
    let word = verdict.judgement.word().to_uppercase();
    let mut lines = vec![format!("{unit}: {word} (judged on {})", result.covers())];
    lines.extend(result.left_out().map(|left_out| format!("  not judged: {left_out}")));
    for reason in &verdict.reasons {
        lines.push(format!("  {}: {}", reason.code, reason.seen));
        lines.push(format!("    try: {}", reason.advice));
    }
    for row in verdict.figures.iter().filter(|row| row.key.starts_with("boost.")) {
        lines.push(format!("  {:<34} {:>9} {:<12} (simulated)", row.name, row.text, row.unit));
    }
    for check in &verdict.checks {
        let row = verdict.figures.iter().find(|f| f.key == check.key && f.place == check.place);
        if let Some(row) = row {
            let allowed = check.bounds.text(&row.unit);
            let place = if row.place.is_empty() { String::new() } else { format!(", {}", row.place) };
            lines.push(format!(
                "  {:<34} {:>9} {:<12} (allowed {allowed}){place}",
                row.name, row.text, row.unit
            ));
        }
    }
    lines.join("\n")
}
