//! `campaign gauge`: how well a learn repeats, and how much of its spread is the set-up's and how much the
//! units' own.
//!
//! In: how many units, set-ups and learns. Out: the study of both stops and the travel by the published
//! method (averages and ranges, and analysis of variance), from simulated units.

use firmware_core::settings::Settings;
use study::campaign::learn::{GaugeStudyError, GaugeStudyPlan, StudyLearns, StudyReadings, TOLERANCE, study};

use super::campaign_job::{Counting, PartArgs, refused_part};
use crate::console::Console;
use crate::document::{GaugeDocument, Spreads, Studied};
use crate::exit::{Exit, Failure, VerbResult};
use crate::figures::gauge::{GaugeGrade, GaugeStudy, GaugeTable};
use crate::fold::Fold;
use crate::whole_number::whole;

/// What `campaign gauge` takes: as many of each as the method's published constants allow.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Units drawn from the healthy spread, 2 to 10
    #[arg(long, default_value_t = 10, allow_negative_numbers = true, value_parser = whole::<usize>(2..=10))]
    units: usize,
    /// Set-ups of each unit on the bench, 2 or 3
    #[arg(long, default_value_t = 3, allow_negative_numbers = true, value_parser = whole::<usize>(2..=3))]
    setups: usize,
    /// Learns of each unit in each set-up, 2 or 3
    #[arg(long, default_value_t = 3, allow_negative_numbers = true, value_parser = whole::<usize>(2..=3))]
    learns: usize,
    /// Seed; the same seed gives the same bytes
    #[arg(long, default_value_t = 1)]
    seed: u64,
    #[command(flatten)]
    job: PartArgs,
}

/// Runs the study.
///
/// # Errors
/// A [`Failure`] for a unit that was not accepted.
pub fn run(args: &Args, console: &Console) -> VerbResult {
    args.job.without_pages()?;
    let plan =
        GaugeStudyPlan { units: args.units, setups: args.setups, learns: args.learns, seed: args.seed };
    match args.job.count(
        ("gauge study", console),
        &plan,
        |job, watch| study(&Settings::default(), plan, job, watch),
        refused,
    )? {
        Counting::Part(exit) => Ok(exit),
        Counting::Whole(so_far) => tell(plan, &args.job.whole(so_far)?, console),
    }
}

/// Tells the result of a whole study.
///
/// # Errors
/// When standard output takes nothing more.
pub(super) fn tell(plan: GaugeStudyPlan, learns: &StudyLearns, console: &Console) -> VerbResult {
    let studied = evaluate(&learns.readings(plan))?;
    let text = text(plan, &studied, Fold::of_the_reader());
    console.result(&text, &GaugeDocument { gauge_study: studied, seed: plan.seed })?;
    Ok(Exit::Done)
}

fn refused(error: GaugeStudyError) -> Failure {
    match error {
        GaugeStudyError::Part(error) => refused_part(error),
        GaugeStudyError::Run(_) | GaugeStudyError::NotAccepted { .. } => Failure::undetermined(error),
    }
}

fn evaluate(readings: &StudyReadings) -> Result<Vec<Studied>, Failure> {
    let of = |quantity, table: &[Vec<Vec<f64>>]| -> Result<Studied, Failure> {
        let table = GaugeTable::try_new(table.to_vec()).map_err(Failure::usage)?;
        let by_ranges = table.by_ranges().map_err(Failure::usage)?;
        Ok(Studied { quantity, by_ranges: spreads(&by_ranges), by_anova: spreads(&table.by_anova().study) })
    };
    Ok(vec![
        of("closed stop", &readings.closed)?,
        of("open stop", &readings.open)?,
        of("travel", &readings.travel)?,
    ])
}

fn spreads(study: &GaugeStudy) -> Spreads {
    Spreads {
        repeatability: study.repeatability,
        reproducibility: study.reproducibility,
        gauge: study.gauge,
        units: study.part,
        percent_of_total: study.percent_of_total(),
        percent_of_tolerance: study.percent_of_tolerance(2.0 * 100.0 * TOLERANCE),
    }
}

/// The verdict, the spreads by cause, and the verdict once more.
fn text(plan: GaugeStudyPlan, studied: &[Studied], fold: Fold) -> String {
    let verdict = verdict(studied);
    let GaugeStudyPlan { units, setups, learns, seed } = plan;
    let head = ["quantity", "method", "repeated", "re-mounted", "both", "units", "of all", "of allowed"];
    let mut rows = vec![head.map(str::to_owned).to_vec()];
    for one in studied {
        rows.extend([row(one.quantity, "ranges", &one.by_ranges), row(one.quantity, "anova", &one.by_anova)]);
    }
    [
        verdict.clone(),
        format!("{units} simulated units, {setups} set-ups of each, {learns} learns in each; seed {seed}; nothing moved"),
        String::new(),
        "standard deviations, % of travel; shares of six of them".to_owned(),
        fold.table(&rows),
        String::new(),
        "repeated: the same set-up; re-mounted: between set-ups; units: between units;".to_owned(),
        format!("allowed: a stop off by {:.0} % of travel, either way", 100.0 * TOLERANCE),
        String::new(),
        verdict,
    ]
    .join("\n")
}

fn row(quantity: &str, method: &str, spreads: &Spreads) -> Vec<String> {
    let Spreads { repeatability, reproducibility, gauge, units, percent_of_total, percent_of_tolerance } =
        spreads;
    let deviations =
        [repeatability, reproducibility, gauge, units].map(|deviation| format!("{deviation:.4}"));
    let shares = [percent_of_total, percent_of_tolerance].map(|share| format!("{share:.2} %"));
    [quantity.to_owned(), method.to_owned()].into_iter().chain(deviations).chain(shares).collect()
}

/// How the worst of the stops and the travel stands against what is allowed.
fn verdict(studied: &[Studied]) -> String {
    let shares = studied.iter().flat_map(|one| [&one.by_ranges, &one.by_anova]);
    let worst = shares.map(|s| s.percent_of_tolerance).fold(0.0, f64::max);
    let (word, why) = match GaugeGrade::of_share(worst) {
        GaugeGrade::Good => ("GOOD", "under 10 %"),
        GaugeGrade::Marginal => ("MAY DO", "10 to 30 %"),
        GaugeGrade::Poor => ("POOR", "over 30 %"),
    };
    format!("{word}: the spread of learns takes at most {worst:.1} % of what is allowed ({why})")
}
