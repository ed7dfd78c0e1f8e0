//! Two parts sheets side by side.

use std::path::Path;

use parts::PartsSheet;
use parts::compare::{Difference, SheetComparison, compare_sheets};
use parts::teardown::balance_grade_mm_s;

use super::match_parts::with_unit;
use crate::console::Console;
use crate::document::ComparisonDocument;
use crate::exit::{Exit, Failure, VerbResult};
use crate::fold::Fold;
use crate::number::with_uncertainty;

/// Lays two parts sheets side by side.
pub(super) fn compare(one: &Path, two: &Path, console: &Console) -> VerbResult {
    let read = |path: &Path| PartsSheet::read(path).map_err(Failure::usage);
    let (one, two) = (read(one)?, read(two)?);
    let sheets = compare_sheets(&one, &two);
    let compared = ComparisonDocument {
        sheets,
        balance_grade_mm_s: [balance_grade_mm_s(&one), balance_grade_mm_s(&two)],
    };
    console.result(&text(&compared, Fold::of_the_reader()), &compared)?;
    Ok(Exit::Done)
}

fn text(compared: &ComparisonDocument, fold: Fold) -> String {
    let sheets = &compared.sheets;
    let differs = |difference: &&Difference| difference.difference != 0.0;
    let values: Vec<&Difference> = sheets.values.iter().filter(differs).collect();
    let names = fold.paragraph(&format!("{} → {}", sheets.names.0, sheets.names.1));
    if values.is_empty() && sheets.words.is_empty() {
        return names + "\n\nNothing differs.";
    }
    let verdict = fold.paragraph(&verdict(sheets));
    let mut parts = vec![names, verdict.clone()];
    let figures = sheets.figures.iter().filter(differs).collect();
    parts.push(fold.table(&rows("what it does", figures)));
    parts.push(fold.table(&rows("value that differs", values)));
    parts.extend((!sheets.words.is_empty()).then(|| fold.paragraph(&sheets.words.join("\n"))));
    for (grade, name) in compared.balance_grade_mm_s.iter().zip([&sheets.names.0, &sheets.names.1]) {
        parts.extend(grade.map(|mm_s| {
            fold.paragraph(&format!(
                "{name}: balance grade G {mm_s:.2} (mm/s; after ISO 21940-11, rigid rotors only; its text was not read)"
            ))
        }));
    }
    parts.push(verdict);
    parts.join("\n\n")
}

/// What differs by more than the measurement can tell away, in words.
fn verdict(sheets: &SheetComparison) -> String {
    let names = |of: &[Difference]| {
        of.iter().filter(|d| d.is_known()).map(|d| d.name.clone()).collect::<Vec<String>>()
    };
    let (known, moved) = (names(&sheets.values), names(&sheets.figures));
    let values = match known.len() {
        0 => "No value differs by more than the measurement can tell.".to_owned(),
        known => {
            let all = sheets.values.len();
            format!("{known} of {all} values differ by more than the measurement can tell.")
        }
    };
    let figures = match moved.len() {
        0 => "No figure is known to change.".to_owned(),
        _ => format!("Known to change: {}.", moved.join("; ")),
    };
    let words = match sheets.words.len() {
        0 => "No count, name or note differs.".to_owned(),
        count => format!("Counts, names and notes that differ: {count}."),
    };
    [values, figures, words].join("\n")
}

fn rows(head: &str, differences: Vec<&Difference>) -> Vec<Vec<String>> {
    let head = [head, "first", "second", "difference", ""];
    let mut rows = vec![head.map(String::from).to_vec()];
    rows.extend(differences.into_iter().map(|difference| {
        let u = difference.standard_uncertainty;
        let shown = |value: f64| {
            let text = with_uncertainty(value, u);
            text.split(" ±").next().unwrap_or_default().to_owned()
        };
        vec![
            with_unit(&difference.name, difference.unit),
            shown(difference.values.0),
            shown(difference.values.1),
            with_uncertainty(difference.difference, u),
            if difference.is_known() { "differs" } else { "cannot tell" }.to_owned(),
        ]
    }));
    rows
}
