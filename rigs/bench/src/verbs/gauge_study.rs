//! `campaign gauge`: how well a learn repeats, and how much of its spread is the set-up's and how much the
//! units' own.
//!
//! In: how many units, set-ups and learns. Out: the study of both stops and the travel by the published
//! method (averages and ranges, and analysis of variance), from simulated units.

use std::fmt::Write as _;

use firmware_core::settings::Settings;
use study::campaign::learn::{GaugeStudyPlan, StudyReadings, TOLERANCE, study};

use crate::console::Console;
use crate::document::{GaugeDocument, Spreads, Studied};
use crate::exit::{Exit, Failure, VerbResult};
use crate::figures::gauge::{GaugeStudy, GaugeTable};

/// What `campaign gauge` takes.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Units drawn from the healthy spread, 2 to 10
    #[arg(long, default_value_t = 10)]
    units: usize,
    /// Set-ups of each unit on the bench, 2 or 3
    #[arg(long, default_value_t = 3)]
    setups: usize,
    /// Learns of each unit in each set-up, 2 or 3
    #[arg(long, default_value_t = 3)]
    learns: usize,
    /// Seed; the same seed gives the same bytes
    #[arg(long, default_value_t = 1)]
    seed: u64,
}

/// Runs the study.
///
/// # Errors
/// A [`Failure`] for numbers outside the published constants or a unit that was not accepted.
pub fn run(args: &Args, console: &Console) -> VerbResult {
    let plan =
        GaugeStudyPlan { units: args.units, setups: args.setups, learns: args.learns, seed: args.seed };
    let readings = study(&Settings::default(), plan).map_err(Failure::undetermined)?;
    let studied = evaluate(&readings)?;
    let text = text(args, &studied);
    console.result(&text, &GaugeDocument { gauge_study: studied, seed: args.seed })?;
    Ok(Exit::Done)
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

fn text(args: &Args, studied: &[Studied]) -> String {
    let mut out = format!(
        "{} units x {} set-ups x {} learns, seed {}; standard deviations in per cent of travel\n{:<12} {:<8} {:>13} {:>15} {:>8} {:>8} {:>12} {:>14}\n",
        args.units,
        args.setups,
        args.learns,
        args.seed,
        "quantity",
        "method",
        "repeatability",
        "reproducibility",
        "gauge",
        "units",
        "% of total",
        "% of tolerance"
    );
    for one in studied {
        for (method, s) in [("ranges", &one.by_ranges), ("anova", &one.by_anova)] {
            // Writing to a string cannot fail.
            let _ = writeln!(
                out,
                "{:<12} {method:<8} {:>13.4} {:>15.4} {:>8.4} {:>8.4} {:>12.2} {:>14.2}",
                one.quantity,
                s.repeatability,
                s.reproducibility,
                s.gauge,
                s.units,
                s.percent_of_total,
                s.percent_of_tolerance
            );
        }
    }
    out
}
