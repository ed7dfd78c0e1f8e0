//! What a learn makes of a fault the worse it gets: by severity, and by how far off the stop that it meets stands.
//!
//! In: judged learns. Out: counts in steps. A row of zeros says something only beside the step at which learns begin to
//! accept.

use serde::{Deserialize, Serialize};

use super::bound::Rate;
use super::judge::{JudgedLearn, LearnVerdict};
use crate::catalogue::Severity;

/// Equal steps of a severity range, mildest first.
pub const SEVERITY_STEPS: usize = 10;

/// Steps of a stop's error.
pub const ERROR_STEPS: usize = 8;
/// Where each step ends, share of travel; the last one has no end. The tolerance is one of them.
pub const ERROR_STEP_ENDS: [f64; ERROR_STEPS - 1] = [0.005, 0.01, 0.015, 0.02, 0.025, 0.03, 0.05];

/// Nearer to where it belongs than this share of travel, a stop counts as standing there.
const DISPLACED_FROM: f64 = 0.0005;

/// How learns ended.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, schemars::JsonSchema)]
pub struct Endings {
    /// Accepted, and right.
    pub accepted: u64,
    /// Accepted, and wrong.
    pub accepted_wrongly: u64,
    /// Sound signals, a check left open.
    pub not_proven: u64,
    /// Refused.
    pub refused: u64,
    /// Refused, but had to be accepted.
    pub refused_wrongly: u64,
}

impl Endings {
    pub(super) fn add(&mut self, verdict: LearnVerdict) {
        let count = match verdict {
            LearnVerdict::AcceptedRightly => &mut self.accepted,
            LearnVerdict::AcceptedWrongly => &mut self.accepted_wrongly,
            LearnVerdict::NotProven => &mut self.not_proven,
            LearnVerdict::Rejected | LearnVerdict::RejectedForAnotherReason => &mut self.refused,
            LearnVerdict::RejectedWrongly => &mut self.refused_wrongly,
        };
        *count += 1;
    }

    /// Adds other learns.
    fn join(&mut self, other: &Self) {
        self.accepted += other.accepted;
        self.accepted_wrongly += other.accepted_wrongly;
        self.not_proven += other.not_proven;
        self.refused += other.refused;
        self.refused_wrongly += other.refused_wrongly;
    }

    /// Calibrations in force among all learns, with exact bounds.
    #[must_use]
    pub fn believed(&self) -> Rate {
        let accepted = self.accepted + self.accepted_wrongly;
        Rate::new(accepted, accepted + self.not_proven + self.refused + self.refused_wrongly)
    }
}

/// Endings in steps of severity and of error.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, schemars::JsonSchema)]
pub struct Curves {
    /// By severity, mildest tenth first.
    pub by_severity: [Endings; SEVERITY_STEPS],
    /// By the error of the stop that the ring meets first, the worse of both ends; only learns of units whose stop
    /// stands off.
    pub by_error: [Endings; ERROR_STEPS],
}

impl Curves {
    pub(super) fn add(&mut self, severity: Severity, judged: &JudgedLearn) {
        let share = (judged.severity - severity.mild) / (severity.worst - severity.mild);
        // A share is 0 to 1; the cast takes anything else to an end.
        let step = ((share * SEVERITY_STEPS as f64) as usize).min(SEVERITY_STEPS - 1);
        self.by_severity[step].add(judged.verdict);
        let worst = judged.met.iter().fold(0.0, |worst: f64, error| worst.max(error.abs()));
        if worst > DISPLACED_FROM {
            self.by_error[error_step(worst)].add(judged.verdict);
        }
    }

    pub(super) fn join(&mut self, later: &Self) {
        self.by_severity.iter_mut().zip(&later.by_severity).for_each(|(step, later)| step.join(later));
        self.by_error.iter_mut().zip(&later.by_error).for_each(|(step, later)| step.join(later));
    }
}

/// All faults' steps of error together.
pub(super) fn pooled<'a>(of: impl Iterator<Item = &'a Curves>) -> [Endings; ERROR_STEPS] {
    let mut all = Curves::default();
    of.for_each(|curves| all.join(curves));
    all.by_error
}

fn error_step(error: f64) -> usize {
    ERROR_STEP_ENDS.iter().position(|end| error <= *end).unwrap_or(ERROR_STEPS - 1)
}

#[cfg(test)]
mod tests {
    use super::super::judge::TOLERANCE;
    use super::*;

    #[test]
    fn no_step_has_errors_on_both_sides_of_the_tolerance() {
        assert!(ERROR_STEP_ENDS.contains(&TOLERANCE));
        assert!(error_step(TOLERANCE) < error_step(TOLERANCE + 1e-9));
        assert_eq!(error_step(f64::INFINITY), ERROR_STEPS - 1);
    }

    #[test]
    fn a_rate_counts_what_is_in_force_of_all() {
        let endings =
            Endings { accepted: 3, accepted_wrongly: 1, not_proven: 2, refused: 4, refused_wrongly: 0 };
        let rate = endings.believed();
        assert_eq!((rate.count, rate.of), (4, 10));
    }
}
