//! The independent errors behind two sheets: each reading's own, and those that readings share.
//!
//! In: two sheets. Out: sources of error with what each moves, sheets with errors in them, and what all sources
//! together leave uncertain. Two readings by one instrument share part of their error where the sheet says so
//! (`[instruments]`, a correlation coefficient); two values by one rule of thumb share what the rule gets wrong.
//! Total.

use std::collections::BTreeMap;

use rand::RngExt;
use rand_pcg::Pcg64;
use rayon::prelude::*;
use statrs::statistics::Statistics;

use super::field::Field;
use super::quantity::{Dimension, Quantity, ValueOrigin};
use super::sheet::PartsSheet;

/// Rules of thumb whose error two turbos share, and the correlation of it; own choice. What the other rules get
/// wrong is each turbo's own.
const SHARED_RULES: [(Field, f64); 5] = [
    (Field::Discharge, 0.9),
    (Field::GapDischarge, 0.9),
    (Field::TurbineDischarge, 0.9),
    (Field::TurbineExitAngle, 0.5),
    (Field::RotorInertia, 0.7),
];

/// Which of the two sheets.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum SheetSide {
    Old,
    New,
}

/// One independent error.
#[derive(Debug, Clone, PartialEq)]
pub struct ErrorSource {
    /// What it is: side and value, or what is shared.
    pub name: String,
    /// Does it rest on an estimate, so that measuring helps?
    pub estimated: bool,
    /// What one standard deviation of it moves.
    moves: Vec<(SheetSide, Field, f64)>,
}

/// What readings with a common error have in common.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
struct SharedBy {
    words: String,
    dimension: Dimension,
    /// A rule's error is shared by the same value only.
    rule_for: Option<Field>,
}

/// What a value shares its error with, and how strongly.
fn shared(sheet: &PartsSheet, field: Field, quantity: &Quantity) -> Option<(SharedBy, f64)> {
    let dimension = field.spec().dimension;
    match &quantity.origin {
        ValueOrigin::Measured { with, .. } => {
            let correlation = *sheet.instruments.get(with)?;
            Some((SharedBy { words: with.clone(), dimension, rule_for: None }, correlation))
        }
        ValueOrigin::Estimated { rule } => {
            let (_, correlation) = SHARED_RULES.iter().find(|(ruled, _)| *ruled == field)?;
            Some((SharedBy { words: rule.clone(), dimension, rule_for: Some(field) }, *correlation))
        }
    }
}

/// Correlation of the errors of two values of one sheet.
pub(crate) fn correlation(sheet: &PartsSheet, one: Field, other: Field) -> f64 {
    let of = |field| sheet.get(field).and_then(|quantity| shared(sheet, field, quantity));
    match (of(one), of(other)) {
        (Some((by, r)), Some((other_by, other_r))) if by == other_by => libm::sqrt(r * other_r),
        (Some(_) | None, Some(_) | None) => 0.0,
    }
}

/// Every independent error of two sheets.
#[must_use]
pub fn error_sources(old: &PartsSheet, new: &PartsSheet) -> Vec<ErrorSource> {
    let (mut own, mut common) = (Vec::new(), BTreeMap::<SharedBy, ErrorSource>::new());
    for (side, word, sheet) in [(SheetSide::Old, "old", old), (SheetSide::New, "new", new)] {
        for (field, quantity) in sheet.quantities() {
            let uncertainty = quantity.standard_uncertainty();
            if uncertainty <= 0.0 {
                continue;
            }
            let mut left = 1.0;
            if let Some((by, correlation)) = shared(sheet, field, quantity) {
                left = 1.0 - correlation;
                let value = by.rule_for.map_or_else(|| by.words.clone(), Field::path);
                let source = common.entry(by).or_insert_with(|| ErrorSource {
                    name: format!("both: {value}"),
                    estimated: quantity.is_estimated(),
                    moves: Vec::new(),
                });
                source.moves.push((side, field, libm::sqrt(correlation) * uncertainty));
            }
            own.push(ErrorSource {
                name: format!("{word}: {}", field.path()),
                estimated: quantity.is_estimated(),
                moves: vec![(side, field, libm::sqrt(left) * uncertainty)],
            });
        }
    }
    own.into_iter().chain(common.into_values()).collect()
}

/// Both sheets with errors in them: each source times its weight, in standard deviations.
#[must_use]
pub fn with_errors<'a>(
    (old, new): (&PartsSheet, &PartsSheet),
    errors: impl IntoIterator<Item = (&'a ErrorSource, f64)>,
) -> (PartsSheet, PartsSheet) {
    let (mut old, mut new) = (old.clone(), new.clone());
    for (source, weight) in errors {
        for &(side, field, size) in &source.moves {
            let sheet = match side {
                SheetSide::Old => &mut old,
                SheetSide::New => &mut new,
            };
            sheet.set(field, sheet.value(field) + weight * size);
        }
    }
    (old, new)
}

/// Draws behind an uncertainty: 1/√(2n), 2.2 %, is how well they know the standard deviation of a normal spread.
const DRAWS: u32 = 1000;
/// Seed of the draws: the same two sheets give the same uncertainties.
const SEED: u64 = 0x5EED_0F5E;
/// Half-width of a rectangular distribution over its standard deviation.
pub(crate) const ROOT_3: f64 = 1.732_050_807_568_877_2;

/// A draw of all errors at once, each anywhere in its width (rectangular, JCGM 101:2008, 6.4.2), by its own stream.
pub(crate) fn draw(sources: &[ErrorSource], seed: u64, run: u32) -> Vec<(&ErrorSource, f64)> {
    let mut random = Pcg64::new(u128::from(seed), u128::from(run));
    sources.iter().map(|source| (source, random.random_range(-ROOT_3..=ROOT_3))).collect()
}

/// Share of the draws that must have a result; with more missing it is not known.
const LEAST_SHARE: f64 = 0.99;

/// Standard uncertainties of the `results` values that `formula` makes of two sheets: all errors drawn at once
/// (Monte Carlo method of JCGM 101:2008), which sees how a result bends and how errors bend each other's effect.
/// A draw whose dimensions make no ring has no result; one that more than a hundredth of the draws do not have is not
/// a number.
pub(crate) fn uncertainties(
    pair: (&PartsSheet, &PartsSheet),
    results: usize,
    formula: impl Fn(&PartsSheet, &PartsSheet) -> Option<Vec<f64>> + Sync,
) -> Vec<f64> {
    let sources = error_sources(pair.0, pair.1);
    let of_draw = |run| {
        let (old, new) = with_errors(pair, draw(&sources, SEED, run));
        formula(&old, &new)
    };
    let drawn: Vec<Vec<f64>> =
        (0..DRAWS).into_par_iter().map(of_draw).collect::<Vec<_>>().into_iter().flatten().collect();
    let deviation = |at: usize| {
        let values =
            || drawn.iter().filter_map(move |row| row.get(at).copied()).filter(|value| value.is_finite());
        let is_known = values().count() as f64 >= LEAST_SHARE * f64::from(DRAWS);
        // From the first on: what no error moves has exactly no deviation.
        let first = values().next().unwrap_or(f64::NAN);
        if is_known { values().map(|value| value - first).std_dev() } else { f64::NAN }
    };
    (0..results).map(deviation).collect()
}

/// Standard uncertainty of a value's difference between both sheets: exact, for it is linear in the errors.
pub(crate) fn difference_uncertainty(sources: &[ErrorSource], field: Field) -> f64 {
    let moved = |source: &ErrorSource| {
        let of_field = source.moves.iter().filter(|(_, moved, _)| *moved == field);
        let new_less_old: f64 = of_field
            .map(|(side, _, size)| match side {
                SheetSide::Old => -size,
                SheetSide::New => *size,
            })
            .sum();
        new_less_old * new_less_old
    };
    libm::sqrt(sources.iter().map(moved).sum())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Uncertainty of a result that all draws have but those of the lowest `share` of the first error.
    fn with_missing(share: f64) -> f64 {
        let ring = include_str!("../../../rigs/profiles/sheets/ring-a.toml");
        let sheet = PartsSheet::parse("ring-a.toml", ring).unwrap();
        let sources = error_sources(&sheet, &sheet);
        let (_, field, size) = sources[0].moves[0];
        let middle = sheet.value(field);
        let least = middle + size * ROOT_3 * (2.0 * share - 1.0);
        let of_draw = |old: &PartsSheet, _: &PartsSheet| {
            let value = old.value(field);
            (value >= least).then(|| vec![value])
        };
        uncertainties((&sheet, &sheet), 1, of_draw)[0]
    }

    #[test]
    fn what_more_than_a_hundredth_of_the_draws_do_not_have_is_not_known() {
        assert!(with_missing(0.0).is_finite());
        assert!(with_missing(0.003).is_finite());
        assert!(with_missing(0.03).is_nan());
    }
}
