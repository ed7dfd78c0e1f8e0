//! The whole learn campaign: every fault's tally and the totals that the claims stand on.

use serde::Serialize;

use super::ablation::SignRow;
use super::bound::Rate;
use super::curve::{ERROR_STEPS, Endings, pooled};
use super::judge::TOLERANCE;
use super::tally::FaultTally;
use super::two_faults::PairTally;
use crate::catalogue::Tag;

/// Share of must-accept units that may be refused.
pub(crate) const MAY_REJECT: f64 = 0.01;
/// Share of a fault's refusals that must give a reason that fits it.
pub(crate) const MUST_FIT: f64 = 0.95;

/// What was asked for beside the campaign.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct LearnExtras {
    /// Each sign switched off in turn.
    pub signs: Vec<SignRow>,
    /// Units with two faults.
    pub two_faults: Option<PairTally>,
}

/// A finished campaign.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct LearnCampaign {
    /// Whose units were learned.
    pub actuator: String,
    /// Seed.
    pub seed: u64,
    /// Runs of each fault.
    pub runs: u64,
    /// A stop may be off by this share of travel.
    pub tolerance: f64,
    /// Wrongly accepted among must-reject faults.
    pub wrongly_accepted: Rate,
    /// Wrongly rejected among units that must be accepted.
    pub wrongly_rejected: Rate,
    /// Accepted past a failed check among faults that signals cannot show.
    pub accepted_unproven: Rate,
    /// Refusals whose reason does not fit, among all refusals.
    pub other_reason: Rate,
    /// Learns of must-reject faults by the error of the stop that the ring meets first.
    pub by_error: [Endings; ERROR_STEPS],
    /// Every fault, in the order of the catalogue.
    pub faults: Vec<FaultTally>,
    /// Each sign switched off in turn, where that was asked for.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub signs: Vec<SignRow>,
    /// Units with two faults, where that was asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub two_faults: Option<PairTally>,
}

impl LearnCampaign {
    /// Sums up.
    #[must_use]
    pub fn new(
        (actuator, seed, runs): (&str, u64, u64),
        faults: Vec<FaultTally>,
        LearnExtras { signs, two_faults }: LearnExtras,
    ) -> Self {
        let sum = |keep: fn(Tag) -> bool, count: fn(&FaultTally) -> u64| -> u64 {
            faults.iter().filter(|fault| keep(fault.tag)).map(count).sum()
        };
        let is_reject = |tag| tag == Tag::MustReject;
        let is_accept = |tag| tag == Tag::MustAccept;
        let is_undecidable = |tag| matches!(tag, Tag::UndecidableWithout(_));
        let any = |_| true;
        Self {
            actuator: actuator.to_owned(),
            seed,
            runs,
            tolerance: TOLERANCE,
            wrongly_accepted: Rate::new(sum(is_reject, |f| f.wrongly_accepted), sum(is_reject, |f| f.runs)),
            wrongly_rejected: Rate::new(sum(is_accept, |f| f.wrongly_rejected), sum(is_accept, |f| f.runs)),
            accepted_unproven: Rate::new(
                sum(is_undecidable, |f| f.wrongly_accepted),
                sum(is_undecidable, |f| f.runs),
            ),
            other_reason: Rate::new(sum(any, |f| f.other_reason), sum(any, FaultTally::refused)),
            by_error: pooled(faults.iter().filter(|f| is_reject(f.tag)).map(|f| &f.curves)),
            faults,
            signs,
            two_faults,
        }
    }

    /// What is not as it must be, in words; empty when everything is.
    #[must_use]
    pub fn failures(&self) -> Vec<String> {
        let mut failures: Vec<String> =
            self.two_faults.iter().flat_map(|pairs| pairs.wrong.iter().cloned()).collect();
        for fault in &self.faults {
            let misfit = fault.first_misfit.as_deref().unwrap_or("no example kept");
            if fault.wrongly_accepted > 0 {
                failures
                    .push(format!("{}: {} wrongly accepted; {misfit}", fault.name, fault.wrongly_accepted));
            }
            let allowed = (MAY_REJECT * fault.runs as f64) as u64;
            if fault.wrongly_rejected > allowed {
                let count = fault.wrongly_rejected;
                failures
                    .push(format!("{}: {count} wrongly rejected (allowed {allowed}); {misfit}", fault.name));
            }
            let refused = fault.refused();
            if (fault.other_reason as f64) > (1.0 - MUST_FIT) * refused as f64 {
                let count = fault.other_reason;
                failures.push(format!("{}: {count} of {refused} for another reason; {misfit}", fault.name));
            }
        }
        failures
    }
}
