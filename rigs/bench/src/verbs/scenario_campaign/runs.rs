//! Every run of a campaign as a row, RFC 4180, units in the header.

use csv::{Terminator, WriterBuilder};
use study::campaign::KeptRun;
use study::metrics::{METRICS, MetricColumn};

use crate::exit::Failure;
use crate::number::in_steps;
use crate::output::MADE_BY;

/// RFC 4180 knows no comment: what must be said is the name of a last, empty column.
const SAID: &str = "simulated on invented units and engines: no proof on an engine";

/// The file's bytes: a row for each run, in the order of the runs.
pub(super) fn csv(each: &[KeptRun]) -> Result<Vec<u8>, Failure> {
    let mut writer = WriterBuilder::new().terminator(Terminator::CRLF).from_writer(Vec::new());
    let metrics = METRICS.iter().map(|column| format!("{} [{}]", column.name, unit(column)));
    let head = ["run", "finished"].map(str::to_owned).into_iter().chain(metrics);
    writer.write_record(head.chain([format!("{MADE_BY}; {SAID}")])).map_err(Failure::undetermined)?;
    for (number, run) in each.iter().enumerate() {
        writer.write_record(row(number, run)).map_err(Failure::undetermined)?;
    }
    writer.into_inner().map_err(Failure::undetermined)
}

fn unit(column: &MetricColumn) -> &'static str {
    if column.unit == "-" { "1" } else { column.unit }
}

fn row(number: usize, run: &KeptRun) -> Vec<String> {
    let steps = run.steps();
    let cell = |(at, column): (usize, &MetricColumn)| {
        let steps = steps.and_then(|steps| steps.get(at).copied().flatten());
        steps.map_or_else(String::new, |steps| in_steps(steps as f64, column.step))
    };
    let finished = if steps.is_some() { "yes" } else { "no" };
    let mut cells = vec![number.to_string(), finished.to_owned()];
    cells.extend(METRICS.iter().enumerate().map(cell));
    cells.push(String::new());
    cells
}
