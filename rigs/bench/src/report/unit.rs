//! The report of a unit, drawn from its runs and their verdict.
//!
//! In: a [`UnitResult`], profile, limits and sheet. Out: a [`Report`].

use super::section::{Section, Table};
use super::{Report, Sheet};
use super::{bench, diagnostic};
use crate::caution::{CAUTIONS, HOLDS_UNTIL};
use crate::evaluate::{Exhibit, Shown, UnitResult};
use crate::figures::step::StepBands;
use crate::figures::{Measure, Sensor};
use crate::judge::Counted;
use crate::limits::Limits;
use crate::profile::Profile;
use crate::record::{Endurance, Ground, Provenance, RunKind, Status};
use crate::short_text::ShortText;

/// What a reader must know of the simulated boost.
const BOOST_NOTE: &str = "The same controller code over a simulated actuator and an invented engine (bench engine A): \
    no engine was run. Surge is outside the model. A real engine must be checked on the engine.";

impl UnitResult {
    /// The report. `more` are sections that other verbs add after the runs.
    #[must_use]
    pub fn report(&self, profile: &Profile, limits: &Limits, sheet: Sheet, more: Vec<Section>) -> Report {
        let mut sections: Vec<Section> =
            self.runs.iter().filter_map(|(_, shown)| section(shown, profile, limits)).collect();
        sections.push(self.run_table());
        sections.extend(more);
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
        let endurance = self.runs.iter().rev().find_map(|(run, _)| Endurance::of(run));
        facts.extend(endurance.map(|endurance| ("endurance", endurance.lines().join("; "))));
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
                RunKind::Learn | RunKind::Sweep | RunKind::Friction | RunKind::Step | RunKind::Cycle => {
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

/// Whose unit it is, as far as the command line said.
fn provenance(given: &Provenance) -> Vec<(&'static str, String)> {
    let fact = |name, text: &Option<ShortText>| text.as_ref().map(|text| (name, text.to_string()));
    [
        fact("actuator serial", &given.serials.actuator),
        fact("turbo serial", &given.serials.turbo),
        fact("operator", &given.operator),
        fact("customer's reference", &given.customer),
        (!given.job.is_unnamed()).then(|| ("job", given.job.to_string())),
        Some(("board", given.board.to_string())),
        Some(("settings", format!("{} (checksum of their content)", given.settings))),
    ]
    .into_iter()
    .flatten()
    .collect()
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
