//! `parts`: parts sheets as papers: an empty one to fill in, two units side by side. Nothing moves.

use std::fs::File;
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

use parts::compare::{Difference, SheetComparison, compare_sheets};
use parts::teardown::balance_grade_mm_s;
use parts::{PartsSheet, TEMPLATE};
use serde::Serialize;

use super::match_parts::{aligned, with_uncertainty};
use crate::console::Console;
use crate::exit::{Exit, Failure, VerbResult};

/// What `parts` takes.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(subcommand)]
    about: PartsPaper,
}

#[derive(Debug, clap::Subcommand)]
enum PartsPaper {
    /// Write an empty parts sheet, every entry explained
    New {
        /// File to write; one that is there stays as it is
        #[arg(value_name = "SHEET.toml")]
        file: PathBuf,
    },
    /// Lay two units side by side: what differs, by how much, and whether the measurement can tell
    Compare {
        /// Parts sheet of the first unit
        one: PathBuf,
        /// Parts sheet of the second
        two: PathBuf,
    },
}

/// A comparison with the balance grades, for machines.
#[derive(Debug, Serialize)]
struct UnitsCompared {
    #[serde(flatten)]
    sheets: SheetComparison,
    balance_grade_mm_s: [Option<f64>; 2],
}

/// Runs the verb.
///
/// # Errors
/// A sheet that cannot be used, a file that is there already, a disk that refuses.
pub fn run(args: &Args, console: &Console) -> VerbResult {
    match &args.about {
        PartsPaper::New { file } => new(file, console),
        PartsPaper::Compare { one, two } => compare(one, two, console),
    }
}

fn new(path: &Path, console: &Console) -> VerbResult {
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
    console.result(&format!("{shown}: fill in what you can measure, then `vanebench match`"), &shown)?;
    Ok(Exit::Done)
}

fn compare(one: &Path, two: &Path, console: &Console) -> VerbResult {
    let read = |path: &Path| PartsSheet::read(path).map_err(Failure::usage);
    let (one, two) = (read(one)?, read(two)?);
    let sheets = compare_sheets(&one, &two);
    let compared =
        UnitsCompared { sheets, balance_grade_mm_s: [balance_grade_mm_s(&one), balance_grade_mm_s(&two)] };
    console.result(&text(&compared), &compared)?;
    Ok(Exit::Done)
}

fn text(compared: &UnitsCompared) -> String {
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
