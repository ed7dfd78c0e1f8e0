//! Each sign of the learner switched off in turn, over the same draws: what it is worth.
//!
//! In: a plan. Out: one row per sign with what was believed without it. A sign is switched off by the setting that it
//! compares with, put at or near the end of what it may be: what lies past that is still refused. What has no setting (a lost tick, a silent host, a reading that is
//! no number, a stuck sensor, the wrong direction) is not switched off here. A sign that moves nothing alone is
//! switched off together with the one that covers for it.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicU64, Ordering};

use firmware_core::settings::{LearnLimits, LearnSettings, SetupWindows, StopWindow, StopWindows};
use firmware_core::units::{Ampere, Counts, Volt};
use rayon::prelude::*;
use serde::Serialize;

use super::judge::{JudgedLearn, LearnVerdict};
use super::{LearnCampaignError, LearnRuns};
use crate::campaign::{Next, Progress};
use crate::catalogue::{Preset, Tag};

/// What the learner believes without a sign.
#[derive(Debug, Clone, PartialEq, Default, Serialize, schemars::JsonSchema)]
pub struct SignRow {
    /// What was switched off.
    pub without: &'static str,
    /// Learns of faults that must be rejected or that signals cannot show.
    pub faults: u64,
    /// Of these, accepted, whether or not the stops are right.
    pub accepted: u64,
    /// Of these, believed wrongly.
    pub believed: u64,
    /// The fault that is accepted more often than with all signs, by most; nothing where none is.
    pub most: Option<&'static str>,
    /// Learns of units that must be accepted.
    pub must_accept: u64,
    /// Of these, refused.
    pub refused: u64,
    /// Of these, accepted with a stop off by more than the tolerance.
    pub sound_believed: u64,
    /// Refusals for a reason that does not fit.
    pub other_reason: u64,
}

/// A way to switch signs off.
type SwitchOff = (&'static str, fn(&mut LearnSettings));

const SWITCHES: [SwitchOff; 19] = [
    ("nothing: the settings as they are", |_| {}),
    ("windows, ten times as wide", widen),
    ("span, 0.5 to 1.5", |learn| any_span(&mut learn.limits)),
    ("repeat, 0.02", |learn| learn.limits.repeat = ANY_SPREAD),
    ("drift, 0.02", |learn| learn.limits.drift = ANY_SPREAD),
    ("compliance_min, 0", |learn| learn.limits.compliance_min = 0.0),
    ("compliance_max, 0.05", |learn| learn.limits.compliance_max = ANY_YIELD),
    ("friction, 5 A", |learn| learn.limits.friction = ANY_FRICTION),
    ("spring_current, 0", |learn| learn.limits.spring_current = Ampere(0.0)),
    ("push_error, 2 A", |learn| learn.limits.push_error = ANY_PUSH_ERROR),
    ("rest_current, 1 A", |learn| learn.limits.rest_current = ANY_REST_CURRENT),
    ("rest_noise, 0.02", |learn| learn.limits.rest_noise = ANY_SPREAD),
    ("jump, 0.1", |learn| learn.limits.jump = ANY_JUMP),
    ("supply, 5 to 36 V", |learn| any_supply(&mut learn.limits)),
    ("windows and span", |learn| {
        widen(learn);
        any_span(&mut learn.limits);
    }),
    ("repeat and drift", |learn| any_repeat(&mut learn.limits)),
    ("friction and push_error", |learn| {
        (learn.limits.friction, learn.limits.push_error) = (ANY_FRICTION, ANY_PUSH_ERROR);
    }),
    ("all signs of a stop", no_stop_sign),
    ("all signs with a setting", no_sign),
];

/// At or near the end of what each setting may be.
const ANY_SPREAD: f32 = 0.02;
const ANY_YIELD: f32 = 0.05;
const ANY_JUMP: f32 = 0.1;
const ANY_FRICTION: Ampere = Ampere(5.0);
const ANY_PUSH_ERROR: Ampere = Ampere(2.0);
const ANY_REST_CURRENT: Ampere = Ampere(1.0);
/// Wider, and the way to the window, where the lever goes fast, is gone.
const WIDER: f32 = 10.0;

fn widen(learn: &mut LearnSettings) {
    let wider = |window: &StopWindow| {
        let (centre, half) = (window.centre(), WIDER * window.half_width());
        // Windows lie within 14 bits and are narrow: the casts saturate anyway.
        StopWindow { min: Counts((centre - half).max(0.0) as i16), max: Counts((centre + half) as i16) }
    };
    let both =
        |windows: &StopWindows| StopWindows { closed: wider(&windows.closed), open: wider(&windows.open) };
    let windows = &mut learn.windows;
    for setup in [&mut windows.free, &mut windows.attached, &mut windows.on_engine] {
        *setup = SetupWindows { cold: both(&setup.cold), hot: both(&setup.hot) };
    }
}

fn any_span(limits: &mut LearnLimits) {
    (limits.span_min, limits.span_max) = (0.5, 1.5);
}

fn any_repeat(limits: &mut LearnLimits) {
    (limits.repeat, limits.drift) = (ANY_SPREAD, ANY_SPREAD);
}

fn any_supply(limits: &mut LearnLimits) {
    (limits.supply_min, limits.supply_max) = (Volt(5.0), Volt(36.0));
}

fn no_stop_sign(learn: &mut LearnSettings) {
    widen(learn);
    any_span(&mut learn.limits);
    any_repeat(&mut learn.limits);
    learn.limits.compliance_max = ANY_YIELD;
}

fn no_sign(learn: &mut LearnSettings) {
    no_stop_sign(learn);
    let limits = &mut learn.limits;
    any_supply(limits);
    (limits.rest_noise, limits.jump, limits.compliance_min) = (ANY_SPREAD, ANY_JUMP, 0.0);
    (limits.friction, limits.spring_current) = (ANY_FRICTION, Ampere(0.0));
    (limits.push_error, limits.rest_current) = (ANY_PUSH_ERROR, ANY_REST_CURRENT);
}

/// Runs a campaign's draws once for each sign that is switched off; nothing when `watch` stops it.
///
/// # Errors
/// The first learn that could not be made.
pub fn ablation(
    plan: &LearnRuns,
    watch: &(dyn Fn(Progress) -> Next + Sync),
) -> Result<Option<Vec<SignRow>>, LearnCampaignError> {
    let done = AtomicU64::new(0);
    let wanted = plan.learns() * SWITCHES.len() as u64;
    let one_more = || watch(Progress { done: done.fetch_add(1, Ordering::Relaxed) + 1, wanted });
    let rows = SWITCHES.iter().map(|switch| without(plan, switch, &one_more));
    let rows: Option<Result<Vec<_>, _>> = rows.map(Result::transpose).collect();
    let Some(rows) = rows.transpose()? else { return Ok(None) };
    let with_all = rows.first().map(|(_, accepted)| accepted.clone()).unwrap_or_default();
    let finished = rows.into_iter().map(|(row, accepted)| {
        let more = |(name, count): (&'static str, u64)| {
            let more = count.saturating_sub(*with_all.get(name).unwrap_or(&0));
            (more > 0).then_some((name, more))
        };
        let most = accepted.into_iter().filter_map(more).max_by_key(|(_, more)| *more);
        SignRow { most: most.map(|(name, _)| name), ..row }
    });
    Ok(Some(finished.collect()))
}

/// Acceptances of each fault.
type AcceptedByFault = BTreeMap<&'static str, u64>;

fn without(
    plan: &LearnRuns,
    (without, switch_off): &SwitchOff,
    one_more: &(dyn Fn() -> Next + Sync),
) -> Result<Option<(SignRow, AcceptedByFault)>, LearnCampaignError> {
    let mut plan = plan.clone();
    switch_off(&mut plan.settings.learn);
    let run = |learn: u64| match one_more() {
        Next::GoOn => plan.learn(learn).map(Some),
        Next::Stop => Ok(None),
    };
    let learns: Vec<Option<(&'static Preset, JudgedLearn)>> =
        (0..plan.learns()).into_par_iter().map(run).collect::<Result<_, _>>()?;
    let Some(learns) = learns.into_iter().collect::<Option<Vec<_>>>() else { return Ok(None) };
    let mut row = SignRow { without, ..SignRow::default() };
    let mut accepted = AcceptedByFault::new();
    for (preset, judged) in &learns {
        row.add(preset.tag, judged.verdict);
        if preset.tag != Tag::MustAccept && judged.verdict.is_in_force() {
            row.accepted += 1;
            *accepted.entry(preset.name).or_default() += 1;
        }
    }
    Ok(Some((row, accepted)))
}

impl SignRow {
    fn add(&mut self, tag: Tag, verdict: LearnVerdict) {
        match tag {
            Tag::MustAccept => self.must_accept += 1,
            Tag::MustReject | Tag::UndecidableWithout(_) => self.faults += 1,
        }
        match verdict {
            LearnVerdict::AcceptedWrongly if tag == Tag::MustAccept => self.sound_believed += 1,
            LearnVerdict::AcceptedWrongly => self.believed += 1,
            LearnVerdict::RejectedWrongly => self.refused += 1,
            LearnVerdict::RejectedForAnotherReason => self.other_reason += 1,
            LearnVerdict::AcceptedRightly | LearnVerdict::NotProven | LearnVerdict::Rejected => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use firmware_core::settings::Settings;

    use super::*;

    #[test]
    fn every_switch_leaves_settings_that_are_allowed() {
        for (without, switch_off) in SWITCHES {
            let mut settings = Settings::default();
            switch_off(&mut settings.learn);
            assert_eq!(settings.validate(), Ok(()), "{without}");
        }
    }
}
