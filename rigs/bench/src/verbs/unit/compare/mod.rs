//! `unit compare`: two units, or two rounds of one, side by side.
//!
//! In: two folders, or one with a job as found and as left. Out: each figure of both with its change, weighed by what
//! re-mounting alone would change, and on request a page with the runs drawn over one another. The records are checked first.

mod page;
mod side;
mod weigh;

use std::path::{Path, PathBuf};

use crate::console::Console;
use crate::criteria::CriteriaArgs;
use crate::document::{CompareDocument, ComparedFigure, ComparedSide, Weighed};
use crate::exit::{Exit, Failure, VerbResult};
use crate::fold::Fold;
use crate::output::write_file;
use crate::record::{Job, JobState};
use crate::short_text::ShortText;
use side::ComparedUnit;
use weigh::Remounting;

/// What `unit compare` takes.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// A unit's folder, or a learn's run folder in it: that learn and the runs made on it
    #[arg(value_name = "A")]
    first: PathBuf,
    /// The other; without it, A's job as found beside the same job as left
    #[arg(value_name = "B")]
    second: Option<PathBuf>,
    /// Name of the job [default: the newest]
    #[arg(long, value_name = "NAME")]
    job: Option<ShortText>,
    /// A unit that was learned and moved three times or more, re-mounted each time: changes are
    /// weighed against its spread
    #[arg(long, value_name = "UNIT_DIR")]
    remounted: Option<PathBuf>,
    /// File for the page, HTML
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    #[command(flatten)]
    criteria: CriteriaArgs,
}

/// Compares.
///
/// # Errors
/// When records, profile or limits cannot be read, or the page cannot be written.
pub(super) fn run(args: &Args, console: &Console) -> VerbResult {
    let job = |state| Job { name: args.job.clone(), state };
    let (a, b) = match &args.second {
        Some(second) => (
            ComparedUnit::of(&args.first, &job(None), &args.criteria)?,
            ComparedUnit::of(second, &job(None), &args.criteria)?,
        ),
        None => (
            ComparedUnit::of(&args.first, &job(Some(JobState::AsFound)), &args.criteria)?,
            ComparedUnit::of(&args.first, &job(Some(JobState::AsLeft)), &args.criteria)?,
        ),
    };
    let remounting = match &args.remounted {
        Some(dir) => Remounting::measured(dir)?,
        None => Remounting::Simulated,
    };
    let document = CompareDocument {
        a: side(&a),
        b: side(&b),
        weighed_by: remounting.text(),
        figures: weigh::weigh(&a, &b, &remounting),
    };
    if let Some(path) = &args.out {
        let html = page::report(&a, &b, &document).render().map_err(Failure::undetermined)?;
        write_file(path, html.as_bytes())?;
    }
    console.result(&text(&document, args.out.as_deref(), Fold::of_the_reader()), &document)?;
    Ok(Exit::Done)
}

fn side(side: &ComparedUnit) -> ComparedSide {
    let verdict = &side.result.verdict;
    ComparedSide {
        name: side.name.clone(),
        judgement: verdict.judgement,
        runs: verdict.counted.iter().map(|counted| counted.run.clone()).collect(),
    }
}

/// Where there is no row.
const NOTHING_IN_COMMON: &str = "The two have no figure in common that has a limit or could be weighed. A \
    refused or incomplete run has none: name the job (--job), or give the folder of an accepted learn.";

/// The answer in a line.
fn answer(told: &CompareDocument) -> String {
    let of = |weighed| told.figures.iter().filter(|figure| figure.weighed == weighed).count();
    format!(
        "{} beside {}: {} figures changed by more than re-mounting explains, {} did not, {} cannot be weighed",
        told.a.name,
        told.b.name,
        of(Weighed::More),
        of(Weighed::Within),
        of(Weighed::Unknown)
    )
}

fn text(told: &CompareDocument, page: Option<&Path>, fold: Fold) -> String {
    let mut lines = vec![answer(told), String::new()];
    lines.extend([("A", &told.a), ("B", &told.b)].map(|(letter, side)| {
        let runs = if side.runs.is_empty() { "no run".to_owned() } else { side.runs.join(", ") };
        fold.paragraph(&format!("{letter}: {}, {} ({runs})", side.name, side.judgement.word()))
    }));
    let mut rows = vec![["figure", "A", "B", "change", "unit", "weighed"].map(str::to_owned).to_vec()];
    rows.extend(told.figures.iter().filter(|figure| matters(figure)).map(row));
    let table = if rows.len() > 1 { fold.table(&rows) } else { fold.paragraph(NOTHING_IN_COMMON) };
    lines.extend([String::new(), table, String::new()]);
    lines.push(fold.paragraph(&format!(
        "Weighed by {}. Figures without a limit stand on the page (--out) and in --json.",
        told.weighed_by
    )));
    lines.extend(page.map(|path| format!("page {}", path.display())));
    lines.push(answer(told));
    lines.join("\n")
}

/// What stands first: figures that have a limit or could be weighed.
fn matters(figure: &ComparedFigure) -> bool {
    figure.limited || figure.weighed != Weighed::Unknown
}

fn row(figure: &ComparedFigure) -> Vec<String> {
    let ComparedFigure { name, place, a, b, change, unit, weighed, .. } = figure;
    let way = place.split_once(',').map_or(&**place, |(way, _)| way);
    let name = if way.is_empty() { name.clone() } else { format!("{name}, {way}") };
    [&name, a, b, change, unit, weighed.word()].map(str::to_owned).to_vec()
}
