//! What a campaign over a scenario tells a person.

use study::campaign::learn::exact_bounds;
use study::campaign::{CampaignStats, MetricSummary};

use super::{ON_WHAT_GROUND, PartArgs, ScenarioTold};
use crate::fold::Fold;
use crate::number::shown_to;

/// The metrics that say whether a limit was passed, each with its limit.
const TIMES_OVER: [(&str, &str); 3] = [
    ("time over boost limit", "boost"),
    ("time over turbo limit", "turbo speed"),
    ("time over exhaust limit", "exhaust pressure"),
];

/// Head of the table of metrics.
pub(super) const HEAD: [&str; 9] =
    ["metric", "runs", "least", "5 %", "median", "95 %", "99 %", "most", "worst"];
/// What its second column counts.
pub(super) const RUNS_NOTE: &str = "runs: those that have the metric (a run that never settles has no \
    settling time); worst: the runs with the highest values";

/// The answer, how every metric spreads, the answer once more.
pub(super) fn text(told: &ScenarioTold, stats: &CampaignStats, job: Option<&PartArgs>, fold: Fold) -> String {
    let table = stats.table();
    let answer = answer(told, stats);
    let mut lines = vec![
        answer.clone(),
        format!(
            "{}: {} of {} runs, seed {}, {} could not be finished; simulated, nothing moved",
            told.scenario,
            stats.runs(),
            told.runs,
            told.seed,
            stats.failures()
        ),
    ];
    if let Some(job) = job.filter(|_| stats.runs() < told.runs) {
        lines.push(format!("  interrupted; {}", job.how_to_go_on()));
    }
    let parts = told.parts.as_ref();
    lines.extend(parts.iter().flat_map(|parts| parts.lines()).map(|line| format!("  {line}")));
    let mut rows = vec![HEAD.map(str::to_owned).to_vec()];
    rows.extend(table.iter().map(metric_row));
    lines.extend([String::new(), fold.table(&rows), String::new()]);
    lines.push(format!("  {RUNS_NOTE}"));
    for failed in stats.failed().iter().take(3) {
        lines.push(format!("  run {} failed: {}", failed.run, failed.reason));
    }
    lines.extend(parts.map(|_| format!("  {ON_WHAT_GROUND}")));
    lines.push(format!("  replay one:\n  {}", told.replay));
    lines.push(answer);
    lines.join("\n")
}

/// Which limits any run passed, and for how long at most, in a line.
pub(super) fn answer(told: &ScenarioTold, stats: &CampaignStats) -> String {
    let table = stats.table();
    let longest = |name: &str| table.iter().find(|row| row.name == name).map_or(0.0, |row| row.most);
    let passed: Vec<String> = TIMES_OVER
        .iter()
        .filter(|(metric, _)| longest(metric) > 0.0)
        .map(|(metric, limit)| format!("{limit}, for at most {:.2} s", longest(metric)))
        .collect();
    let limits = match (passed.is_empty(), stats.failures()) {
        (false, _) => format!("LIMITS PASSED: {}", passed.join("; ")),
        (true, 0) => format!(
            "NO LIMIT PASSED in any of {} runs (exact 95 % bound: at most {:.2} % of such units pass one)",
            stats.runs(),
            100.0 * exact_bounds(0, stats.runs())[1]
        ),
        (true, failures) => format!("NO LIMIT PASSED, but {failures} runs could not be finished"),
    };
    if stats.runs() < told.runs {
        format!("INTERRUPTED after {} of {} runs; of these: {limits}", stats.runs(), told.runs)
    } else {
        limits
    }
}

/// One metric: extremes as they were, quantiles to the decimal place that they are known to.
pub(super) fn metric_row(row: &MetricSummary) -> Vec<String> {
    // Rounding must not push a quantile past the extremes.
    let quantile = |value: f64| {
        let step = row.step.max(10_f64.powf(row.known_to(value).log10().floor()));
        let rounded = (value / step).round() * step;
        let kept = rounded.clamp(row.least, row.most);
        shown_to(kept, if kept == rounded { step } else { row.step })
    };
    let values = [
        shown_to(row.least, row.step),
        quantile(row.q05),
        quantile(row.q50),
        quantile(row.q95),
        quantile(row.q99),
        shown_to(row.most, row.step),
    ];
    const NAMED: usize = 3;
    let worst: Vec<String> = row.worst.iter().take(NAMED).map(|worst| worst.run.to_string()).collect();
    // Where all runs are the same, none is the worst.
    let worst = if row.most > row.least { worst.join(", ") } else { "–".to_owned() };
    let mut cells = vec![format!("{}, {}", row.name, row.unit), row.count.to_string()];
    cells.extend(values.map(|value| value.replace(' ', "\u{a0}")));
    cells.push(worst);
    cells
}
