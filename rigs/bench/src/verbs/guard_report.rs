//! The guard campaign as `verdict.json`, as a table and as a page: what was kept, what was lost and why.
//!
//! In: the campaign's table. Out: a verdict (out of limits when a world passed a limit) whose
//! figures name their conditions, and a report. Nothing is computed here that the table does not hold.

use study::campaign::guard::{FaultRow, FaultTable};

use crate::caution::CAUTIONS;
use crate::document::{self, VerdictDocument};
use crate::exit::Failure;
use crate::judge::{DecisionRule, FigureRow, Judgement, Reason, Verdict};
use crate::output::OutFolder;
use crate::record::{Job, VERDICT_FILE};
use crate::report::{Report, Section, Table};

/// The page's file.
const PAGE: &str = "guard.html";
/// The table's file.
const CSV: &str = "guard.csv";
/// What is judged.
const SUBJECT: &str = "over-boost guard";

/// Writes them into a folder.
///
/// # Errors
/// When the disk refuses.
pub fn write(folder: OutFolder, table: &FaultTable, seed: u64, worlds: u32) -> Result<(), Failure> {
    let verdict = verdict(table, seed, worlds);
    let judged = VerdictDocument { unit: SUBJECT, report: None, log: None, verdict: &verdict };
    let text = document::text(&judged)? + "\n";
    let page = page(table, verdict, seed, worlds).render().map_err(Failure::undetermined)?;
    let csv = table.to_string();
    folder.replace(&[(VERDICT_FILE, text.as_bytes()), (CSV, csv.as_bytes()), (PAGE, page.as_bytes())])
}

/// The verdict over all worlds: any world that passed a limit is out of limits, whatever its cause.
#[must_use]
pub fn verdict(table: &FaultTable, seed: u64, worlds: u32) -> Verdict {
    let conditions = format!("{worlds} random worlds, seed {seed}, simulated");
    let (lost, untraced) = (table.lost(), table.untraced());
    let reasons = if lost == 0 {
        Vec::new()
    } else {
        vec![Reason {
            code: "guard.passed".into(),
            judgement: Judgement::OutOfLimits,
            seen: format!("{lost} worlds passed a limit, {untraced} of them without a traced cause"),
            advice: "Go through the causes row by row: fit the sensor that would have shown it, or make \
                 the fuel obey. Where no cause is traced, lower the guard's limits or raise its lag \
                 margins."
                .into(),
        }]
    };
    let judgement = if lost == 0 { Judgement::WithinLimits } else { Judgement::OutOfLimits };
    let figures = figures(table, &conditions);
    Verdict {
        judgement,
        reasons,
        rule: DecisionRule::over(&[]),
        checks: Vec::new(),
        learn_checks: Vec::new(),
        figures,
        counted: Vec::new(),
        confirmed: Vec::new(),
        job: Job::default(),
    }
}

fn figures(table: &FaultTable, conditions: &str) -> Vec<FigureRow> {
    let highest = |value: fn(&FaultRow) -> f64| table.rows.iter().map(value).fold(0.0, f64::max);
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
            highest(|row| row.tripped_used[0]),
            4,
            "of limit",
            "Highest true boost over its limit, in worlds in which the guard tripped and all limits were kept.",
        ),
        figure(
            "turbo_peak",
            "turbo speed, highest share of its limit",
            highest(|row| row.tripped_used[1]),
            4,
            "of limit",
            "Highest true turbo speed over its limit, in the same worlds.",
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
            "worlds that passed a limit",
            f64::from(table.lost()),
            0,
            "worlds",
            "Worlds in which boost, turbo speed or exhaust pressure passed its limit, whatever the cause.",
        ),
    ]
}

fn rows(table: &FaultTable) -> Table {
    let mut rows = Table::new(&[
        "fault",
        "worlds",
        "demanding",
        "in time",
        "too late",
        "undetected",
        "tripped",
        "boost, of limit",
        "turbo, of limit",
        "exhaust, of limit",
        "reaction, ms",
        "causes of losses",
    ]);
    for row in &table.rows {
        let causes: Vec<String> =
            row.causes.iter().map(|(cause, worlds)| format!("{worlds} × {}", cause.name())).collect();
        let [boost, turbo, exhaust] = row.tripped_used.map(|used| format!("{used:.3}"));
        rows = rows.row([
            row.fault.name().to_owned(),
            row.worlds.to_string(),
            row.demanding.to_string(),
            row.in_time.to_string(),
            row.too_late.len().to_string(),
            row.undetected.len().to_string(),
            row.tripped().to_string(),
            boost,
            turbo,
            exhaust,
            row.reaction_ticks.to_string(),
            causes.join("; "),
        ]);
    }
    rows
}

fn page(table: &FaultTable, verdict: Verdict, seed: u64, worlds: u32) -> Report {
    let section = Section::new("Every named fault in worlds of its own")
        .text(
            "Each world draws friction, play, supply, altitude, air, engine, a kind of drive and one \
             fault or two. Demanding: would pass a limit without a guard. In time: the guard acted and \
             every limit was kept. Too late: a limit was passed although something was noticed. \
             Undetected: nothing was noticed. Shares of limits are those of worlds in which the guard \
             tripped and kept them. Faults and drives are drawn evenly: shares are shares of draws, not \
             diagnostic coverage.",
        )
        .table(rows(table));
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
    use study::campaign::guard::{GuardFault, LossCause};

    fn row(undetected: Vec<u32>) -> FaultRow {
        FaultRow {
            fault: GuardFault::ALL[0],
            worlds: 3,
            demanding: 2,
            quiet: 1,
            in_time: 2,
            too_late: Vec::new(),
            causes: undetected.iter().map(|_| (LossCause::SpeedUnmeasured, 1)).collect(),
            undetected,
            trips: Vec::new(),
            tripped_used: [0.9, 0.8, 0.7],
            reaction_ticks: 5,
        }
    }

    #[test]
    fn a_world_that_passed_a_limit_is_out_of_limits_though_its_cause_is_known() {
        let kept = verdict(&FaultTable { rows: vec![row(Vec::new())] }, 1, 3);
        assert_eq!(kept.judgement, Judgement::WithinLimits);
        assert_eq!(kept.figures[0].text, "0.9000");
        let passed = verdict(&FaultTable { rows: vec![row(vec![7])] }, 1, 3);
        assert_eq!(passed.judgement, Judgement::OutOfLimits);
        assert!(passed.reasons[0].seen.starts_with("1 worlds passed a limit, 0 of them"));
    }

    #[test]
    fn all_files_are_written_whole() {
        let folder = tempfile::tempdir().unwrap();
        let out = OutFolder::claim(folder.path(), crate::output::Maker::GuardCampaign).unwrap();
        write(out, &FaultTable { rows: vec![row(Vec::new())] }, 1, 3).unwrap();
        let page = std::fs::read_to_string(folder.path().join(PAGE)).unwrap();
        assert!(page.contains(GuardFault::ALL[0].name()) && page.contains("pinch"));
        assert!(folder.path().join("verdict.json").exists());
    }
}
