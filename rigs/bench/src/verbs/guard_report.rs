//! The guard campaign as `verdict.json` and as a page: what was kept, what was lost and why.
//!
//! In: the campaign's table. Out: a verdict (out of limits when a world passed a limit without explanation) whose
//! figures name their conditions, and a report. Nothing is computed here that the table does not hold.

use study::campaign::guard::{Row, Table};

use crate::caution::CAUTIONS;
use crate::document::{self, VerdictDocument};
use crate::exit::Failure;
use crate::judge::{FigureRow, Judgement, Reason, Verdict};
use crate::output::OutFolder;
use crate::record::{Job, VERDICT_FILE};
use crate::report::{Report, Section, Table as ReportTable};

/// The page's file.
const PAGE: &str = "guard.html";
/// What is judged.
const SUBJECT: &str = "over-boost guard";

/// Writes both into a folder.
///
/// # Errors
/// When the disk refuses.
pub fn write(folder: OutFolder, table: &Table, seed: u64, worlds: u32) -> Result<(), Failure> {
    let verdict = verdict(table, seed, worlds);
    let judged = VerdictDocument { unit: SUBJECT, report: None, log: None, verdict: &verdict };
    let text = document::text(&judged)? + "\n";
    let page = page(table, verdict, seed, worlds).render().map_err(Failure::undetermined)?;
    folder.replace(&[(VERDICT_FILE, text.as_bytes()), (PAGE, page.as_bytes())])
}

/// The verdict over all worlds.
#[must_use]
pub fn verdict(table: &Table, seed: u64, worlds: u32) -> Verdict {
    let conditions = format!("{worlds} random worlds, seed {seed}, simulated");
    let unhandled = table.unhandled();
    let reasons = if unhandled.is_empty() {
        Vec::new()
    } else {
        vec![Reason {
            code: "guard.unhandled".into(),
            judgement: Judgement::OutOfLimits,
            seen: format!("worlds {unhandled:?} passed a limit without a named reason"),
            advice: "Replay these worlds; lower the guard's limits or raise its lag margins.".into(),
        }]
    };
    let judgement = if unhandled.is_empty() { Judgement::WithinLimits } else { Judgement::OutOfLimits };
    let figures = figures(table, &conditions);
    Verdict {
        judgement,
        reasons,
        checks: Vec::new(),
        figures,
        counted: Vec::new(),
        confirmed: Vec::new(),
        job: Job::default(),
    }
}

fn figures(table: &Table, conditions: &str) -> Vec<FigureRow> {
    let highest = |value: fn(&Row) -> f64| table.rows.iter().map(value).fold(0.0, f64::max);
    let lost: u32 = table.rows.iter().map(lost).sum();
    let figure = |key: &str, name: &str, value: f64, digits: usize, unit: &str, definition: &str| FigureRow {
        key: format!("guard.{key}"),
        name: name.to_owned(),
        value,
        text: format!("{value:.digits$}"),
        unit: unit.to_owned(),
        place: String::new(),
        conditions: conditions.to_owned(),
        definition: definition.to_owned(),
        source: "own definition".to_owned(),
    };
    vec![
        figure(
            "boost_peak",
            "boost, highest share of its limit",
            highest(|row| row.boost_used),
            4,
            "of limit",
            "Highest true boost over the boost limit, in worlds that kept all limits.",
        ),
        figure(
            "turbo_peak",
            "turbo speed, highest",
            highest(|row| row.turbo_rpm),
            0,
            "rpm",
            "Highest true turbo speed, in worlds that kept all limits.",
        ),
        figure(
            "reaction",
            "reaction, slowest",
            highest(|row| f64::from(row.reaction_ticks)),
            0,
            "ms",
            "Time from a reading past its trip level to the vanes being told to open.",
        ),
        figure(
            "lost",
            "worlds lost for a named reason",
            f64::from(lost),
            0,
            "worlds",
            "Worlds in which neither actuator nor fuel obeyed, or no sensor could know.",
        ),
    ]
}

fn lost(row: &Row) -> u32 {
    row.lost.iter().map(|(_, worlds)| worlds).sum()
}

fn page(table: &Table, verdict: Verdict, seed: u64, worlds: u32) -> Report {
    let mut rows = ReportTable::new(&[
        "fault",
        "worlds",
        "tripped",
        "held",
        "lost",
        "boost, of limit",
        "turbo, rpm",
        "exhaust, kPa",
        "reaction, ms",
        "why lost",
    ]);
    for row in &table.rows {
        let why: Vec<String> =
            row.lost.iter().map(|(loss, worlds)| format!("{worlds} × {}", loss.name())).collect();
        rows = rows.row([
            row.fault.name().to_owned(),
            row.worlds.to_string(),
            row.tripped.to_string(),
            row.held.to_string(),
            lost(row).to_string(),
            format!("{:.3}", row.boost_used),
            format!("{:.0}", row.turbo_rpm),
            format!("{:.0}", row.exhaust_kpa),
            row.reaction_ticks.to_string(),
            why.join("; "),
        ]);
    }
    let section = Section::new("Every named fault in worlds of its own")
        .text(
            "Each world draws friction, play, supply, altitude, engine spread and demand, and one fault. Held: \
             boost, turbo speed and exhaust pressure stayed under their limits. Lost: they did not, and the \
             reason lies where no controller can reach. Peaks of boost and speed are those of held worlds.",
        )
        .table(rows);
    Report {
        subject: SUBJECT.into(),
        kind: "guard campaign".into(),
        facts: vec![
            ("worlds".into(), worlds.to_string()),
            ("seed".into(), seed.to_string()),
            ("engine and actuator".into(), "invented; simulated, nothing was moved".into()),
        ],
        verdict: Some(verdict),
        sections: vec![section],
        sheet: None,
        cautions: CAUTIONS.map(str::to_owned).to_vec(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use study::campaign::guard::GuardFault;

    fn row(unhandled: Vec<u32>) -> Row {
        Row {
            fault: GuardFault::ALL[0],
            worlds: 3,
            tripped: 1,
            trips: Vec::new(),
            held: 2,
            lost: Vec::new(),
            unhandled,
            boost_used: 0.9,
            turbo_rpm: 150_000.0,
            exhaust_kpa: 300.0,
            reaction_ticks: 5,
        }
    }

    #[test]
    fn a_world_without_explanation_makes_the_guard_not_fit() {
        let sound = verdict(&Table { rows: vec![row(Vec::new())] }, 1, 3);
        assert_eq!(sound.judgement, Judgement::WithinLimits);
        assert_eq!(sound.figures[0].text, "0.9000");
        let unsound = verdict(&Table { rows: vec![row(vec![7])] }, 1, 3);
        assert_eq!(unsound.judgement, Judgement::OutOfLimits);
        assert!(unsound.reasons[0].seen.contains('7'));
    }

    #[test]
    fn both_files_are_written_whole() {
        let folder = tempfile::tempdir().unwrap();
        let out = OutFolder::claim(folder.path(), crate::output::Maker::GuardCampaign).unwrap();
        write(out, &Table { rows: vec![row(Vec::new())] }, 1, 3).unwrap();
        let page = std::fs::read_to_string(folder.path().join(PAGE)).unwrap();
        assert!(page.contains(GuardFault::ALL[0].name()) && page.contains("pinch"));
        assert!(folder.path().join("verdict.json").exists());
    }
}
