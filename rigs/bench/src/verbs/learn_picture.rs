//! The learn campaign as one picture: a bar for each fault, split by what the learns came to.
//!
//! In: a finished campaign. Out: one SVG file that needs nothing else; the words carry what the colours say.

use std::fmt::Write as _;

use study::campaign::learn::{FaultTally, LearnCampaign};

use crate::output::MADE_BY;

const ROW: usize = 16;
const NAMES: usize = 230;
const BAR: usize = 420;
const TOP: usize = 54;
const NOTE: usize = 150;

/// Parts of a bar: word, colour (told apart in grey and by most colour-blind eyes), count.
type Part = (&'static str, &'static str, fn(&FaultTally) -> u64);
const PARTS: [Part; 5] = [
    ("accepted, right", "#2b7a4b", |fault| fault.accepted - fault.wrongly_accepted),
    ("not proven", "#d9a441", |fault| fault.not_proven),
    ("refused", "#9fb3c8", |fault| fault.refused() - fault.wrongly_rejected),
    ("refused, wrong", "#7a3fa0", |fault| fault.wrongly_rejected),
    ("ACCEPTED, WRONG", "#c8102e", |fault| fault.wrongly_accepted),
];

/// Draws the campaign.
#[must_use]
pub(crate) fn confusion(result: &LearnCampaign) -> String {
    let height = TOP + ROW * result.faults.len() + 16;
    let width = NAMES + BAR + NOTE;
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" font-family=\"sans-serif\" \
         font-size=\"11\"><!-- {MADE_BY} --><rect width=\"{width}\" height=\"{height}\" fill=\"#fff\"/>\
         <text x=\"8\" y=\"18\" font-size=\"14\">End-stop learning: {} runs of each fault, seed {}</text>",
        result.runs, result.seed
    );
    let mut x = 8;
    for (word, colour, _) in PARTS {
        // Writing to a string cannot fail.
        let _ = write!(
            out,
            "<rect x=\"{x}\" y=\"28\" width=\"10\" height=\"10\" fill=\"{colour}\"/><text x=\"{}\" y=\"37\">{word}</text>",
            x + 14
        );
        x += 24 + 7 * word.len();
    }
    for (index, fault) in result.faults.iter().enumerate() {
        row(&mut out, TOP + ROW * index, fault);
    }
    out.push_str("</svg>\n");
    out
}

fn row(out: &mut String, y: usize, fault: &FaultTally) {
    let base = y + 11;
    let _ = write!(out, "<text x=\"{}\" y=\"{base}\" text-anchor=\"end\">{}</text>", NAMES - 8, fault.name);
    let scale = BAR as f64 / fault.runs.max(1) as f64;
    let mut done = 0;
    for (word, colour, count) in PARTS {
        let count = count(fault);
        if count > 0 {
            let _ = write!(
                out,
                "<rect x=\"{:.1}\" y=\"{y}\" width=\"{:.1}\" height=\"12\" fill=\"{colour}\"><title>{word}: {count}</title></rect>",
                NAMES as f64 + scale * done as f64,
                scale * count as f64
            );
        }
        done += count;
    }
    let most = fault.rejected.iter().max_by_key(|(_, count)| **count).map_or("", |(name, _)| name);
    let _ = write!(out, "<text x=\"{}\" y=\"{base}\">{most}</text>", NAMES + BAR + 8);
}
