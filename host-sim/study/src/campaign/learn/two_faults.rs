//! Any two faults of the catalogue at once: nobody chose the pairs, and no list says how they must end.
//!
//! In: a plan and how many units. Out: how their learns ended, and the first ten stops believed wrongly by their pairs. A
//! person looks at everything, index marks and minimum-flow stop too. Two
//! mild faults may leave both stops right; accepting such a unit is right. Where both change the same part, the later one
//! stands.

use std::sync::atomic::{AtomicU64, Ordering};

use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;
use rayon::prelude::*;
use serde::Serialize;

use super::bound::Rate;
use super::curve::Endings;
use super::judge::{JudgedLearn, LearnVerdict, is_off};
use super::{LearnCampaignError, LearnRunError, LearnRuns, Scrutiny, learn_of, mix};
use crate::campaign::{Next, Progress};
use crate::catalogue::{Preset, Tag};

/// Wrong acceptances that are told; more only count.
const TOLD: usize = 10;

/// What became of units with two faults.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct PairTally {
    /// How their learns ended.
    pub endings: Endings,
    /// Pairs that no unit can have, of those drawn.
    pub impossible: u64,
    /// Stops believed wrongly, or past a failed check.
    pub wrongly_accepted: Rate,
    /// Sound signals and a stop that is off, not proven because a person found a check failed: what nobody looked at would
    /// have been believed.
    pub held_by_a_look: u64,
    /// The first believed wrongly: both faults, and how far off each stop.
    pub wrong: Vec<String>,
}

struct LearnedPair {
    faults: [&'static Preset; 2],
    /// Nothing where no unit can have both.
    judged: Option<JudgedLearn>,
}

/// Learns so many units with two faults of the plan each, drawn evenly; none where it has fewer, nothing when `watch`
/// stops it.
///
/// # Errors
/// The first learn that ran away or never ended.
pub fn two_faults(
    plan: &LearnRuns,
    units: u64,
    watch: &(dyn Fn(Progress) -> Next + Sync),
) -> Result<Option<PairTally>, LearnCampaignError> {
    let faults: Vec<_> = plan.presets.iter().copied().filter(|fault| fault.tag != Tag::MustAccept).collect();
    let units = if faults.len() < 2 { 0 } else { units };
    let done = AtomicU64::new(0);
    let run = |number| {
        let progress = Progress { done: done.fetch_add(1, Ordering::Relaxed) + 1, wanted: units };
        match watch(progress) {
            Next::GoOn => one_pair(plan, &faults, number).map(Some),
            Next::Stop => Ok(None),
        }
    };
    let learned: Vec<Option<LearnedPair>> = (0..units).into_par_iter().map(run).collect::<Result<_, _>>()?;
    Ok(learned.into_iter().collect::<Option<Vec<_>>>().map(|learned| tally(&learned)))
}

fn one_pair(
    plan: &LearnRuns,
    faults: &[&'static Preset],
    number: u64,
) -> Result<LearnedPair, LearnCampaignError> {
    let mut rng = Pcg64Mcg::seed_from_u64(mix(plan.seed, "two faults", number));
    let one = rng.random_range(0..faults.len());
    let other = (one + rng.random_range(1..faults.len())) % faults.len();
    let pair = [faults[one], faults[other]];
    match learn_of(&pair, Scrutiny::Everywhere, (&plan.nominal, &plan.settings), rng) {
        Ok(judged) => Ok(LearnedPair { faults: pair, judged: Some(judged) }),
        Err(LearnRunError::World(_)) => Ok(LearnedPair { faults: pair, judged: None }),
        Err(error @ (LearnRunError::Diverged(_) | LearnRunError::Endless { .. })) => {
            Err(LearnCampaignError::Pair { faults: pair.map(|fault| fault.name), number, error })
        }
    }
}

fn tally(learned: &[LearnedPair]) -> PairTally {
    let mut endings = Endings::default();
    let mut held_by_a_look = 0;
    let mut wrong = Vec::new();
    for LearnedPair { faults: [one, other], judged } in learned {
        let Some(judged) = judged else { continue };
        endings.add(judged.verdict);
        if judged.verdict == LearnVerdict::NotProven && judged.errors.is_some_and(is_off) {
            held_by_a_look += 1;
        }
        if judged.verdict == LearnVerdict::AcceptedWrongly && wrong.len() < TOLD {
            let [closed, open] = judged.errors.unwrap_or([f64::NAN; 2]).map(|error| 100.0 * error);
            wrong.push(format!(
                "{} and {}: closed stop off by {closed:.2} %, open stop by {open:.2} % of travel",
                one.name, other.name
            ));
        }
    }
    PairTally {
        endings,
        impossible: learned.iter().filter(|pair| pair.judged.is_none()).count() as u64,
        wrongly_accepted: Rate::new(endings.accepted_wrongly, endings.believed().of),
        held_by_a_look,
        wrong,
    }
}
