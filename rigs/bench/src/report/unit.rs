//! The report of a unit, drawn from its runs and their verdict.
//!
//! In: a [`UnitResult`], profile, limits and sheet. Out: a [`Report`]; its first pages are made next door, in `front.rs`.

use super::friction::FrictionShown;
use super::hand_over::{date, whose};
use super::lever::LeverTravel;
use super::section::{Section, Table};
use super::{Front, Report, ReportSheet, UnitReport};
use super::{bench, diagnostic};
use crate::actuator::is_invented;
use crate::caution::{CAUTIONS, HOLDS_UNTIL};
use crate::evaluate::{Exhibit, Shown, UnitResult, step_bands};
use crate::figures::{Measure, Sensor};
use crate::limits::Limits;
use crate::number::fixed;
use crate::profile::Profile;
use crate::record::{Endurance, Ground, RunKind, RunStatus};

/// What a reader must know of the simulated boost.
const BOOST_NOTE: &str = "The same controller code over a simulated actuator and an invented engine (bench \
    engine A): no engine was run. Surge is outside the model. Check a real engine on the engine itself.";

impl UnitResult {
    /// The report. `log` says how long the unit's log is, `attached` what a person put to the unit.
    #[must_use]
    pub fn report(
        &self,
        (profile, limits): (&Profile, &Limits),
        sheet: ReportSheet,
        log: Option<Section>,
        attached: Option<Section>,
    ) -> UnitReport {
        let learned = self.runs.iter().find_map(|(run, _)| run.file.outcome.calibration.as_ref());
        let lever = LeverTravel::of(profile, learned);
        let mut sections: Vec<Section> =
            self.runs.iter().filter_map(|(_, shown)| section(shown, profile, limits, lever)).collect();
        sections.push(self.run_table());
        sections.extend(attached);
        let subject = self.runs.first().map_or("no runs", |(run, _)| run.file.run.unit.as_str());
        let report = Report {
            subject: subject.to_owned(),
            kind: "bench report".into(),
            facts: self.facts(profile),
            verdict: Some(self.verdict.clone()),
            sections,
            sheet: Some(sheet),
            cautions: CAUTIONS.map(str::to_owned).to_vec(),
        };
        let front = Front {
            lever,
            sections: self.front(profile, limits, lever, log),
            background: self.background(profile, limits, lever),
        };
        UnitReport { report, front }
    }

    /// Whose unit, when, and what the verdict counts.
    fn facts(&self, profile: &Profile) -> Vec<(String, String)> {
        let mut facts = Vec::new();
        if let Some((run, _)) = self.runs.last() {
            facts.extend(whose(run));
            facts.push(("date", date(run)));
        }
        if is_invented(profile).unwrap_or(true) {
            facts.push(("profile", "invented, for practice; says nothing about a real unit".to_owned()));
        }
        facts.push(("judged on", self.covers()));
        facts.extend(self.verdict.confirmed.iter().map(|line| ("confirmed afterwards", line.clone())));
        facts.extend(self.left_out().map(|left_out| ("not judged", left_out)));
        owned(facts)
    }

    /// On what it was measured and by what it was judged.
    fn background(&self, profile: &Profile, limits: &Limits, lever: LeverTravel) -> Vec<(String, String)> {
        let mut facts = vec![
            ("profile", format!("{}. {}", profile.name, profile.origin)),
            ("limits", format!("{}. {}", limits.name, limits.origin)),
            ("decision", self.verdict.rule.text()),
            ("travel", format!("{:.1}° of the lever, by the profile's scale", lever.degrees())),
        ];
        if let Some((run, _)) = self.runs.first() {
            let info = &run.file.run;
            facts.push(("setup", format!("{}, {}", info.setup, info.warmth)));
            if let Some(given) = &info.provenance {
                facts.push(("board", given.board.to_string()));
                facts.push(("settings", format!("{} (checksum of their content)", given.settings)));
            }
            facts.push(("controller", info.controller.clone()));
            facts.push(("software", info.software.clone()));
            facts.extend(info.seed.map(|seed| ("seed", seed.to_string())));
        }
        facts.extend(self.grounds().map(|ground| ("moved on", ground)));
        let endurance = self.runs.iter().rev().find_map(|(run, _)| Endurance::of(run));
        facts.extend(endurance.map(|endurance| ("endurance", endurance.lines().join("; "))));
        owned(facts)
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
                    "{}: the calibration of {learn}, {standing}; half the current and half the speed; \
                     person beside it: {present}",
                    run.name
                )),
                Some(Ground::Diagnostic { because, peak_current_a }) => lines.push(format!(
                    "{}: no calibration ({because}); at most {peak_current_a} A, a picture, not a \
                     measurement",
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
                RunStatus::Complete => "complete".to_owned(),
                RunStatus::EndedByUnit { reason, tick, .. } => {
                    format!("ended by the unit at tick {tick}: {reason}")
                }
                RunStatus::Incomplete { reason } => format!("incomplete: {reason}"),
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
        Section::new("Runs").table(table)
    }
}

fn owned(facts: Vec<(&'static str, String)>) -> Vec<(String, String)> {
    facts.into_iter().map(|(name, value)| (name.to_owned(), value)).collect()
}

fn section(shown: &Shown, profile: &Profile, limits: &Limits, lever: LeverTravel) -> Option<Section> {
    Some(match shown.exhibit.as_ref()? {
        Exhibit::Learn(trace) => bench::learn(trace).text(HOLDS_UNTIL).table(held_against(shown)),
        Exhibit::Diagnostic(picture) => diagnostic::section(picture),
        Exhibit::Sweep { table, reversals, holes } => bench::sweep(table, holes, Sensor::Own, lever)
            .charts(reversals.iter().map(|reversal| bench::reversal(reversal, lever))),
        Exhibit::SweepInPart(part) => bench::sweep_in_part(part, lever),
        Exhibit::Friction { current, duty, holes } => {
            let limit = limits.of(Measure::FrictionLargest).and_then(|bounds| bounds.max);
            FrictionShown { current, duty, holes, limit, lever }.section()
        }
        Exhibit::Steps(steps) => bench::steps(steps, step_bands(profile), lever),
        Exhibit::Boost(trace) => bench::boost(trace, BOOST_NOTE, lever),
    })
}

/// What the controller checked the learn against.
fn held_against(shown: &Shown) -> Table {
    let table =
        Table::new(&["checked against the profile by the controller", "value", "allowed", "margin", "unit"])
            .captioned("What the controller checked the learn against");
    shown.evidence.learned.iter().fold(table, |table, (figure, bounds)| {
        let definition = figure.definition();
        let allowed = bounds.text("").trim_end().to_owned();
        let margin = fixed(bounds.margins(figure.value).least(), definition.digits);
        table.row([definition.name, figure.text(), allowed, margin, definition.unit.to_owned()])
    })
}
