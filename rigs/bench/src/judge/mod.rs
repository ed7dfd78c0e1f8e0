//! From figures and limits to a verdict with reasons.
//!
//! In: what each run showed (figures, refusals, whether it is complete) and the limits. Out: a [`Verdict`]:
//! within limits, out of limits, or undetermined. An incomplete run is never within limits; a limit without its figure is never passed.

mod advice;
mod blame;
mod check;
mod stored;
mod verdict;

pub use advice::advice;
pub use blame::fault_of;
pub use check::{DecisionRule, LimitCheck};
pub(crate) use stored::StoredVerdict;
pub(crate) use verdict::{CountedRun, LOSS_ADVICE, LogKeeps, figure_row};
pub use verdict::{FigureRow, Finding, Holed, Judgement, Reason, Verdict};

pub use crate::record::FaultOf;

use crate::figures::Figure;
use crate::limits::{Bounds, Limit, LimitStanding, Limits};
use crate::record::Job;

/// What is put before the judge from one run or several.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Evidence {
    /// Figures that could be computed.
    pub figures: Vec<Figure>,
    /// What was found beside figures: refusals of the learner, traces without an answer, a cut run.
    pub findings: Vec<Finding>,
    /// Figures that the record's holes leave open: each limit on one of them is unanswered.
    pub holed: Vec<Holed>,
    /// What the controller held a learn against.
    pub learned: Vec<(Figure, Bounds)>,
}

impl Evidence {
    /// The evidence of two runs together.
    #[must_use]
    pub fn and(mut self, other: Self) -> Self {
        self.figures.extend(other.figures);
        self.findings.extend(other.findings);
        self.holed.extend(other.holed);
        self.learned.extend(other.learned);
        self
    }
}

/// Weighs all evidence against the limits.
///
/// `asked` narrows the limits to those that the runs at hand are meant to answer (a learn alone says nothing
/// of T86, and that alone puts it out of no limit as a learn).
#[must_use]
pub fn judge(evidence: &Evidence, limits: &Limits, asked: impl Fn(&Limit) -> bool) -> Verdict {
    let mut checks = Vec::new();
    let mut reasons: Vec<Reason> = evidence.findings.iter().map(Finding::reason).collect();
    // A unit that was refused, or a run that was cut, has no figures: a consequence, no second reason.
    let explained = !reasons.is_empty();
    for limit in limits.limits.iter().filter(|limit| asked(limit)) {
        let measured: Vec<_> = evidence.figures.iter().filter(|f| f.measure == limit.measure).collect();
        let holed: Vec<_> = evidence.holed.iter().filter(|h| h.measure == limit.measure).collect();
        if measured.is_empty() && holed.is_empty() && !explained {
            reasons.push(Reason::missing(limit));
        }
        reasons.extend(holed.into_iter().map(Reason::holed));
        for figure in measured {
            let limit = &limit.for_value_within(figure.tolerance);
            let check = LimitCheck::new(figure, limit.bounds);
            match check.standing {
                LimitStanding::Inside => {}
                LimitStanding::TooClose => reasons.push(Reason::too_close(figure, limit)),
                LimitStanding::Outside => reasons.push(Reason::outside(figure, limit)),
            }
            checks.push(check);
        }
    }
    let judgement = reasons.iter().map(Reason::weighs).fold(Judgement::WithinLimits, Judgement::worse);
    let figures = evidence.figures.iter().map(figure_row).collect();
    Verdict {
        judgement,
        reasons,
        rule: DecisionRule::over(&checks),
        checks,
        learn_checks: evidence
            .learned
            .iter()
            .map(|(figure, bounds)| LimitCheck::new(figure, *bounds))
            .collect(),
        figures,
        counted: Vec::new(),
        confirmed: Vec::new(),
        job: Job::default(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::figures::{Measure, Sensor};
    use proptest::prelude::*;

    const HYSTERESIS: Measure = Measure::Hysteresis(Sensor::Own);

    fn limits() -> Limits {
        let bounds =
            Bounds { min: None, max: Some(0.5), expanded_uncertainty: Some(0.05), sound_units: None };
        let limits = vec![Limit { measure: HYSTERESIS, bounds }];
        Limits { name: "demo".into(), origin: "invented".into(), limits }
    }

    fn evidence(values: &[f64]) -> Evidence {
        let figures = values.iter().map(|&v| Figure::new(HYSTERESIS, v, "")).collect();
        Evidence { figures, ..Evidence::default() }
    }

    fn cut() -> Finding {
        Finding::incomplete("0002-sweep", "link lost at tick 5120")
    }

    fn judged(evidence: &Evidence) -> Judgement {
        judge(evidence, &limits(), |_| true).judgement
    }

    #[test]
    fn a_figure_inside_its_limit_is_fit_and_one_outside_is_not() {
        assert_eq!(judged(&evidence(&[0.3])), Judgement::WithinLimits);
        assert_eq!(judged(&evidence(&[0.3, 0.7])), Judgement::OutOfLimits);
        assert_eq!(judged(&evidence(&[0.48])), Judgement::Undetermined);
    }

    #[test]
    fn a_limit_without_its_figure_is_not_passed() {
        let verdict = judge(&evidence(&[]), &limits(), |_| true);
        assert_eq!(verdict.judgement, Judgement::Undetermined);
        assert!(verdict.reasons[0].seen.contains("not measured"), "{:?}", verdict.reasons);
    }

    #[test]
    fn a_refused_unit_is_not_fit_although_its_figures_are_missing() {
        let seen = "no motion: moved 2 counts (needs 100)".into();
        let advice = "Free the lever.".into();
        let refusal = Finding { code: "no-motion".into(), seen, advice, fault_of: FaultOf::Unit };
        let evidence = Evidence { findings: vec![refusal], ..Evidence::default() };
        let verdict = judge(&evidence, &limits(), |_| true);
        assert_eq!((verdict.judgement, verdict.reasons.len()), (Judgement::OutOfLimits, 1));
    }

    #[test]
    fn a_figure_with_a_hole_is_undetermined_beside_a_whole_one() {
        let holed = Holed { measure: HYSTERESIS, seen: "ticks 5 to 9 are missing".into() };
        let evidence = Evidence { holed: vec![holed], ..evidence(&[0.3]) };
        let verdict = judge(&evidence, &limits(), |_| true);
        assert_eq!(verdict.judgement, Judgement::Undetermined);
        assert!(verdict.reasons[0].seen.contains("ticks 5 to 9"), "{:?}", verdict.reasons);
    }

    #[test]
    fn limits_that_were_not_asked_about_do_not_count() {
        assert_eq!(judge(&evidence(&[]), &limits(), |_| false).judgement, Judgement::WithinLimits);
    }

    #[test]
    fn a_cut_run_outweighs_everything_and_keeps_the_other_reasons() {
        let mut evidence = evidence(&[0.7]);
        evidence.findings.push(cut());
        let verdict = judge(&evidence, &limits(), |_| true);
        assert_eq!(verdict.judgement, Judgement::Undetermined);
        assert_eq!(verdict.reasons.len(), 2);
    }

    proptest! {
        #[test]
        fn nothing_incomplete_is_ever_fit(values in prop::collection::vec(any::<f64>(), 0..5)) {
            let mut evidence = evidence(&values);
            evidence.findings.push(cut());
            prop_assert_ne!(judged(&evidence), Judgement::WithinLimits);
        }

        #[test]
        fn the_same_evidence_gives_the_same_bytes(values in prop::collection::vec(-1.0..1.0f64, 0..5)) {
            let evidence = evidence(&values);
            let bytes = || serde_json::to_vec(&judge(&evidence, &limits(), |_| true)).unwrap();
            prop_assert_eq!(bytes(), bytes());
        }
    }
}
