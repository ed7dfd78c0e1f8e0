//! The fitting sheet: what goes with a unit to the engine, on a page of its own.
//!
//! In: a [`UnitResult`] and its profile. Out: a [`Report`] of what was set and learned, of what does not carry over, and of
//! what a qualified person checks at the engine and writes down. The checks are common practice, no source.

use firmware_core::calibration::Calibration;

use super::Report;
use super::hand_over::{LINE, date, whose};
use super::lever::LeverTravel;
use super::section::{Section, Table};
use crate::caution::{CAUTIONS, HANDED_OVER, HOLDS_UNTIL};
use crate::evaluate::UnitResult;
use crate::judge::Judgement;
use crate::number::fixed;
use crate::profile::Profile;
use crate::record::{Run, RunKind};

/// What stays on the bench.
const STAYS_HERE: &str = "The calibration on this sheet is in the bench's own board and stays there. The \
    engine's own control unit does not know it: once the unit is fitted, that control unit must learn the \
    stops itself, by the engine maker's own procedure. Enter no number from this sheet into it by hand.";
/// When the sheet ends.
const VOID: &str = "This sheet is void as soon as the actuator, lever, rod, ring or a stop screw is \
    turned, taken off or re-mounted. It is void for any actuator or turbo but those with the serial \
    numbers above.";
/// What is checked at the engine, in this order.
const AT_THE_ENGINE: [(&str, &str); 8] = [
    ("lever and linkage", "free over the whole travel by hand, engine off, cold, supply unplugged"),
    ("oil", "feed and return clear, turbo primed before the first start, no leak at idle and warm"),
    ("leaks", "exhaust, charge air, coolant where it has some: tight cold and warm"),
    ("relearn", "the engine's own control unit has learned the stops by the maker's procedure"),
    ("learned span", "the span that the control unit shows, with its unit of measure:"),
    ("trouble codes", "read, noted, cleared; none comes back after a warm run"),
    (
        "boost",
        "raise it step by step: it follows its target, stays within the engine maker's limits, and falls \
         at once on command",
    ),
    ("warm", "after a heat soak: free, no leak, no code"),
];

impl UnitResult {
    /// The sheet that goes with the unit.
    #[must_use]
    pub(crate) fn fitting_sheet(&self, profile: &Profile) -> Report {
        let learn = self.runs.iter().map(|(run, _)| run).find(|run| run.name.kind == RunKind::Learn);
        let subject = self.runs.first().map_or("no runs", |(run, _)| run.file.run.unit.as_str());
        let standing = Section::new("What the bench says").text(on_the_bench(self.verdict.judgement));
        let checks = AT_THE_ENGINE
            .iter()
            .fold(Table::new(&["check", "what is right", "seen", "by, date"]), |table, (check, right)| {
                table.row([*check, *right, LINE, LINE])
            });
        let signed = ["bench", "fitted by", "engine checked by"]
            .iter()
            .fold(Table::new(&["who", "name", "date", "signature"]), |table, who| {
                table.row([*who, LINE, LINE, LINE])
            });
        Report {
            subject: subject.to_owned(),
            kind: "fitting sheet".into(),
            facts: self.fitting_facts(learn),
            verdict: None,
            sections: vec![
                standing,
                Section::new("Set and learned on the bench").table(learned(learn, profile)),
                Section::new("What does not carry over").text(STAYS_HERE).text(VOID).text(HOLDS_UNTIL),
                Section::new("At the engine, by a qualified person")
                    .text(
                        "The engine maker's instructions and local codes come first; where they differ \
                         from this sheet, follow them.",
                    )
                    .table(checks),
                Section::new("Signed").table(signed),
            ],
            sheet: None,
            cautions: CAUTIONS.into_iter().chain([HANDED_OVER]).map(str::to_owned).collect(),
        }
    }

    fn fitting_facts(&self, learn: Option<&Run>) -> Vec<(String, String)> {
        let word = self.verdict.judgement.word().to_owned();
        let mut facts = vec![("bench verdict", format!("{word} (judged on {})", self.covers()))];
        if let Some(run) = learn {
            facts.extend(whose(run));
            facts.push(("learned", date(run)));
            facts.push(("evidence of the learn", format!("{}, SHA-256 {}", run.name, run.evidence)));
        }
        facts.into_iter().map(|(name, value)| (name.to_owned(), value)).collect()
    }
}

fn on_the_bench(judgement: Judgement) -> &'static str {
    match judgement {
        Judgement::WithinLimits => {
            "Within limits in what the bench measured, and no more than that. The checks below decide \
             whether to fit it and whether it runs."
        }
        Judgement::OutOfLimits => "OUT OF LIMITS on the bench: do not fit it. The bench report says why.",
        Judgement::Undetermined => {
            "UNDETERMINED on the bench: do not fit it until every open point is settled. The bench report \
             lists them."
        }
    }
}

/// What the learn found; per cent and degrees beside counts.
fn learned(learn: Option<&Run>, profile: &Profile) -> Table {
    let table = Table::new(&["what", "value"]);
    let Some((run, found)) = learn.and_then(|run| Some((run, run.file.outcome.calibration?))) else {
        return table.row(["learn", "none that counts"]);
    };
    let Calibration { closed, open, .. } = found;
    let span = f64::from(found.span_counts()).abs();
    let degrees = LeverTravel::of(profile, Some(&found)).degrees();
    let counts = |counts: f32| format!("{} counts", fixed(counts.into(), 0));
    let mut rows = vec![
        ("mounted", format!("{}, {}", run.file.run.setup, run.file.run.warmth)),
        ("closed stop, without push", counts(closed.zero_push_counts)),
        ("open stop, without push", counts(open.zero_push_counts)),
        (
            "travel between them",
            format!("{} counts, {}° of the lever by the profile's scale", fixed(span, 0), fixed(degrees, 1)),
        ),
    ];
    if let Some(given) = &run.file.run.provenance {
        rows.push(("board and settings", format!("{}, {}", given.board, given.settings)));
    }
    rows.extend(run.confirmed.iter().map(|one| ("confirmed by a person", one.to_string())));
    let open_checks = run.open_checks();
    let left = open_checks.iter().map(|check| ("NOT confirmed yet", check.text().to_owned()));
    rows.extend(left);
    rows.into_iter().fold(table, |table, (what, value)| table.row([what, &value]))
}
