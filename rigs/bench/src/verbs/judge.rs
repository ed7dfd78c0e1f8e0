//! `judge` and `report`: weigh what is on record, and lay it out.

use std::path::{Path, PathBuf};

use crate::console::Console;
use crate::criteria::{CriteriaArgs, recorded_on, same_profile};
use crate::document::{self, VerdictDocument};
use crate::evaluate::UnitResult;
use crate::exit::{Failure, VerbResult};
use crate::fold::Fold;
use crate::limits::Limits;
use crate::output::write_file;
use crate::profile::Profile;
use crate::record::{HEAD_NOTE, Job, LogHead, RUN_FILE, Run};
use crate::report::Section;
use crate::unit_result::{REPORT_FILE, Records, keep, keep_verdicts, log_section, spoken, write_report};

/// The file that a fitting sheet is written to.
const FITTING_FILE: &str = "fitting.html";

/// Which records, by which measure.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// A run's folder, or a unit's folder with several; the latest run of each kind counts
    #[arg(value_name = "DIR")]
    dir: PathBuf,
    #[command(flatten)]
    criteria: CriteriaArgs,
    /// Which job's runs count; without it, the newest run's.
    #[command(flatten)]
    job: Job,
    /// Also keep the verdict, and each run's own, as verdict.json in its folder, for `unit list` and `unit history`
    #[arg(long)]
    keep_verdicts: bool,
}

/// What `judge` takes besides.
#[derive(Debug, clap::Args)]
pub struct JudgeArgs {
    #[command(flatten)]
    judge: Args,
    /// File for the verdict, JSON; without it, nothing is written
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
}

/// What `report` takes besides.
#[derive(Debug, clap::Args)]
pub(crate) struct ReportArgs {
    #[command(flatten)]
    judge: Args,
    /// File to write [default: report.html in DIR, fitting.html with --fitting]
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Write the fitting sheet instead: what was learned, what does not carry over, what is checked at the engine
    #[arg(long)]
    fitting: bool,
}

impl ReportArgs {
    /// The report of a whole unit.
    pub(super) fn of_unit(dir: PathBuf, criteria: CriteriaArgs, job: Job, out: Option<PathBuf>) -> Self {
        Self { judge: Args { dir, criteria, job, keep_verdicts: false }, out, fitting: false }
    }
}

/// Judges all runs together. The records need not be writable.
///
/// # Errors
/// When records, profile or limits cannot be read, or what was asked for cannot be written.
pub fn run(args: &JudgeArgs, console: &Console) -> VerbResult {
    let judged = Judged::of(&args.judge)?;
    if let Some(path) = &args.out {
        write_file(path, (document::text(&judged.document(None))? + "\n").as_bytes())?;
    }
    judged.tell(None, console)
}

/// Judges, then writes the report.
///
/// # Errors
/// As [`run`].
pub(crate) fn run_report(args: &ReportArgs, console: &Console) -> VerbResult {
    let judged = Judged::of(&args.judge)?;
    if args.out.is_none() {
        judged.keep(&args.judge.dir)?;
    }
    judged.lay_out(args, console)
}

/// The report of a job that was just done, its verdict kept in the unit's folder.
///
/// # Errors
/// As [`run`].
pub(super) fn report_job(args: &ReportArgs, console: &Console) -> VerbResult {
    let judged = Judged::of(&args.judge)?;
    judged.keep(&args.judge.dir)?;
    judged.lay_out(args, console)
}

/// Keeps the verdict of a job that was stopped, for overviews. Stopped before its first record it has none, and the
/// reason of the stop is what the reader must see.
pub(super) fn keep_stopped_job(args: &ReportArgs) {
    let _nothing_on_record = Judged::of(&args.judge).and_then(|judged| judged.keep(&args.judge.dir));
}

/// The unit whose folder this is: the one that its runs name, if any of them does, else the first run's own.
fn unit_of(dir: &Path, runs: &[Run]) -> String {
    let folder = dir
        .canonicalize()
        .ok()
        .and_then(|dir| dir.file_name().map(|name| name.to_string_lossy().into_owned()));
    let names = || runs.iter().map(|run| &run.file.run.unit);
    let of_folder = names().find(|unit| folder.as_ref() == Some(*unit));
    of_folder.or_else(|| names().next()).cloned().unwrap_or_default()
}

/// The verdict and what it was reached by.
struct Judged {
    unit: String,
    profile: Profile,
    limits: Limits,
    result: UnitResult,
    head: Option<LogHead>,
    log: Option<Section>,
}

impl Judged {
    fn of(args: &Args) -> Result<Self, Failure> {
        let records = Records::read(&args.dir)?;
        let (profile, limits) = args.criteria.read(recorded_on(&records.runs))?;
        same_profile(&records.runs, &profile)?;
        let unit = unit_of(&args.dir, &records.runs);
        if args.keep_verdicts {
            keep_verdicts(&records, &profile, &limits)?;
        }
        let Records { runs, checked } = records;
        let result = UnitResult::of_job(runs, &checked, &unit, (&profile, &limits), &args.job);
        let judged = Self { unit, profile, limits, result, log: log_section(&checked), head: checked.head };
        if args.keep_verdicts {
            judged.keep(&args.dir)?;
        }
        Ok(judged)
    }

    /// Keeps the verdict in the unit's folder; a single run's stays with [`keep_verdicts`].
    fn keep(&self, dir: &Path) -> Result<(), Failure> {
        if dir.join(RUN_FILE).exists() { Ok(()) } else { keep(dir, &self.document(None)) }
    }

    fn lay_out(&self, args: &ReportArgs, console: &Console) -> VerbResult {
        let file = if args.fitting { FITTING_FILE } else { REPORT_FILE };
        let path = args.out.clone().unwrap_or_else(|| args.judge.dir.join(file));
        let Self { result, profile, limits, log, .. } = self;
        if args.fitting {
            let sheet = result.fitting_sheet(profile).render().map_err(Failure::undetermined)?;
            write_file(&path, sheet.as_bytes())?;
        } else {
            write_report(&path, &args.judge.dir, result, profile, limits, log.clone())?;
        }
        self.tell(Some(&path), console)
    }

    fn document(&self, report: Option<&Path>) -> VerdictDocument<'_> {
        let report = report.map(|path| path.display().to_string());
        VerdictDocument { unit: &self.unit, report, log: self.head.as_ref(), verdict: &self.result.verdict }
    }

    fn tell(&self, report: Option<&Path>, console: &Console) -> VerbResult {
        let mut more: Vec<String> =
            report.map(|path| format!("  report {}", path.display())).into_iter().collect();
        if let Some(head) = &self.head {
            more.extend(head.lines());
            more.push(format!("  {HEAD_NOTE}"));
        }
        let text = spoken(&self.unit, &self.result, &more, Fold::of_the_reader());
        console.result(&text, &self.document(report))?;
        Ok(self.result.verdict.judgement.exit())
    }
}
