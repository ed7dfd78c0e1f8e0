//! What changed by more than mounting the unit anew would change it.

use std::path::Path;

use super::super::round;
use super::side::ComparedUnit;
use crate::document::{ComparedFigure, Weighed};
use crate::exit::Failure;
use crate::figures::{Measure, Stop};
use crate::judge::FigureRow;
use crate::number::fixed;
use crate::record::RunHead;

/// The largest difference of two single results that mounting anew explains, in standard deviations: the
/// reproducibility limit of ISO 5725-6, 2.8 for 95 % (1.96·√2; the clause is from memory).
const REPRODUCIBILITY_LIMIT: f64 = 2.8;
/// Rounds from which a spread can be told at all.
const LEAST_ROUNDS: usize = 3;
/// Standard deviation of stops over re-mounted simulated units, % of travel, and of the travel: `campaign gauge`, seed 1.
const SIMULATED_STOP: f64 = 0.0145;
const SIMULATED_TRAVEL: f64 = 0.0040;

/// What re-mounting is known to change.
pub(super) enum Remounting {
    /// Simulated units: stops and travel only.
    Simulated,
    /// A unit of one's own: standard deviation by figure, and of how many rounds.
    Measured(Vec<(String, f64)>, usize),
}

impl Remounting {
    /// From the figures that were kept of a unit's rounds.
    pub(super) fn measured(dir: &Path) -> Result<Self, Failure> {
        let runs = RunHead::all_in(dir).map_err(Failure::usage)?;
        let heads: Vec<&RunHead> = runs.iter().filter_map(|(_, run)| run.as_ref().ok()).collect();
        let rounds = round::rounds(&heads);
        if rounds.len() < LEAST_ROUNDS {
            return Err(Failure::usage(format!(
                "--remounted: {} holds {} learns. Allowed: {LEAST_ROUNDS} or more, with the unit \
                 re-mounted before each.",
                dir.display(),
                rounds.len()
            )));
        }
        let mut values: Vec<(String, Vec<f64>)> = Vec::new();
        for figure in rounds.iter().flat_map(|round| &round.figures) {
            match values.iter_mut().find(|(key, _)| *key == figure.key) {
                Some((_, seen)) => seen.push(figure.value),
                None => values.push((figure.key.clone(), vec![figure.value])),
            }
        }
        let spread =
            |(key, seen): (String, Vec<f64>)| (seen.len() >= LEAST_ROUNDS).then(|| (key, deviation(&seen)));
        Ok(Self::Measured(values.into_iter().filter_map(spread).collect(), rounds.len()))
    }

    /// What it is, in words.
    pub(super) fn text(&self) -> String {
        let limit = "2.8 standard deviations of re-mounting (ISO 5725-6)";
        match self {
            Self::Simulated => format!(
                "{limit} on simulated units, known for stops and span only; --remounted weighs by a unit \
                 of your own"
            ),
            Self::Measured(_, rounds) => {
                format!("{limit} over {rounds} rounds of --remounted, as they were kept")
            }
        }
    }

    /// The most that it explains of a figure, in the figure's unit.
    fn explains(&self, key: &str, travel_counts: f64) -> Option<f64> {
        let deviation = match self {
            Self::Measured(spreads, _) => spreads.iter().find(|(known, _)| known == key).map(|(_, s)| *s),
            Self::Simulated => {
                let is = |measure: Measure| measure.definition().key == key;
                let of_travel = if is(Measure::Span) {
                    Some(SIMULATED_TRAVEL)
                } else if [Stop::Closed, Stop::Open].into_iter().any(|stop| is(Measure::StopPosition(stop))) {
                    Some(SIMULATED_STOP)
                } else {
                    None
                };
                of_travel.map(|percent| travel_counts * percent / 100.0)
            }
        };
        deviation.map(|deviation| REPRODUCIBILITY_LIMIT * deviation)
    }
}

/// Standard deviation of a sample.
fn deviation(values: &[f64]) -> f64 {
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    (values.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / (values.len() - 1) as f64).sqrt()
}

/// Each figure that both sides have, in the order of the first.
pub(super) fn weigh(a: &ComparedUnit, b: &ComparedUnit, remounting: &Remounting) -> Vec<ComparedFigure> {
    let (ours, theirs) = (&a.result.verdict.figures, &b.result.verdict.figures);
    let span = Measure::Span.definition().key;
    let travel = ours.iter().find(|figure| figure.key == span).map_or(0.0, |figure| figure.value);
    let pairs = ours.iter().filter_map(|one| Some((one, theirs.iter().find(|other| is_alike(one, other))?)));
    let row = |(one, other): (&FigureRow, &FigureRow)| {
        let change = other.value - one.value;
        let explained = remounting.explains(&one.key, travel);
        let weighed = match explained {
            Some(most) if change.abs() > most => Weighed::More,
            Some(_) => Weighed::Within,
            None => Weighed::Unknown,
        };
        let decimals = one.text.split_once('.').map_or(0, |(_, decimals)| decimals.len());
        ComparedFigure {
            key: one.key.clone(),
            name: one.name.clone(),
            place: if is_placed(one) { one.place.clone() } else { String::new() },
            a: one.text.clone(),
            b: other.text.clone(),
            change: signed(&fixed(change, decimals), change),
            unit: one.unit.clone(),
            explained,
            limited: a.result.verdict.checks.iter().any(|check| check.key == one.key),
            weighed,
        }
    };
    pairs.map(row).collect()
}

fn signed(text: &str, value: f64) -> String {
    if value > 0.0 { format!("+{text}") } else { text.to_owned() }
}

/// A step goes between the same openings on both sides; where else a figure was largest is a part of the finding.
fn is_placed(figure: &FigureRow) -> bool {
    figure.group().starts_with("step_")
}

fn is_alike(one: &FigureRow, other: &FigureRow) -> bool {
    one.key == other.key && (!is_placed(one) || one.place == other.place)
}
