//! Which measured value moves the boost response most.
//!
//! In: the two sheets and their match. Out: boost one second after tip-in, new less old, with each error of either
//! sheet at both its ends (the tornado), and with all of them drawn at once (the campaign). What both sheets share
//! moves both. The calibration stays the one made for the values as measured: it is the parts that differ.

use std::sync::atomic::{AtomicU64, Ordering};

use rayon::prelude::*;
use serde::Serialize;

use super::air::LOAD_STEPS;
use super::opening_map::OpeningMatch;
use super::turbo::{LoadStep, TurboOnEngine, engine_that_suits};
use crate::PartsSheet;
use crate::errors::{ErrorSource, ROOT_3, draw, error_sources, with_errors};
use plant::airpath::EngineParams;
use plant::nozzle::NozzleModel;

/// The load step that the sweep runs: boost one second after it is "the boost response".
pub const SWEPT: LoadStep = LOAD_STEPS[1];

/// One bar of the tornado: boost one second after the step, new less old, less the same with all as measured.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Bar {
    /// What differs: side and `section.key`, or what both share.
    pub name: String,
    /// Was it estimated?
    pub estimated: bool,
    /// Change with the error at its low end, kPa.
    pub low_kpa: f64,
    /// At its high end, kPa.
    pub high_kpa: f64,
}

impl Bar {
    /// Length of the bar, kPa.
    #[must_use]
    pub fn span_kpa(&self) -> f64 {
        (self.high_kpa - self.low_kpa).abs()
    }
}

/// The tornado and the campaign.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Sensitivity {
    /// Boost one second after the step with all values as measured, kPa: old and new.
    #[serde(rename = "nominal_kpa_absolute")]
    pub nominal_kpa: (f64, f64),
    /// Bars, longest first.
    pub bars: Vec<Bar>,
    /// New less old with all errors drawn at once.
    pub campaign: DifferenceSpread,
}

/// Spread of the difference over a campaign.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct DifferenceSpread {
    /// Number of draws.
    pub runs: u32,
    /// Seed.
    pub seed: u64,
    /// Mean, kPa.
    pub mean_kpa: f64,
    /// Standard deviation, kPa.
    pub deviation_kpa: f64,
    /// Least and largest, kPa.
    pub range_kpa: (f64, f64),
    /// Draws whose dimensions made no ring, left out.
    pub impossible: u32,
}

/// Turbos that differ from their sheets, the calibration and the stop's setting left alone.
struct TurbosOffSheet<'a> {
    pair: (&'a PartsSheet, &'a PartsSheet),
    found: &'a OpeningMatch,
    engine: EngineParams,
    opening: f64,
}

impl TurbosOffSheet<'_> {
    /// Boost one second after the step, kPa, old and new; none where the dimensions make no ring.
    fn responses(&self, (old, new): (&PartsSheet, &PartsSheet)) -> Option<(f64, f64)> {
        let as_set = NozzleModel { lever_start: self.found.new.lever_start, ..new.nozzle().ok()? };
        let response = |sheet: &PartsSheet, nozzle, opening| {
            let turbo = TurboOnEngine::try_new(sheet, nozzle, &self.engine).ok()?;
            turbo.boost_after_kpa(&SWEPT, opening).ok().filter(|boost| boost.is_finite())
        };
        Some((response(old, old.nozzle().ok()?, SWEPT.old_opening)?, response(new, as_set, self.opening)?))
    }

    /// New less old with errors in both sheets.
    fn difference<'s>(&self, errors: impl IntoIterator<Item = (&'s ErrorSource, f64)>) -> Option<f64> {
        let (old, new) = with_errors(self.pair, errors);
        self.responses((&old, &new)).map(|(old_kpa, new_kpa)| new_kpa - old_kpa)
    }

    fn bar(&self, source: &ErrorSource, nominal_kpa: f64) -> Option<Bar> {
        let at = |weight: f64| Some(self.difference([(source, weight)])? - nominal_kpa);
        let (low_kpa, high_kpa) = (at(-ROOT_3)?, at(ROOT_3)?);
        Some(Bar { name: source.name.clone(), estimated: source.estimated, low_kpa, high_kpa })
    }

    /// One draw of the campaign: every error anywhere in its width, by its own stream.
    fn draw(&self, sources: &[ErrorSource], seed: u64, run: u32) -> Option<f64> {
        self.difference(draw(sources, seed, run))
    }
}

/// Told how many steps are done of how many.
pub type StepsDone<'a> = dyn Fn(u64, u64) + Sync + 'a;

/// Sweeps every error, then draws `runs` pairs of sheets from all of them; `watch` is told after each.
#[must_use]
pub fn sensitivity(
    (old, new): (&PartsSheet, &PartsSheet),
    found: &OpeningMatch,
    (runs, seed): (u32, u64),
    watch: &StepsDone<'_>,
) -> Option<Sensitivity> {
    let engine = engine_that_suits(old, &found.old);
    let bench = TurbosOffSheet { pair: (old, new), found, engine, opening: found.opening(SWEPT.old_opening) };
    let nominal_kpa = bench.responses(bench.pair)?;
    let sources = error_sources(old, new);
    let difference = nominal_kpa.1 - nominal_kpa.0;
    let (done, wanted) = (AtomicU64::new(0), sources.len() as u64 + u64::from(runs));
    let one_more = || watch(done.fetch_add(1, Ordering::Relaxed) + 1, wanted);
    let bar = |source| {
        let bar = bench.bar(source, difference);
        one_more();
        bar
    };
    let mut bars: Vec<Bar> = sources.par_iter().filter_map(bar).collect();
    bars.retain(|bar| bar.span_kpa() > 0.0);
    bars.sort_by(|a, b| b.span_kpa().total_cmp(&a.span_kpa()));
    let draw = |run| {
        let drawn = bench.draw(&sources, seed, run);
        one_more();
        drawn
    };
    let drawn: Vec<Option<f64>> = (0..runs).into_par_iter().map(draw).collect();
    Some(Sensitivity { nominal_kpa, bars, campaign: spread(&drawn, seed) })
}

/// Summed in run order, so that the same seed gives the same bytes on any number of cores.
fn spread(drawn: &[Option<f64>], seed: u64) -> DifferenceSpread {
    let values: Vec<f64> = drawn.iter().flatten().copied().collect();
    let count = values.len().max(1) as f64;
    let mean_kpa = values.iter().sum::<f64>() / count;
    let squares: f64 = values.iter().map(|value| (value - mean_kpa) * (value - mean_kpa)).sum();
    let range_kpa =
        values.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), &v| (low.min(v), high.max(v)));
    DifferenceSpread {
        runs: drawn.len() as u32,
        seed,
        mean_kpa,
        deviation_kpa: libm::sqrt(squares / (count - 1.0).max(1.0)),
        range_kpa,
        impossible: (drawn.len() - values.len()) as u32,
    }
}
