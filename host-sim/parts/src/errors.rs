//! The independent errors behind two sheets: each reading's own, and those that readings share.
//!
//! In: two sheets. Out: sources of error with what each moves, sheets with errors in them, and what all sources
//! together leave uncertain. Two readings by one instrument share part of their error where the sheet says so
//! (`[instruments]`, a correlation coefficient); two values by one rule of thumb share what the rule gets wrong.
//! Total: a formula without a value at one end counts one-sided.

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::field::Field;
use super::quantity::{Dimension, Origin, Quantity};
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
        Origin::Measured { with, .. } => {
            let correlation = *sheet.instruments.get(with)?;
            Some((SharedBy { words: with.clone(), dimension, rule_for: None }, correlation))
        }
        Origin::Estimated { rule } => {
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

/// Gauss-Legendre over a rectangular distribution with three points: the outer ones lie so many standard deviations
/// out (√(9/5)) and weigh so much each; exact for the deviation of a parabola.
const OUTER_POINT: f64 = 1.341_640_786_499_874;
const OUTER_WEIGHT: f64 = 5.0 / 18.0;

/// Standard uncertainties of everything that `formula` makes of two sheets, over independent sources: each source's
/// own deviation by quadrature, which sees how far a curve bends, the variances added (JCGM 101:2008, rectangular
/// distributions; how sources bend each other's effect is left out).
pub(crate) fn uncertainties(
    pair: (&PartsSheet, &PartsSheet),
    nominal: &[f64],
    formula: impl Fn(&PartsSheet, &PartsSheet) -> Option<Vec<f64>> + Sync,
) -> Vec<f64> {
    let sources = error_sources(pair.0, pair.1);
    let moved = |source: &ErrorSource| {
        let at = |weight: f64| {
            let (old, new) = with_errors(pair, [(source, weight)]);
            formula(&old, &new)
        };
        let (below, above) = match (at(-OUTER_POINT), at(OUTER_POINT)) {
            (Some(below), Some(above)) => (below, above),
            // One end makes no ring: the other stands for both.
            (Some(one), None) | (None, Some(one)) => {
                (nominal.iter().zip(&one).map(|(middle, end)| 2.0 * middle - end).collect(), one)
            }
            (None, None) => return vec![0.0; nominal.len()],
        };
        let ends = below.iter().zip(&above).zip(nominal);
        ends.map(|((low, high), middle)| variance(low - middle, high - middle)).collect::<Vec<f64>>()
    };
    let variances: Vec<Vec<f64>> = sources.par_iter().map(moved).collect();
    let all = |at: usize| variances.iter().map(|of_source| of_source.get(at).copied().unwrap_or(0.0)).sum();
    (0..nominal.len()).map(|at| libm::sqrt(all(at))).collect()
}

/// Variance of what changes by `low` and `high` at the outer points.
fn variance(low: f64, high: f64) -> f64 {
    let mean = OUTER_WEIGHT * (low + high);
    OUTER_WEIGHT * (low * low + high * high) - mean * mean
}
