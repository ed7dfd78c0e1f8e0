//! Parts sheets as papers: an empty one to fill in, two turbos side by side.

use std::fs::File;
use std::io::{ErrorKind, Write};
use std::path::Path;

use parts::compare::{Difference, compare_sheets};
use parts::teardown::balance_grade_mm_s;
use parts::{PartsSheet, TEMPLATE};

use super::match_parts::aligned;
use crate::console::Console;
use crate::document::{ComparisonDocument, SheetDocument};
use crate::exit::{Exit, Failure, VerbResult};
use crate::number::with_uncertainty;

/// Writes an empty parts sheet.
pub(super) fn new(path: &Path, console: &Console) -> VerbResult {
    let shown = path.display().to_string();
    let refused = |error: std::io::Error| {
        if error.kind() == ErrorKind::AlreadyExists {
            Failure::usage(format!(
                "{shown}: a file is there already and stays as it is; fill that one in, or give another name"
            ))
        } else if error.kind() == ErrorKind::NotFound {
            Failure::usage(format!("{shown}: no such folder; make it first, or give another path"))
        } else {
            Failure::undetermined(format!("{shown}: {error}; check free space and write permission"))
        }
    };
    let mut file = File::create_new(path).map_err(refused)?;
    file.write_all(TEMPLATE.as_bytes()).map_err(refused)?;
    let text = format!("{shown}: fill in what you can measure, then `vanebench match`");
    console.result(&text, &SheetDocument { file: shown, items: Vec::new() })?;
    Ok(Exit::Done)
}

/// Lays two parts sheets side by side.
pub(super) fn compare(one: &Path, two: &Path, console: &Console) -> VerbResult {
    let read = |path: &Path| PartsSheet::read(path).map_err(Failure::usage);
    let (one, two) = (read(one)?, read(two)?);
    let sheets = compare_sheets(&one, &two);
    let compared = ComparisonDocument {
        sheets,
        balance_grade_mm_s: [balance_grade_mm_s(&one), balance_grade_mm_s(&two)],
    };
    console.result(&text(&compared), &compared)?;
    Ok(Exit::Done)
}

fn text(compared: &ComparisonDocument) -> String {
    let sheets = &compared.sheets;
    let mut parts = vec![format!("{} → {}", sheets.names.0, sheets.names.1)];
    let differs = |difference: &&Difference| difference.difference != 0.0;
    let values: Vec<&Difference> = sheets.values.iter().filter(differs).collect();
    if values.is_empty() && sheets.words.is_empty() {
        parts.push("Nothing differs.".into());
        return parts.join("\n\n");
    }
    parts.push(aligned(&rows("value that differs", values)));
    parts.push(aligned(&rows("what it does", sheets.figures.iter().filter(differs).collect())));
    parts.extend((!sheets.words.is_empty()).then(|| sheets.words.join("\n")));
    for (grade, name) in compared.balance_grade_mm_s.iter().zip([&sheets.names.0, &sheets.names.1]) {
        parts.extend(grade.map(|mm_s| {
            format!(
                "{name}: balance grade G {mm_s:.2} (mm/s; after ISO 21940-11, rigid rotors only; its text was not read)"
            )
        }));
    }
    parts.join("\n\n")
}

fn rows(head: &str, differences: Vec<&Difference>) -> Vec<Vec<String>> {
    let head = [head, "unit", "first", "second", "difference", ""];
    let mut rows = vec![head.map(String::from).to_vec()];
    rows.extend(differences.into_iter().map(|difference| {
        let u = difference.standard_uncertainty;
        let shown = |value: f64| {
            let text = with_uncertainty(value, u);
            text.split(" ±").next().unwrap_or_default().to_owned()
        };
        vec![
            difference.name.clone(),
            difference.unit.to_owned(),
            shown(difference.values.0),
            shown(difference.values.1),
            with_uncertainty(difference.difference, u),
            if difference.is_known() { "differs" } else { "within the measurement" }.to_owned(),
        ]
    }));
    rows
}
