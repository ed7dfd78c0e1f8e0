//! Counts and spreads of one fault's runs. Memory grows only by one time per run.

use std::collections::BTreeMap;

use serde::Serialize;

use super::bound::exact_bounds;
use super::judge::{JudgedLearn, LearnVerdict};
use crate::catalogue::{Family, Preset, Tag};

/// Median, 95th percentile and largest of a set of numbers.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Spread {
    /// Middle.
    pub median: f64,
    /// 95 of 100 are no larger (nearest rank).
    pub p95: f64,
    /// Largest.
    pub max: f64,
}

impl Spread {
    /// Of these numbers; nothing for none.
    #[must_use]
    pub fn of(numbers: &[f64]) -> Option<Self> {
        let mut sorted = numbers.to_vec();
        sorted.sort_by(f64::total_cmp);
        let rank = |share: f64| {
            let rank = (share * sorted.len() as f64).ceil() as usize;
            sorted.get(rank.max(1) - 1).copied()
        };
        Some(Self { median: rank(0.5)?, p95: rank(0.95)?, max: rank(1.0)? })
    }
}

/// Everything counted of one fault.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct FaultTally {
    /// Name in the catalogue.
    pub name: &'static str,
    /// Family.
    pub family: Family,
    /// What a learn must make of it.
    pub tag: Tag,
    /// Runs.
    pub runs: u64,
    /// Calibrations in force.
    pub accepted: u64,
    /// Sound signals with a check left open.
    pub not_proven: u64,
    /// Refusals by reason.
    pub rejected: BTreeMap<&'static str, u64>,
    /// Accepted, but a stop is off by more than the tolerance or a failed check was passed over.
    pub wrongly_accepted: u64,
    /// Refused, but had to be accepted.
    pub wrongly_rejected: u64,
    /// Refused for a reason that does not fit the fault.
    pub other_reason: u64,
    /// Exact 95 % bounds of the rate of wrong acceptance.
    pub wrongly_accepted_bounds: [f64; 2],
    /// Rig time of the learns that gave a calibration, s.
    pub seconds: Option<Spread>,
    /// Largest error of a stop among calibrations in force, share of travel.
    pub worst_error: f64,
    /// Largest spread of the touches of one stop among calibrations, share of travel.
    pub worst_repeat: f64,
    /// Fastest hit of a stop, travel/s.
    pub fastest_hit: f64,
    /// Largest duty magnitude that the drive was given.
    pub largest_duty: f64,
    /// Words of the first refusal that does not fit, with its severity.
    pub first_misfit: Option<String>,
    #[serde(skip)]
    times: Vec<f64>,
}

impl FaultTally {
    /// Nothing counted yet.
    #[must_use]
    pub fn new(preset: &Preset) -> Self {
        Self {
            name: preset.name,
            family: preset.family,
            tag: preset.tag,
            runs: 0,
            accepted: 0,
            not_proven: 0,
            rejected: BTreeMap::new(),
            wrongly_accepted: 0,
            wrongly_rejected: 0,
            other_reason: 0,
            wrongly_accepted_bounds: [0.0, 1.0],
            seconds: None,
            worst_error: 0.0,
            worst_repeat: 0.0,
            fastest_hit: 0.0,
            largest_duty: 0.0,
            first_misfit: None,
            times: Vec::new(),
        }
    }

    /// Counts one run.
    pub fn add(&mut self, judged: JudgedLearn) {
        self.runs += 1;
        match judged.verdict {
            LearnVerdict::AcceptedRightly => self.accepted += 1,
            LearnVerdict::AcceptedWrongly => {
                self.accepted += 1;
                self.wrongly_accepted += 1;
                self.misfit(format!("accepted with errors {:?}", judged.errors), judged.severity);
            }
            LearnVerdict::NotProven => self.not_proven += 1,
            LearnVerdict::Rejected => {}
            LearnVerdict::RejectedForAnotherReason => self.other_reason += 1,
            LearnVerdict::RejectedWrongly => self.wrongly_rejected += 1,
        }
        if let Some(reason) = judged.reason {
            *self.rejected.entry(reason).or_insert(0) += 1;
        }
        let fits =
            !matches!(judged.verdict, LearnVerdict::RejectedForAnotherReason | LearnVerdict::RejectedWrongly);
        if let (false, Some(words)) = (fits, judged.words) {
            self.misfit(words, judged.severity);
        }
        if let Some(errors) = judged.errors {
            self.times.push(judged.seconds);
            self.worst_error = errors.iter().fold(self.worst_error, |worst, error| worst.max(error.abs()));
        }
        if let Some(repeat) = judged.repeat {
            self.worst_repeat = repeat.iter().copied().fold(self.worst_repeat, f64::max);
        }
        self.fastest_hit = self.fastest_hit.max(judged.impact);
        self.largest_duty = self.largest_duty.max(judged.largest_duty);
    }

    fn misfit(&mut self, words: String, severity: f64) {
        self.first_misfit.get_or_insert_with(|| format!("at severity {severity:.3}: {words}"));
    }

    /// Adds the runs of a later piece.
    pub fn merge(&mut self, later: Self) {
        self.runs += later.runs;
        self.accepted += later.accepted;
        self.not_proven += later.not_proven;
        self.wrongly_accepted += later.wrongly_accepted;
        self.wrongly_rejected += later.wrongly_rejected;
        self.other_reason += later.other_reason;
        for (reason, count) in later.rejected {
            *self.rejected.entry(reason).or_insert(0) += count;
        }
        self.times.extend(later.times);
        self.worst_error = self.worst_error.max(later.worst_error);
        self.worst_repeat = self.worst_repeat.max(later.worst_repeat);
        self.fastest_hit = self.fastest_hit.max(later.fastest_hit);
        self.largest_duty = self.largest_duty.max(later.largest_duty);
        self.first_misfit = self.first_misfit.take().or(later.first_misfit);
    }

    /// Works out bounds and spreads, once all runs are in.
    pub fn finish(&mut self) {
        self.wrongly_accepted_bounds = exact_bounds(self.wrongly_accepted, self.runs);
        self.seconds = Spread::of(&self.times);
    }

    /// Refusals of any kind.
    #[must_use]
    pub fn refused(&self) -> u64 {
        self.rejected.values().sum()
    }
}
