//! The report of a unit: the latest run of each kind, judged together.
//!
//! In: a unit's runs, profile, limits and sheet. Out: a [`Report`] with its verdict.

use super::section::{Section, Table};
use super::{Report, Sheet};
use super::{bench, diagnostic};
use crate::caution::{CAUTIONS, HOLDS_UNTIL};
use crate::evaluate::{self, Exhibit, LeftOut, Selection, Shown};
use crate::figures::step::StepBands;
use crate::figures::{Measure, Sensor};
use crate::judge::{self, Counted, Evidence, FaultOf, Finding, Kept, Verdict};
use crate::limits::{Limit, Limits};
use crate::profile::Profile;
use crate::record::{Checked, Confirmation, Ground, Provenance, Run, RunKind, Status};
use crate::short_text::ShortText;
use crate::unit_result::Records;

/// What a reader must know of the simulated boost.
const BOOST_NOTE: &str = "The same controller code over a simulated actuator and an invented engine (bench engine A): \
    no engine was run. Surge is outside the model. A real engine must be checked on the engine.";

/// A unit's runs with what each shows, and the judgement over those that belong together.
#[derive(Debug, Clone, PartialEq)]
pub struct UnitResult {
    runs: Vec<(Run, Shown)>,
    left_out: Vec<LeftOut>,
    /// The judgement over all that count.
    pub verdict: Verdict,
}

impl UnitResult {
    /// Evaluates and judges `runs` of `unit`, in the order in which they were made.
    #[must_use]
    pub fn new(records: Records, unit: &str, profile: &Profile, limits: &Limits) -> Self {
        let Records { runs, checked } = records;
        let Selection { counted, left_out } = Selection::of(runs, unit, &checked.unsound);
        let runs: Vec<_> = counted
            .into_iter()
            .map(|run| (evaluate::evaluate(&run, profile), run))
            .map(|(s, r)| (r, s))
            .collect();
        let mut evidence =
            runs.iter().fold(Evidence::default(), |all, (_, shown)| all.and(shown.evidence.clone()));
        evidence.findings.extend(left_out.iter().filter_map(LeftOut::finding));
        let measured = runs.iter().filter(|(run, _)| !run.file.is_diagnostic());
        let mut kinds: Vec<RunKind> = measured.map(|(run, _)| run.name.kind).collect();
        if kinds.is_empty() && !runs.is_empty() {
            evidence = evidence.and(only_pictures());
        }
        // A part whose evidence does not belong here any more is unanswered, not unasked.
        kinds.extend(left_out.iter().filter(|left| left.leaves_a_gap()).map(|left| left.run.kind));
        let asked = |limit: &Limit| kinds.iter().any(|kind| evaluate::answers(*kind, limit));
        let confirmed =
            runs.iter().flat_map(|(run, _)| &run.confirmed).map(Confirmation::to_string).collect();
        let counted = runs.iter().map(|(run, _)| named(run, &checked)).collect();
        let verdict = Verdict { counted, confirmed, ..judge::judge(&evidence, limits, asked) };
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

    /// The report. `more` are sections that other verbs add after the runs.
    #[must_use]
    pub fn report(&self, profile: &Profile, limits: &Limits, sheet: Sheet, more: Vec<Section>) -> Report {
        let mut sections: Vec<Section> =
            self.runs.iter().filter_map(|(_, shown)| section(shown, profile, limits)).collect();
        sections.extend(more);
        sections.push(self.run_table());
        let subject = self.runs.first().map_or("no runs", |(run, _)| run.file.run.unit.as_str());
        Report {
            subject: subject.to_owned(),
            kind: "bench report".into(),
            facts: self.facts(profile, limits),
            verdict: Some(self.verdict.clone()),
            sections,
            sheet: Some(sheet),
            cautions: CAUTIONS.map(str::to_owned).to_vec(),
        }
    }

    fn facts(&self, profile: &Profile, limits: &Limits) -> Vec<(String, String)> {
        let mut facts = vec![
            ("profile", format!("{}. {}", profile.name, profile.origin)),
            ("limits", format!("{}. {}", limits.name, limits.origin)),
        ];
        if let Some((run, _)) = self.runs.first() {
            let info = &run.file.run;
            facts.push(("setup", format!("{}, {}", info.setup, info.warmth)));
            facts.extend(info.provenance.iter().flat_map(provenance));
            facts.push(("controller", info.controller.clone()));
            facts.push(("software", info.software.clone()));
            if let Some(unit) = &info.virtual_unit {
                let seed = info.seed.map_or_else(String::new, |seed| format!(", seed {seed}"));
                facts.push(("virtual unit", format!("{unit}{seed}: simulated, no real unit moved")));
            }
        }
        facts.extend(self.grounds().map(|ground| ("moved on", ground)));
        facts.extend(self.verdict.confirmed.iter().map(|line| ("confirmed afterwards", line.clone())));
        facts.push(("judged on", self.covers()));
        facts.extend(self.left_out().map(|left_out| ("not judged", left_out)));
        facts.into_iter().map(|(name, value)| (name.to_owned(), value)).collect()
    }

    /// On what each run moved, where that is not an accepted calibration; else on which learn.
    fn grounds(&self) -> impl Iterator<Item = String> {
        let mut accepted: Vec<&str> = Vec::new();
        let mut lines = Vec::new();
        for (run, _) in &self.runs {
            match &run.file.outcome.ground {
                None => {}
                Some(Ground::Accepted { learn }) if accepted.contains(&&**learn) => {}
                Some(Ground::Accepted { learn }) => {
                    accepted.push(learn);
                    lines.push(format!("the calibration of {learn}, accepted"));
                }
                Some(Ground::Unproven { learn, standing, present }) => lines.push(format!(
                    "{}: the calibration of {learn}, {standing}; half the current and half the speed, beside it: {present}",
                    run.name
                )),
                Some(Ground::Diagnostic { because, peak_current_a }) => lines.push(format!(
                    "{}: no calibration ({because}); at most {peak_current_a} A, a picture and no measurement",
                    run.name
                )),
            }
        }
        lines.into_iter()
    }

    fn run_table(&self) -> Section {
        // Virtual units carry no date: their reports repeat byte for byte.
        let is_real = self.runs.iter().any(|(run, _)| run.file.run.virtual_unit.is_none());
        let mut head = vec!["run", "state", "samples", "lost on the line"];
        if is_real {
            head.extend(["begun", "port"]);
        }
        let mut table = Table::new(&head);
        for (run, _) in &self.runs {
            let state = match &run.file.status {
                Status::Complete => "complete".to_owned(),
                Status::EndedByUnit { reason, tick, .. } => {
                    format!("ended by the unit at tick {tick}: {reason}")
                }
                Status::Incomplete { reason } => format!("incomplete: {reason}"),
            };
            let sums = run.file.sums.clone().unwrap_or_default();
            let samples = match run.name.kind {
                RunKind::Simulate => "traces".to_owned(),
                RunKind::Learn | RunKind::Sweep | RunKind::Friction | RunKind::Step => {
                    run.samples().count().to_string()
                }
            };
            let mut row = vec![run.name.to_string(), state, samples, sums.lost.to_string()];
            if is_real {
                row.extend([run.file.begun().unwrap_or_default(), run.file.port().to_owned()]);
            }
            table = table.row(row);
        }
        let mut evidence = Table::new(&["run", "evidence, SHA-256", "log"]);
        for Counted { run, evidence: hash, kept } in &self.verdict.counted {
            evidence = evidence.row([run, &hash.to_string(), kept.word()]);
        }
        Section::new("Runs").table(table).table(evidence)
    }
}

fn named(run: &Run, checked: &Checked) -> Counted {
    let is_unchained = checked.unchained.contains(&run.name);
    let kept = if is_unchained { Kept::Unchained } else { Kept::Chained };
    Counted { run: run.name.to_string(), evidence: run.evidence.clone(), kept }
}

/// Whose unit it is, as far as the command line said.
fn provenance(given: &Provenance) -> Vec<(&'static str, String)> {
    let fact = |name, text: &Option<ShortText>| text.as_ref().map(|text| (name, text.to_string()));
    [
        fact("actuator serial", &given.serials.actuator),
        fact("turbo serial", &given.serials.turbo),
        fact("operator", &given.operator),
        Some(("board", given.board.to_string())),
        Some(("settings", format!("{} (checksum of their content)", given.settings))),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// Diagnostic runs alone decide nothing.
fn only_pictures() -> Evidence {
    let finding = Finding {
        code: "diagnostic-only".into(),
        seen: "only a diagnostic run is on record: a picture of where the lever binds, without a calibration"
            .into(),
        advice: "Mend what it shows, then learn.".into(),
        fault_of: FaultOf::Rig,
    };
    Evidence { findings: vec![finding], ..Evidence::default() }
}

fn section(shown: &Shown, profile: &Profile, limits: &Limits) -> Option<Section> {
    Some(match shown.exhibit.as_ref()? {
        Exhibit::Learn(trace) => bench::learn(trace).text(HOLDS_UNTIL),
        Exhibit::Diagnostic(picture) => diagnostic::section(picture),
        Exhibit::Sweep(table, reversals) => {
            bench::sweep(table, Sensor::Own).charts(bench::reversals(reversals))
        }
        Exhibit::Friction { current, duty } => {
            let limit = limits.of(Measure::FrictionLargest).and_then(|bounds| bounds.max);
            bench::friction(current, duty, limit)
        }
        Exhibit::Steps(steps) => {
            let bands = &profile.plan.bands;
            bench::steps(steps, StepBands { moved: bands.moved, settled: bands.settled })
        }
        Exhibit::Boost(trace) => bench::boost(trace, BOOST_NOTE),
    })
}
