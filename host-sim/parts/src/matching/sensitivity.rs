//! Which measured value moves the boost response most.
//!
//! In: the two sheets and their match. Out: the response with each value of the new sheet at either end of
//! its tolerance (the tornado), and with all of them drawn at once (the campaign). The calibration stays
//! the one made for the values as measured: it is the part that differs from the sheet.

use rand::RngExt;
use rand_pcg::Pcg64;
use rayon::prelude::*;
use serde::Serialize;

use super::air::{LOAD_STEPS, LoadStep, TurboOnEngine, engine_scale};
use super::opening_map::OpeningMatch;
use crate::{Field, PartsSheet};
use plant::nozzle::NozzleModel;

/// The load step that the sweep runs: boost one second after it is "the boost response".
pub const SWEPT: LoadStep = LOAD_STEPS[1];

/// One bar of the tornado.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Bar {
    /// `section.key` of the value.
    pub field: String,
    /// Its value and half-width, base unit.
    pub value: f64,
    /// Half-width.
    pub tolerance: f64,
    /// Unit.
    pub unit: &'static str,
    /// Was it estimated?
    pub estimated: bool,
    /// Boost one second after the step with the value at its low end, kPa.
    pub low_kpa: f64,
    /// With the value at its high end, kPa.
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
    /// Boost one second after the step with all values as measured, kPa.
    pub nominal_kpa: f64,
    /// Bars, longest first.
    pub bars: Vec<Bar>,
    /// All tolerances drawn at once.
    pub campaign: Spread,
}

/// Spread of the response over a campaign.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Spread {
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

/// The response of a sheet like the new one, the calibration and the stop's setting left alone.
struct Bench<'a> {
    old: &'a PartsSheet,
    new: &'a PartsSheet,
    found: &'a OpeningMatch,
    opening: f64,
}

impl Bench<'_> {
    /// Boost one second after the step, kPa; none where the dimensions make no ring.
    fn response(&self, sheet: &PartsSheet) -> Option<f64> {
        let nozzle = NozzleModel { lever_start: self.found.new.lever_start, ..sheet.nozzle().ok()? };
        let scale = engine_scale(&self.found.old, self.old);
        let turbo = TurboOnEngine::try_new(sheet, nozzle, self.found.old, scale).ok()?;
        turbo.boost_after_kpa(&SWEPT, self.opening).ok().filter(|boost| boost.is_finite())
    }

    fn bar(&self, field: Field) -> Option<Bar> {
        let quantity = self.new.get(field)?;
        let at = |value: f64| self.response(&self.new.with_value(field, value));
        Some(Bar {
            field: field.path(),
            value: quantity.value,
            tolerance: quantity.tolerance,
            unit: field.spec().dimension.symbol(),
            estimated: quantity.is_estimated(),
            low_kpa: at(quantity.value - quantity.tolerance)?,
            high_kpa: at(quantity.value + quantity.tolerance)?,
        })
    }

    /// One draw of the campaign: every value anywhere in its tolerance, by its own stream.
    fn draw(&self, seed: u64, run: u32) -> Option<f64> {
        let mut random = Pcg64::new(u128::from(seed), u128::from(run));
        let mut sheet = self.new.clone();
        for (field, quantity) in self.new.quantities() {
            let share: f64 = random.random_range(-1.0..=1.0);
            sheet.set(field, quantity.value + share * quantity.tolerance);
        }
        self.response(&sheet)
    }
}

/// Sweeps every value with a tolerance, then draws `runs` sheets from all of them.
#[must_use]
pub fn sensitivity(
    old: &PartsSheet,
    new: &PartsSheet,
    found: &OpeningMatch,
    runs: u32,
    seed: u64,
) -> Option<Sensitivity> {
    let bench = Bench { old, new, found, opening: found.opening(SWEPT.old_opening) };
    let nominal_kpa = bench.response(new)?;
    let fields: Vec<Field> = new.quantities().map(|(field, _)| field).collect();
    let mut bars: Vec<Bar> = fields.into_par_iter().filter_map(|field| bench.bar(field)).collect();
    bars.retain(|bar| bar.span_kpa() > 0.0);
    bars.sort_by(|a, b| b.span_kpa().total_cmp(&a.span_kpa()));
    let drawn: Vec<Option<f64>> = (0..runs).into_par_iter().map(|run| bench.draw(seed, run)).collect();
    Some(Sensitivity { nominal_kpa, bars, campaign: spread(&drawn, seed) })
}

/// Summed in run order, so that the same seed gives the same bytes on any number of cores.
fn spread(drawn: &[Option<f64>], seed: u64) -> Spread {
    let values: Vec<f64> = drawn.iter().flatten().copied().collect();
    let count = values.len().max(1) as f64;
    let mean_kpa = values.iter().sum::<f64>() / count;
    let squares: f64 = values.iter().map(|value| (value - mean_kpa) * (value - mean_kpa)).sum();
    let range_kpa =
        values.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), &v| (low.min(v), high.max(v)));
    Spread {
        runs: drawn.len() as u32,
        seed,
        mean_kpa,
        deviation_kpa: libm::sqrt(squares / (count - 1.0).max(1.0)),
        range_kpa,
        impossible: (drawn.len() - values.len()) as u32,
    }
}
