//! `match`: from the parts of the old turbo and of the new one to a calibration that fits.
//!
//! Reads two parts sheets, compares, prints; with `--out` writes the report, the opening map and the
//! controller's settings for the new turbo. Nothing moves.

mod answer;
mod compressor;
mod drawing;
mod engine;
mod gauge;
mod limits;
mod page;
mod rows;
mod text;
mod travel;

pub(super) use rows::with_unit;

use std::path::{Path, PathBuf};

use firmware_core::settings::Settings;
use parts::PartsSheet;
use parts::compressor_map::CompressorMap;
use parts::matching::{
    CarriedLimits, OpeningMatch, PowerRanges, StatedLimits, Study, StudyPlan, match_sheets, remap_settings,
};

use super::simulate;
use crate::caution::HANDED_OVER;
use crate::console::Console;
use crate::document::MatchDocument;
use crate::exit::{Exit, Failure, VerbResult};
use crate::fold::Fold;
use crate::output::{Maker, OutFolder};
use crate::progress::ProgressLine;
use crate::whole_number::whole;

/// Most draws of the what-if campaign: a minute or two.
const RUNS_MAX: u64 = 20_000;

/// What `match` takes.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Parts sheet of the turbo that the calibration was made for
    old: PathBuf,
    /// Parts sheet of the turbo that goes on
    new: PathBuf,
    /// Controller settings made for the old turbo, TOML [default: those of the invented bench engine A]
    #[arg(long, value_name = "FILE")]
    controller: Option<PathBuf>,
    /// Boost limit for the new controller, kPa absolute [default: the old controller's]
    #[arg(long, value_name = "KPA", allow_negative_numbers = true, value_parser = |word: &str| within(word, (120.0, 900.0), "kPa absolute"))]
    boost_limit: Option<f64>,
    /// Who allows a boost limit above the old controller's: a data sheet, the engine maker
    #[arg(long, value_name = "WORDS", requires = "boost_limit")]
    limit_source: Option<String>,
    /// Hottest gas before the turbine, °C; the turbine wheel's speed limit follows from it
    #[arg(long, value_name = "C", default_value_t = 800.0, allow_negative_numbers = true, value_parser = |word: &str| within(word, (200.0, 1200.0), "°C"))]
    turbine_inlet: f64,
    /// Measured compressor map of the old turbo, CSV
    #[arg(long, value_name = "MAP.csv")]
    old_map: Option<PathBuf>,
    /// Measured compressor map of the new turbo, CSV
    #[arg(long, value_name = "MAP.csv")]
    new_map: Option<PathBuf>,
    /// Air-fuel ratio by mass, least and most
    #[arg(long, value_name = "LEAST,MOST", default_value = "18,28", value_parser = |word: &str| range(word, (14.0, 80.0)))]
    air_fuel: (f64, f64),
    /// Fuel consumption, g/kWh, least and most
    #[arg(long, value_name = "LEAST,MOST", default_value = "200,240", value_parser = |word: &str| range(word, (150.0, 500.0)))]
    consumption: (f64, f64),
    /// Pressure drop of your flow bench, kPa: the target at the closed stop is given for it
    #[arg(long, value_name = "KPA", default_value_t = 5.0, allow_negative_numbers = true, value_parser = |word: &str| within(word, (0.2, 40.0), "kPa"))]
    bench_drop: f64,
    /// Draws of the what-if campaign over all tolerances
    #[arg(long, default_value_t = 200, allow_negative_numbers = true, value_parser = whole::<u32>(2..=RUNS_MAX))]
    runs: u32,
    /// Seed of that campaign
    #[arg(long, default_value_t = 1, allow_negative_numbers = true, value_parser = whole::<u64>(0..=u64::MAX))]
    seed: u64,
    /// Folder for match.html, opening-map.csv and controller.toml
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    #[command(flatten)]
    travel: travel::TravelArgs,
}

/// A number within a range.
fn within(word: &str, (least, most): (f64, f64), unit: &str) -> Result<f64, String> {
    let number = word.parse::<f64>().ok().filter(|number| (least..=most).contains(number));
    number.ok_or_else(|| format!("allowed {least} to {most} {unit}"))
}

/// `LEAST,MOST` within a range.
fn range(word: &str, (least, most): (f64, f64)) -> Result<(f64, f64), String> {
    let ends = word.split_once(',').and_then(|(a, b)| Some((a.trim().parse().ok()?, b.trim().parse().ok()?)));
    match ends {
        Some((a, b)) if least <= a && a <= b && b <= most => Ok((a, b)),
        _ => Err(format!("write LEAST,MOST; allowed {least} to {most}")),
    }
}

/// A sheet, with its compressor map where one was named.
fn sheet(path: &Path, map: Option<&PathBuf>) -> Result<PartsSheet, Failure> {
    let sheet = PartsSheet::read(path).map_err(Failure::usage)?;
    match map {
        None => Ok(sheet),
        Some(map) => CompressorMap::read(map).and_then(|map| sheet.with_map(map)).map_err(Failure::usage),
    }
}

/// Compares, prints, writes.
///
/// # Errors
/// A [`Failure`] for sheets or settings that cannot be used, and for a folder that cannot be written.
pub fn run(args: &Args, console: &Console) -> VerbResult {
    let old = sheet(&args.old, args.old_map.as_ref())?;
    let new = sheet(&args.new, args.new_map.as_ref())?;
    let before = simulate::controller_or_built_in(args.controller.as_deref())?;
    let travel = args.travel.check(&new)?;
    let folder = args.out.as_deref().map(|dir| OutFolder::claim(dir, Maker::Match)).transpose()?;
    let stated = StatedLimits {
        boost_kpa: args.boost_limit,
        source: args.limit_source.clone(),
        turbine_inlet_c: args.turbine_inlet,
    };
    let limits = CarriedLimits::between(&old, &new, &before.guard.limits, stated).map_err(Failure::usage)?;
    let plan = StudyPlan {
        limits: limits.clone(),
        power: PowerRanges { air_fuel: args.air_fuel, g_per_kwh: args.consumption },
        bench_drop_kpa: args.bench_drop,
        runs: args.runs,
        seed: args.seed,
    };
    let shown = ProgressLine::begin(console, "match");
    let study =
        Study::of(&old, &new, plan, &|done, wanted| shown.set(done, wanted)).map_err(Failure::usage)?;
    drop(shown);
    let found = match_sheets(&old, &new).map_err(Failure::usage)?;
    let remapped = remap_settings(&found, &limits, &before).map_err(|error| {
        Failure::usage(format!("settings for the new turbo: {error}; match by hand there"))
    })?;
    let misfit = !study.not_met.is_empty()
        || !limits::passed(&study).is_empty()
        || !compressor::beyond(&study).is_empty()
        || travel.as_ref().is_some_and(|t| !t.findings.is_empty());
    let exit = match (misfit, study.not_known.is_empty()) {
        (true, _) => Exit::OutOfLimits,
        (false, false) => Exit::Undetermined,
        (false, true) => Exit::Done,
    };
    let told = MatchDocument { study, settings: remapped.changes, travel, exit };
    if let Some(folder) = folder {
        write(folder, &told, &found, &remapped.settings)?;
    }
    console.result(&text::told(&told, args.out.as_deref(), Fold::of_the_reader()), &told)?;
    Ok(exit)
}

fn write(
    folder: OutFolder,
    told: &MatchDocument,
    found: &OpeningMatch,
    settings: &Settings,
) -> Result<(), Failure> {
    let page = page::report(told).render().map_err(Failure::undetermined)?;
    let map = opening_map(&told.study, found);
    let controller = controller_toml(told, settings).map_err(Failure::undetermined)?;
    folder.replace(&[
        ("match.html", page.as_bytes()),
        ("opening-map.csv", map.as_bytes()),
        ("controller.toml", controller.as_bytes()),
    ])
}

fn controller_toml(told: &MatchDocument, settings: &Settings) -> Result<String, toml::ser::Error> {
    let head = format!(
        "# Controller settings carried over from {:?} to {:?} at equal nozzle area.\n# {HANDED_OVER}\n",
        told.study.old.name, told.study.new.name
    );
    let study = &told.study;
    let passed = limits::passed(study).into_iter().chain(compressor::beyond(study));
    let warnings = passed
        .map(|words| format!("# NOT WITHIN LIMITS: {words}.\n"))
        .chain(study.not_met.iter().map(|words| format!("# NOT MET: {words}.\n")))
        .chain(study.not_known.iter().map(|words| format!("# NOT KNOWN WELL ENOUGH: {words}.\n")));
    let grounds = limits::grounds(&told.study.plan.limits).into_iter().map(|words| format!("# {words}\n"));
    let head = warnings.chain(grounds).fold(head, |head, line| head + &line) + "\n";
    Ok(head + &toml::to_string(settings)?)
}

/// The opening map in steps of 1 %, RFC 4180; the uncertainty is empty where the area is not met.
fn opening_map(study: &Study, found: &OpeningMatch) -> String {
    // RFC 4180 knows no comment: the caution is the name of a last, empty column.
    let mut csv = format!(
        "old_opening,new_opening,standard_uncertainty,wanted_area_mm2,given_area_mm2,old_vane_deg,new_vane_deg,slope_ratio,met,\"{HANDED_OVER}\"\r\n",
    );
    for (knot, known) in study.map.iter().zip(&study.uncertainty.openings) {
        csv += &format!(
            "{:.2},{:.9},{},{:.6},{:.6},{:.6},{:.6},{:.6},{},\r\n",
            knot.old_opening,
            knot.new_opening,
            known.map(|u| format!("{u:.4}")).unwrap_or_default(),
            knot.wanted_mm2,
            knot.given_mm2,
            knot.vane_deg.0,
            knot.vane_deg.1,
            found.slope_ratio(knot.old_opening),
            text::met(knot.met),
        );
    }
    csv
}
