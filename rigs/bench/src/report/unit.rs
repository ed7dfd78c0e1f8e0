//! The report of a unit: the latest run of each kind, judged together.
//!
//! In: a unit's runs, profile, limits and sheet. Out: a [`Report`] with its verdict.

use firmware_core::calibration::{Setup, Warmth};

use super::bench;
use super::section::{Section, Table};
use super::{Report, Sheet};
use crate::caution::CAUTIONS;
use crate::evaluate::{self, Exhibit, Shown};
use crate::figures::step::StepBands;
use crate::figures::{Measure, Sensor};
use crate::judge::{self, Evidence, Verdict};
use crate::limits::Limits;
use crate::profile::Profile;
use crate::record::{Run, RunKind, Status};

/// What a reader must know of the simulated boost.
const BOOST_NOTE: &str = "The same controller code over a simulated actuator and an invented engine (bench engine A): \
    no engine was run. Surge is outside the model. A real engine must be checked on the engine.";

/// A unit's runs with what each shows, latest of each kind.
#[derive(Debug, Clone, PartialEq)]
pub struct UnitResult {
    runs: Vec<(Run, Shown)>,
    /// Runs that a later one of the same kind replaces, and those of another mounting.
    replaced: Vec<String>,
    /// The judgement over all of them.
    pub verdict: Verdict,
}

impl UnitResult {
    /// Evaluates and judges; `runs` in the order in which they were made. `more` is evidence from elsewhere.
    #[must_use]
    pub fn new(runs: Vec<Run>, profile: &Profile, limits: &Limits, more: Evidence) -> Self {
        let mut latest: Vec<Run> = Vec::new();
        let mut replaced = Vec::new();
        let newest = runs.last().map(mounting);
        for run in runs {
            // One verdict speaks of one mounting: cold and hot, free and attached are never mixed.
            if Some(mounting(&run)) != newest {
                replaced.push(run.name.to_string());
                continue;
            }
            if let Some(older) = latest.iter().position(|r| r.name.kind == run.name.kind) {
                replaced.push(latest.remove(older).name.to_string());
            }
            latest.push(run);
        }
        let runs: Vec<_> = latest
            .into_iter()
            .map(|run| (evaluate::evaluate(&run, profile), run))
            .map(|(s, r)| (r, s))
            .collect();
        let evidence = runs.iter().fold(more, |all, (_, shown)| all.and(shown.evidence.clone()));
        let kinds: Vec<RunKind> = runs.iter().map(|(run, _)| run.name.kind).collect();
        let verdict =
            judge::judge(&evidence, limits, |limit| kinds.iter().any(|kind| evaluate::answers(*kind, limit)));
        Self { runs, replaced, verdict }
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
            facts.push(("controller", info.controller.clone()));
            facts.push(("software", info.software.clone()));
            if let Some(unit) = &info.virtual_unit {
                let seed = info.seed.map_or_else(String::new, |seed| format!(", seed {seed}"));
                facts.push(("virtual unit", format!("{unit}{seed}: simulated, no real unit moved")));
            }
        }
        facts.push(("judged on", self.covers()));
        if !self.replaced.is_empty() {
            facts.push(("other runs, not judged", self.replaced.join(", ")));
        }
        facts.into_iter().map(|(name, value)| (name.to_owned(), value)).collect()
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
            let sums = run.file.sums.unwrap_or_default();
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
        Section::new("Runs").table(table)
    }
}

/// What a verdict must not mix: how the unit was mounted, cold or hot.
fn mounting(run: &Run) -> (Setup, Warmth) {
    (run.file.run.setup, run.file.run.warmth)
}

fn section(shown: &Shown, profile: &Profile, limits: &Limits) -> Option<Section> {
    Some(match shown.exhibit.as_ref()? {
        Exhibit::Learn(trace) => bench::learn(trace),
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
