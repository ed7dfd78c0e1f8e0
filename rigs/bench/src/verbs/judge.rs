//! `judge` and `report`: weigh what is on record, and lay it out.

use std::path::PathBuf;

use serde::Serialize;

use crate::console::Console;
use crate::criteria::{CriteriaArgs, same_profile};
use crate::exit::VerbResult;
use crate::judge::Verdict;
use crate::unit_result::{REPORT_FILE, judge_all, read_runs, spoken, write_report};

/// Which records, by which measure.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// A run's folder, or a unit's folder with several; the latest run of each kind counts
    #[arg(value_name = "DIR")]
    dir: PathBuf,
    #[command(flatten)]
    criteria: CriteriaArgs,
}

/// What `report` takes besides.
#[derive(Debug, clap::Args)]
pub struct ReportArgs {
    #[command(flatten)]
    judge: Args,
    /// File to write [default: report.html in DIR]
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
}

#[derive(Serialize)]
struct Told<'a> {
    unit: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    report: Option<String>,
    #[serde(flatten)]
    verdict: &'a Verdict,
}

/// Judges each run and all together; writes each `verdict.json`.
///
/// # Errors
/// When records, profile or limits cannot be read.
pub fn run(args: &Args, console: &Console) -> VerbResult {
    judged(args, None, console)
}

/// Judges, then writes the report.
///
/// # Errors
/// As [`run`], and when the report cannot be written.
pub fn run_report(args: &ReportArgs, console: &Console) -> VerbResult {
    let out = args.out.clone().unwrap_or_else(|| args.judge.dir.join(REPORT_FILE));
    judged(&args.judge, Some(out), console)
}

fn judged(args: &Args, report: Option<PathBuf>, console: &Console) -> VerbResult {
    let (profile, limits) = args.criteria.read()?;
    let runs = read_runs(&args.dir)?;
    same_profile(&runs, &profile)?;
    let unit = runs.first().map_or_else(String::new, |run| run.file.run.unit.clone());
    let result = judge_all(runs, &profile, &limits)?;
    let mut text = spoken(&unit, &result);
    if let Some(path) = &report {
        write_report(path, &args.dir, &result, &profile, &limits, Vec::new())?;
        text.push_str(&format!("\n  report {}", path.display()));
    }
    let report = report.map(|path| path.display().to_string());
    console.result(&text, &Told { unit: &unit, report, verdict: &result.verdict });
    Ok(result.verdict.judgement.exit())
}
