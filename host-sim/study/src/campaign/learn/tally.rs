//! Counts and spreads of each fault's runs. Memory does not grow with their number.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::bound::exact_bounds;
use super::curve::Curves;
use super::judge::{JudgedLearn, LearnVerdict};
use crate::campaign::Counted;
use crate::catalogue::{Family, Preset, Severity, Tag};

/// Median, 95th percentile and largest of a set of numbers.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, schemars::JsonSchema)]
pub struct Percentiles {
    /// Middle.
    pub median: f64,
    /// 95 of 100 are no larger (nearest rank).
    pub p95: f64,
    /// Largest.
    pub max: f64,
}

impl Percentiles {
    /// Of these numbers, counted; nothing for none.
    fn of(counted: &BTreeMap<u32, u64>, value: impl Fn(u32) -> f64) -> Option<Self> {
        let all: u64 = counted.values().sum();
        let rank = |share: f64| {
            let rank = ((share * all as f64).ceil() as u64).max(1);
            let mut passed = 0;
            let found = counted.iter().find(|(_, count)| {
                passed += **count;
                passed >= rank
            });
            found.map(|(number, _)| value(*number))
        };
        Some(Self { median: rank(0.5)?, p95: rank(0.95)?, max: rank(1.0)? })
    }
}

/// Everything counted of one fault.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, schemars::JsonSchema)]
pub struct FaultTally {
    /// Name in the catalogue.
    pub name: String,
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
    pub rejected: BTreeMap<String, u64>,
    /// Accepted, but a stop is off by more than the tolerance or a failed check was passed over.
    pub wrongly_accepted: u64,
    /// Refused, but had to be accepted.
    pub wrongly_rejected: u64,
    /// Refused for a reason that does not fit the fault.
    pub other_reason: u64,
    /// Exact 95 % bounds of the rate of wrong acceptance.
    pub wrongly_accepted_bounds: [f64; 2],
    /// Rig time of the learns that gave a calibration, s.
    pub seconds: Option<Percentiles>,
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
    /// Endings in steps of severity and of error.
    pub curves: Curves,
}

impl FaultTally {
    fn new(preset: &Preset) -> Self {
        Self {
            name: preset.name.to_owned(),
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
            curves: Curves::default(),
        }
    }

    fn add(&mut self, severity: Severity, judged: &JudgedLearn) {
        self.runs += 1;
        self.curves.add(severity, judged);
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
            *self.rejected.entry(reason.to_owned()).or_insert(0) += 1;
        }
        let fits =
            !matches!(judged.verdict, LearnVerdict::RejectedForAnotherReason | LearnVerdict::RejectedWrongly);
        if let (false, Some(words)) = (fits, judged.words.clone()) {
            self.misfit(words, judged.severity);
        }
        if let Some(errors) = judged.errors {
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

    fn merge(&mut self, later: Self) {
        self.runs += later.runs;
        self.accepted += later.accepted;
        self.not_proven += later.not_proven;
        self.wrongly_accepted += later.wrongly_accepted;
        self.wrongly_rejected += later.wrongly_rejected;
        self.other_reason += later.other_reason;
        for (reason, count) in later.rejected {
            *self.rejected.entry(reason).or_insert(0) += count;
        }
        self.worst_error = self.worst_error.max(later.worst_error);
        self.worst_repeat = self.worst_repeat.max(later.worst_repeat);
        self.fastest_hit = self.fastest_hit.max(later.fastest_hit);
        self.largest_duty = self.largest_duty.max(later.largest_duty);
        self.first_misfit = self.first_misfit.take().or(later.first_misfit);
        self.curves.join(&later.curves);
    }

    /// Refusals of any kind.
    #[must_use]
    pub fn refused(&self) -> u64 {
        self.rejected.values().sum()
    }
}

/// What is counted of a campaign: faults in order, each with the rig times of the learns that gave a calibration.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct LearnCounts(Vec<(FaultTally, BTreeMap<u32, u64>)>);

impl LearnCounts {
    /// Counts one learn of the fault at hand, or of the next.
    pub(super) fn add(&mut self, preset: &Preset, judged: JudgedLearn) {
        let has_calibration = judged.errors.is_some();
        if self.0.last().is_none_or(|(fault, _)| fault.name != preset.name) {
            self.0.push((FaultTally::new(preset), BTreeMap::new()));
        }
        if let Some((fault, ticks)) = self.0.last_mut() {
            fault.add(preset.severity, &judged);
            if has_calibration {
                *ticks.entry(judged.ticks).or_insert(0) += 1;
            }
        }
    }

    /// Works out bounds and spreads, once all runs are in.
    #[must_use]
    pub fn finish(self) -> Vec<FaultTally> {
        let finished = self.0.into_iter().map(|(mut fault, ticks)| {
            fault.wrongly_accepted_bounds = exact_bounds(fault.wrongly_accepted, fault.runs);
            fault.seconds = Percentiles::of(&ticks, |ticks| f64::from(ticks) / 1000.0);
            fault
        });
        finished.collect()
    }
}

impl Counted for LearnCounts {
    fn join(&mut self, later: Self) {
        for (fault, ticks) in later.0 {
            match self.0.last_mut() {
                Some((before, counted)) if before.name == fault.name => {
                    before.merge(fault);
                    for (ticks, count) in ticks {
                        *counted.entry(ticks).or_insert(0) += count;
                    }
                }
                Some(_) | None => self.0.push((fault, ticks)),
            }
        }
    }

    fn is_sound(&self) -> bool {
        true
    }
}
