//! The verdict over a unit's runs: which of them belong together, what each shows, how that stands to the limits.

use super::{Selection, Shown, answers, evaluate};
use crate::evaluate::LeftOut;
use crate::judge::{CountedRun, Evidence, FaultOf, Finding, LogKeeps, Verdict, judge};
use crate::limits::Limits;
use crate::profile::Profile;
use crate::record::{Checked, Confirmation, ConfirmedTrouble, Job, Run, RunKind};

/// A unit's runs with what each shows, and the judgement over those that belong together.
#[derive(Debug, Clone, PartialEq)]
pub struct UnitResult {
    pub(crate) runs: Vec<(Run, Shown)>,
    left_out: Vec<LeftOut>,
    /// The judgement over all that count.
    pub verdict: Verdict,
}

impl UnitResult {
    /// Evaluates and judges `runs` of `unit`, in the order in which they were made, less those that
    /// its log does not vouch for. Writes nothing.
    #[must_use]
    pub fn of(runs: Vec<Run>, checked: &Checked, unit: &str, profile: &Profile, limits: &Limits) -> Self {
        Self::of_job(runs, checked, unit, (profile, limits), &Job::default())
    }

    /// The same for the newest job that fits `asked`.
    #[must_use]
    pub(crate) fn of_job(
        runs: Vec<Run>,
        checked: &Checked,
        unit: &str,
        (profile, limits): (&Profile, &Limits),
        asked: &Job,
    ) -> Self {
        let Selection { counted, left_out, job } = Selection::of(runs, unit, &checked.unsound, asked);
        let runs: Vec<_> =
            counted.into_iter().map(|run| (evaluate(&run, profile), run)).map(|(s, r)| (r, s)).collect();
        let all = Evidence::default();
        let mut evidence = runs.iter().fold(all, |all, (_, shown)| all.and(shown.evidence.clone()));
        evidence.findings.extend(left_out.iter().filter_map(LeftOut::finding));
        evidence.findings.extend(checked.confirmed.map(doubted_confirmations));
        let measured = runs.iter().filter(|(run, _)| !run.file.is_diagnostic());
        let mut kinds: Vec<RunKind> = measured.map(|(run, _)| run.name.kind).collect();
        if kinds.is_empty() {
            evidence = evidence.and(if runs.is_empty() { nothing_counts(&job) } else { only_pictures() });
        }
        // A part whose evidence does not belong here any more is unanswered, not unasked.
        kinds.extend(left_out.iter().filter(|left| left.leaves_a_gap()).map(|left| left.run.kind));
        let confirmed =
            runs.iter().flat_map(|(run, _)| &run.confirmed).map(Confirmation::to_string).collect();
        let judged = judge(&evidence, limits, |limit| kinds.iter().any(|kind| answers(*kind, limit)));
        let counted = runs.iter().map(|(run, _)| named(run, checked)).collect();
        let verdict = Verdict { counted, confirmed, job, ..judged };
        Self { runs, left_out, verdict }
    }

    /// Runs that do not count, with why.
    pub fn left_out(&self) -> impl Iterator<Item = String> {
        self.left_out.iter().map(LeftOut::to_string)
    }

    /// Kinds of run that the verdict rests on.
    #[must_use]
    pub fn covers(&self) -> String {
        let kinds: Vec<&str> = self.runs.iter().map(|(run, _)| run.name.kind.word()).collect();
        kinds.join(", ")
    }
}

fn named(run: &Run, checked: &Checked) -> CountedRun {
    let is_unchained = checked.unchained.contains(&run.name);
    let kept = if is_unchained { LogKeeps::Unchained } else { LogKeeps::Chained };
    CountedRun { run: run.name.to_string(), evidence: run.evidence.clone(), kept }
}

/// Confirmations that are not what was recorded count for nothing, and what they said is unknown.
fn doubted_confirmations(trouble: ConfirmedTrouble) -> Finding {
    Finding {
        code: "confirmations-unsound".into(),
        seen: trouble.to_string(),
        advice: "Restore the file from a copy, or move it away and confirm again.".into(),
        fault_of: FaultOf::Rig,
    }
}

/// Without a run nothing is known.
fn nothing_counts(job: &Job) -> Evidence {
    let finding = Finding {
        code: "nothing-counts".into(),
        seen: format!("no run on record counts ({job})"),
        advice: "Record a learn and the motions, or ask for a job that is on record.".into(),
        fault_of: FaultOf::Rig,
    };
    Evidence { findings: vec![finding], ..Evidence::default() }
}

/// Diagnostic runs alone decide nothing.
fn only_pictures() -> Evidence {
    let finding = Finding {
        code: "diagnostic-only".into(),
        seen: "only a diagnostic run is on record: it shows where the lever binds, without a calibration"
            .into(),
        advice: "Repair what it shows, then learn.".into(),
        fault_of: FaultOf::Rig,
    };
    Evidence { findings: vec![finding], ..Evidence::default() }
}
