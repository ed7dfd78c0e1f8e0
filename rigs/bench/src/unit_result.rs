//! Everything that is on record of a unit, judged: shared by `judge`, `report` and `demo`.

use std::path::Path;

use crate::console;
use crate::document::{self, VerdictDocument};
use crate::evaluate::UnitResult;
use crate::exit::Failure;
use crate::fold::Fold;
use crate::judge::{FigureRow, LimitCheck, Verdict};
use crate::limits::Limits;
use crate::output::write_file;
use crate::profile::Profile;
use crate::record::{Checked, HEAD_NOTE, RecordError, Run, RunName, VERDICT_FILE, runs_in};
use crate::report::{ReportSheet, Section, attachments};

/// The file that a report is written to.
pub(crate) const REPORT_FILE: &str = "report.html";

/// What is on record, held against the unit's log.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Records {
    /// Runs that can be read, oldest first.
    pub(crate) runs: Vec<Run>,
    /// What the log says of the folder.
    pub(crate) checked: Checked,
}

impl Records {
    /// Reads a unit's folder, or a single run's, and checks it first.
    ///
    /// # Errors
    /// When the folder holds no runs, its log was changed, or a run without a log was edited, torn or written by
    /// another version.
    pub(crate) fn read(dir: &Path) -> Result<Self, Failure> {
        let (unit_dir, one) = if dir.join(crate::record::RUN_FILE).exists() {
            let real = dir.canonicalize().map_err(Failure::usage)?;
            let one = real.file_name().and_then(|name| name.to_str()).and_then(RunName::parse);
            (real.parent().map_or_else(|| dir.to_owned(), Path::to_owned), one)
        } else {
            (dir.to_owned(), None)
        };
        let is_wanted = |run: RunName| one.is_none_or(|one| one == run);
        let found = runs_in(&unit_dir).map_err(Failure::usage)?;
        let found: Vec<_> = found.into_iter().filter(|(run, _)| is_wanted(*run)).collect();
        if found.is_empty() {
            return Err(Failure::usage(format!(
                "{}: no run folders here. Give a run's folder, or a unit's folder that holds runs.",
                dir.display()
            )));
        }
        let checked = Checked::of(&unit_dir, is_wanted).map_err(Failure::undetermined)?;
        if let Some(trouble) = &checked.log {
            return Err(Failure::undetermined(format!(
                "{}: nothing was judged: {trouble}. Restore the folder from a copy; `unit check` lists all that is found.",
                dir.display()
            )));
        }
        let runs = found.iter().filter_map(|(run, path)| opened(*run, path, &checked));
        let runs = runs.collect::<Result<_, _>>().map_err(Failure::usage)?;
        Ok(Self { runs, checked })
    }
}

/// A run that can be read. What the log names as unsound need not be readable, nor one that was cut off before it began.
fn opened(run: RunName, dir: &Path, checked: &Checked) -> Option<Result<Run, RecordError>> {
    match Run::open(dir) {
        Err(_) if checked.trouble(run).is_some() => None,
        Err(RecordError::NoRun { .. }) if checked.head.is_some() => None,
        read => Some(read.map(|run| checked.without_doubted(run))),
    }
}

/// One recorded run, once the unit's log has vouched for it; says so where no log was kept.
///
/// # Errors
/// When it cannot be read, or is not what was recorded.
pub(crate) fn vouched(dir: &Path) -> Result<Run, Failure> {
    let Records { runs, checked } = Records::read(dir)?;
    if let Some(found) = checked.unsound.first() {
        return Err(Failure::undetermined(format!(
            "{}: not used: {found}. Restore it from a copy, or record it again; `unit check` lists all that is found.",
            dir.display()
        )));
    }
    if let Some(run) = checked.unchained.first() {
        console::say(&format!(
            "{run} is unchained: recorded without a log, and vouched for by its own checksums only"
        ));
    }
    let no_run = || Failure::usage(format!("{}: no samples here. Give a run's folder.", dir.display()));
    runs.into_iter().next().ok_or_else(no_run)
}

/// The log's length and head, as a report shows them.
pub(crate) fn log_section(checked: &Checked) -> Option<Section> {
    let head = checked.head.as_ref()?;
    let text = format!("{} entries; head (SHA-256 of the last): {}. {HEAD_NOTE}", head.entries, head.sha256);
    Some(Section::new("Log of the unit").text(&text))
}

/// Judges each run by itself and writes its `verdict.json` into its folder.
///
/// # Errors
/// When a verdict cannot be written.
pub(crate) fn keep_verdicts(records: &Records, profile: &Profile, limits: &Limits) -> Result<(), Failure> {
    let unchained = &records.checked.unchained;
    records.runs.iter().try_for_each(|run| keep_alone(run, unchained.clone(), profile, limits))
}

/// Keeps a run's own verdict beside it as soon as it is recorded, for overviews; where the disk refuses, the record stands
/// and the reader is told.
pub(crate) fn keep_verdict_of(run: &Run, profile: &Profile, limits: &Limits) {
    if let Err(refused) = keep_alone(run, Vec::new(), profile, limits) {
        console::say(&format!("{}: recorded; its verdict could not be saved beside it: {refused}", run.name));
    }
}

fn keep_alone(run: &Run, unchained: Vec<RunName>, profile: &Profile, limits: &Limits) -> Result<(), Failure> {
    let unit = &run.file.run.unit;
    let alone = Checked { unchained, ..Checked::default() };
    let alone = UnitResult::of(vec![run.clone()], &alone, unit, profile, limits);
    let document = VerdictDocument { unit, report: None, log: None, verdict: &alone.verdict };
    keep(&run.dir, &document)
}

/// Writes a verdict into the folder that it speaks of.
///
/// # Errors
/// When another file stands there, or the disk refuses.
pub(crate) fn keep(dir: &Path, document: &VerdictDocument<'_>) -> Result<(), Failure> {
    let text = document::text(document)? + "\n";
    write_file(&dir.join(VERDICT_FILE), text.as_bytes())
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
    log: Option<Section>,
) -> Result<(), Failure> {
    let sheet = ReportSheet::of_unit(unit_dir).map_err(Failure::usage)?;
    let attached = attachments::section_of(unit_dir).map_err(Failure::undetermined)?;
    let html =
        result.report((profile, limits), sheet, log, attached).render().map_err(Failure::undetermined)?;
    write_file(path, html.as_bytes())
}

/// A verdict as a technician reads it: the answer, what it rests on, `more`, the answer once more.
#[must_use]
pub(crate) fn spoken(unit: &str, result: &UnitResult, more: &[String], fold: Fold) -> String {
    let verdict = &result.verdict;
    let word = verdict.judgement.word().to_uppercase();
    let job = if verdict.job.is_unnamed() { String::new() } else { format!("; {}", verdict.job) };
    let covers = if result.covers().is_empty() { "no run".to_owned() } else { result.covers() };
    let answer = format!("{unit}: {word} (judged on {covers}{job})");
    let mut lines = vec![answer.clone()];
    lines.extend(result.left_out().map(|left_out| format!("  not judged: {left_out}")));
    lines.extend(verdict.confirmed.iter().map(|line| format!("  confirmed afterwards: {line}")));
    for reason in &verdict.reasons {
        lines.push(format!("  {}: {}", reason.code, reason.seen));
        lines.push(format!("    try: {}", reason.advice));
    }
    let rows = figure_rows(verdict);
    if rows.len() > 1 {
        lines.extend([String::new(), fold.table(&rows), String::new(), verdict.rule.text(), String::new()]);
    }
    lines.extend(more.iter().cloned());
    lines.push(answer);
    lines.join("\n")
}

/// The figures that have a limit, those of the simulated engine, and what the controller held the learn against.
fn figure_rows(verdict: &Verdict) -> Vec<Vec<String>> {
    let mut rows =
        vec![["figure", "value", "allowed", "margin", "unit", "where"].map(str::to_owned).to_vec()];
    let simulated = verdict.figures.iter().filter(|figure| figure.key.starts_with("boost."));
    rows.extend(simulated.map(|FigureRow { name, text, unit, .. }| {
        [name, text, "–", "–", unit, "simulated"].map(str::to_owned).to_vec()
    }));
    let row = |check: &LimitCheck, place: &str| {
        let is_its = |figure: &&FigureRow| figure.key == check.key && figure.place == check.place;
        let figure = verdict.figures.iter().find(is_its)?;
        let allowed = check.bounds.text("").trim_end().to_owned();
        let (value, margin) = (check.with_uncertainty(&figure.text), check.margin(&figure.text));
        Some(vec![figure.name.clone(), value, allowed, margin, figure.unit.clone(), place.to_owned()])
    };
    rows.extend(verdict.checks.iter().filter_map(|check| row(check, &check.place)));
    rows.extend(verdict.learn_checks.iter().filter_map(|check| row(check, "the controller's")));
    rows
}
