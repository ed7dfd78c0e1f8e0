//! The learn campaign as one picture: acceptance against the error of a stop, and each fault from mild to worst.
//!
//! In: a finished campaign. Out: one SVG file that needs nothing else; the words carry what the colours say.

use std::fmt::Write as _;

use study::campaign::learn::{
    ERROR_STEP_ENDS, ERROR_STEPS, Endings, FaultTally, LearnCampaign, SEVERITY_STEPS, TOLERANCE,
};

use crate::output::MADE_BY;

const WIDTH: usize = 800;
const MARGIN: usize = 8;
/// Where the chart of errors begins and ends, from top to bottom.
const CHART_TOP: usize = 60;
const CHART_HEIGHT: usize = 150;
/// Where the legend of the faults stands.
const LEGEND: usize = CHART_TOP + CHART_HEIGHT + 74;
const ROWS_TOP: usize = LEGEND + 24;
const ROW: usize = 16;
const NAMES: usize = 230;
const BAR: usize = 420;

/// Parts of a bar: word, colour (told apart in grey and by most colour-blind eyes), count.
type Part = (&'static str, &'static str, fn(&Endings) -> u64);
const PARTS: [Part; 5] = [
    ("accepted, right", "#2b7a4b", |step| step.accepted),
    ("not proven", "#d9a441", |step| step.not_proven),
    ("refused", "#9fb3c8", |step| step.refused),
    ("refused, wrong", "#7a3fa0", |step| step.refused_wrongly),
    ("ACCEPTED, WRONG", "#c8102e", |step| step.accepted_wrongly),
];

/// Draws the campaign.
#[must_use]
pub(crate) fn drawn(result: &LearnCampaign) -> String {
    let height = ROWS_TOP + ROW * result.faults.len() + 16;
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {height}\" font-family=\"sans-serif\" \
         font-size=\"11\"><!-- {MADE_BY} --><rect width=\"{WIDTH}\" height=\"{height}\" fill=\"#fff\"/>\
         <text x=\"{MARGIN}\" y=\"18\" font-size=\"14\">End-stop learning of {}, invented: {} runs of each fault, seed {}</text>\
         <text x=\"{MARGIN}\" y=\"38\">Accepted of must-reject learns, %, by how far off the first contact stands, % of \
         travel; whiskers: exact 95 % bounds</text>",
        result.actuator, result.runs, result.seed
    );
    by_error(&mut out, &result.by_error);
    legend(&mut out);
    for (index, fault) in result.faults.iter().enumerate() {
        row(&mut out, ROWS_TOP + ROW * index, fault);
    }
    out.push_str("</svg>\n");
    out
}

/// Height of a share in the chart of errors.
fn height_of(share: f64) -> f64 {
    (CHART_TOP + CHART_HEIGHT) as f64 - CHART_HEIGHT as f64 * share
}

fn by_error(out: &mut String, steps: &[Endings; ERROR_STEPS]) {
    let step_width = BAR as f64 / ERROR_STEPS as f64;
    for share in [0.0, 0.5, 1.0] {
        let y = height_of(share);
        // Writing to a string cannot fail.
        let _ = write!(
            out,
            "<path d=\"M{NAMES} {y:.1}h{BAR}\" stroke=\"#ccc\"/><text x=\"{}\" y=\"{:.1}\" text-anchor=\"end\">{:.0} %</text>",
            NAMES - 6,
            y + 4.0,
            100.0 * share
        );
    }
    for (index, endings) in steps.iter().enumerate() {
        step(out, NAMES as f64 + step_width * (index as f64 + 0.5), (endings, &end_of(index)));
    }
    let within = ERROR_STEP_ENDS.iter().filter(|end| **end <= TOLERANCE).count();
    let x = NAMES as f64 + step_width * within as f64;
    let _ = write!(
        out,
        "<path d=\"M{x:.1} {}V{:.1}\" stroke=\"#c8102e\" stroke-dasharray=\"4 3\"/>\
         <text x=\"{:.1}\" y=\"{}\">tolerance of a learned stop, {} %</text>",
        CHART_TOP - 6,
        height_of(0.0),
        x + 6.0,
        CHART_TOP + 4,
        100.0 * TOLERANCE
    );
}

/// A bar with its bounds, its step's end and its counts under it.
fn step(out: &mut String, middle: f64, (endings, end): (&Endings, &str)) {
    let width = BAR as f64 / ERROR_STEPS as f64 - 12.0;
    let rate = endings.believed();
    let [top, low, high] =
        [rate.count as f64 / rate.of.max(1) as f64, rate.bounds[0], rate.bounds[1]].map(height_of);
    let bottom = height_of(0.0);
    let colour = if endings.accepted_wrongly > 0 { PARTS[4].1 } else { PARTS[0].1 };
    let _ = write!(
        out,
        "<rect x=\"{:.1}\" y=\"{top:.1}\" width=\"{width:.1}\" height=\"{:.1}\" fill=\"{colour}\"/>\
         <path d=\"M{middle:.1} {low:.1}V{high:.1}\" stroke=\"#222\"/>\
         <text x=\"{middle:.1}\" y=\"{:.0}\" text-anchor=\"middle\">{end}</text>\
         <text x=\"{middle:.1}\" y=\"{:.0}\" text-anchor=\"middle\" font-size=\"9\" fill=\"#555\">{} of {}</text>",
        middle - 0.5 * width,
        bottom - top,
        bottom + 16.0,
        bottom + 32.0,
        rate.count,
        rate.of
    );
}

/// Where a step ends, % of travel.
fn end_of(index: usize) -> String {
    match (ERROR_STEP_ENDS.get(index), ERROR_STEP_ENDS.last()) {
        (Some(end), _) => format!("to {:.1}", 100.0 * end),
        (None, last) => format!("over {:.1}", 100.0 * last.unwrap_or(&0.0)),
    }
}

fn legend(out: &mut String) {
    let _ = write!(
        out,
        "<text x=\"{MARGIN}\" y=\"{}\">Each fault in ten steps of severity, mildest at the left; at the \
         right the most frequent reason</text>",
        LEGEND - 10
    );
    let mut x = MARGIN;
    for (word, colour, _) in PARTS {
        let _ = write!(
            out,
            "<rect x=\"{x}\" y=\"{LEGEND}\" width=\"10\" height=\"10\" fill=\"{colour}\"/><text x=\"{}\" y=\"{}\">{word}</text>",
            x + 14,
            LEGEND + 9
        );
        x += 24 + 7 * word.len();
    }
}

fn row(out: &mut String, y: usize, fault: &FaultTally) {
    let base = y + 11;
    let _ = write!(out, "<text x=\"{}\" y=\"{base}\" text-anchor=\"end\">{}</text>", NAMES - 8, fault.name);
    let step_width = BAR as f64 / SEVERITY_STEPS as f64;
    for (index, step) in fault.curves.by_severity.iter().enumerate() {
        let mut x = NAMES as f64 + step_width * index as f64;
        let scale = (step_width - 1.0) / step.believed().of.max(1) as f64;
        for (word, colour, count) in PARTS {
            let width = scale * count(step) as f64;
            if width > 0.0 {
                let _ = write!(
                    out,
                    "<rect x=\"{x:.1}\" y=\"{y}\" width=\"{width:.1}\" height=\"12\" fill=\"{colour}\"><title>{word}: {}</title></rect>",
                    count(step)
                );
            }
            x += width;
        }
    }
    let most = fault.rejected.iter().max_by_key(|(_, count)| **count).map_or("", |(name, _)| name);
    let _ = write!(out, "<text x=\"{}\" y=\"{base}\">{most}</text>", NAMES + BAR + 8);
}
