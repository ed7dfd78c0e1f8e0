//! `unit list`: the units in a folder of records, from what was kept of them; nothing is checked.

use std::fs;
use std::path::{Path, PathBuf};
use std::time::{SystemTime, UNIX_EPOCH};

use firmware_core::calibration::Calibration;

use super::{counted, in_force_as_recorded};
use crate::console::Console;
use crate::document::{UnitRow, UnitsDocument};
use crate::exit::{Exit, Failure, VerbResult};
use crate::fold::Fold;
use crate::judge::{Judgement, StoredVerdict};
use crate::output::{MADE_BY, write_file};
use crate::record::{RunHead, RunKind};

/// What `unit list` takes.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Folder that holds the records, one folder for each unit
    #[arg(value_name = "DIR", default_value = "units")]
    records: PathBuf,
    /// Also write the list to this file, RFC 4180
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,
}

/// What an overview is not.
const UNCHECKED: &str =
    "Verdicts are as saved at the time, not checked again: `unit check` and `judge` check one unit.";
/// Seconds of a day.
const DAY: i64 = 86_400;

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
    if let Some(path) = &args.csv {
        write_file(path, &csv(&found)?)?;
    }
    console.result(&text(&found, Fold::of_the_reader()), &found)?;
    Ok(Exit::Done)
}

/// A unit; nothing where a folder holds no runs.
fn row(dir: &Path) -> Result<Option<UnitRow>, Failure> {
    let runs = RunHead::all_in(dir).map_err(Failure::undetermined)?;
    let Some((newest, newest_head)) = runs.last() else { return Ok(None) };
    let unit = super::name_of(dir)?;
    let heads: Vec<&RunHead> = runs.iter().filter_map(|(_, run)| run.as_ref().ok()).collect();
    let stored = StoredVerdict::in_folder(dir);
    let last_judged = stored.iter().flat_map(|stored| &stored.counted).map(|counted| &counted.run).max();
    let newer = runs.iter().filter(|(name, _)| last_judged.is_some_and(|last| name.to_string() > *last));
    let file = newest_head.as_ref().ok().map(|head| &head.file);
    Ok(Some(UnitRow {
        in_force: in_force_as_recorded(&unit, &heads)?,
        folder: dir.display().to_string(),
        runs: runs.len(),
        newest: newest.to_string(),
        newer_runs: newer.count(),
        stored_verdict: stored.map(|stored| stored.judgement),
        job: file.and_then(|file| file.job()),
        begun: file.and_then(|file| file.begun()),
        age_days: file.and_then(|file| file.begun_unix_s()).map(days_since),
        drift_percent: drift(&heads),
        unit,
    }))
}

fn days_since(unix_s: i64) -> i64 {
    let now = SystemTime::now().duration_since(UNIX_EPOCH).map_or(0, |since| since.as_secs() as i64);
    (now - unix_s).max(0) / DAY
}

/// How far the newest learn found a stop from where the first full learn in its setup and warmth did, per cent of travel.
fn drift(heads: &[&RunHead]) -> Option<f64> {
    let learns = || heads.iter().filter(|head| head.name.kind == RunKind::Learn);
    let now = learns().rev().find_map(|head| head.file.outcome.calibration)?;
    let is_alike = |then: &Calibration| then.setup == now.setup && then.warmth == now.warmth;
    let full = learns().filter(|head| !head.file.is_relearn());
    let first = full.filter_map(|head| head.file.outcome.calibration).find(is_alike)?;
    let moved = [
        now.closed.zero_push_counts - first.closed.zero_push_counts,
        now.open.zero_push_counts - first.open.zero_push_counts,
    ];
    let most = moved.into_iter().max_by(|a, b| a.abs().total_cmp(&b.abs())).unwrap_or(0.0);
    Some(f64::from(100.0 * most.abs() / first.span_counts().abs()))
}

fn verdict(row: &UnitRow) -> String {
    let word = row.stored_verdict.map_or("none saved", Judgement::word);
    match row.newer_runs {
        0 => word.to_owned(),
        newer => format!("{word}; {} since", counted(newer)),
    }
}

fn age(days: i64) -> String {
    if days == 0 { "today".into() } else { format!("{days} d") }
}

fn text(found: &UnitsDocument, fold: Fold) -> String {
    if found.units.is_empty() {
        return "No units here yet. `vanebench learn` makes the first record.".into();
    }
    let head = ["unit", "verdict", "job", "age", "drift", "in force", "runs"];
    let mut rows = vec![head.map(str::to_owned).to_vec()];
    rows.extend(found.units.iter().map(|row| {
        vec![
            row.unit.clone(),
            verdict(row),
            row.job.clone().unwrap_or_else(|| "–".into()),
            row.age_days.map_or_else(|| "–".into(), age),
            row.drift_percent.map_or_else(|| "–".into(), |drift| format!("{drift:.2} %")),
            row.in_force.join("; "),
            row.runs.to_string(),
        ]
    }));
    let units = match found.units.len() {
        1 => "1 unit".to_owned(),
        units => format!("{units} units"),
    };
    let of = |word| found.units.iter().filter(|row| row.stored_verdict == word).count();
    let [within, out, open] =
        [Judgement::WithinLimits, Judgement::OutOfLimits, Judgement::Undetermined].map(|word| of(Some(word)));
    let without = of(None);
    let answer = format!(
        "{units}: {within} within limits, {out} out of limits, {open} undetermined, {without} without a \
         saved verdict"
    );
    let drift = "Drift: how far the stop that moved more has moved since the first learn, % of travel.";
    format!("{answer}. {UNCHECKED}\n\n{}\n\n{drift}\n{answer}", fold.table(&rows))
}

fn csv(found: &UnitsDocument) -> Result<Vec<u8>, Failure> {
    let mut writer = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
    let head = [
        "unit",
        "stored verdict, unchecked",
        "runs since",
        "job",
        "newest run",
        "begun",
        "age [d]",
        "drift [% of travel]",
        "in force, unchecked",
        MADE_BY,
    ];
    writer.write_record(head).map_err(Failure::undetermined)?;
    for row in &found.units {
        let fields = [
            row.unit.clone(),
            row.stored_verdict.map_or("", Judgement::word).to_owned(),
            row.newer_runs.to_string(),
            row.job.clone().unwrap_or_default(),
            row.newest.clone(),
            row.begun.clone().unwrap_or_default(),
            row.age_days.map_or_else(String::new, |days| days.to_string()),
            row.drift_percent.map_or_else(String::new, |drift| format!("{drift:.3}")),
            row.in_force.join("; "),
            String::new(),
        ];
        writer.write_record(fields).map_err(Failure::undetermined)?;
    }
    writer.into_inner().map_err(Failure::undetermined)
}
