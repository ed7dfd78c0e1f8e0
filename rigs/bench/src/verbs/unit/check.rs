//! `unit check`: holds a unit's folder against its log.

use std::path::{Path, PathBuf};

use super::name_of;
use crate::console::Console;
use crate::document::{CheckDocument, FoundRow};
use crate::exit::{Exit, Failure, VerbResult};
use crate::record::{AttachedTrouble, Checked, HEAD_NOTE, RunTrouble, Unsound, Weight, attached_trouble};

/// What `unit check` takes.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// The unit's folder, such as units/NAME
    #[arg(value_name = "UNIT_DIR")]
    unit_dir: PathBuf,
}

pub(super) fn run(args: &Args, console: &Console) -> VerbResult {
    show(&args.unit_dir, console)
}

/// Checks the folder and says what was found.
pub(super) fn show(unit_dir: &Path, console: &Console) -> VerbResult {
    let unit = name_of(unit_dir)?;
    let checked = Checked::of(unit_dir, |_| true).map_err(Failure::undetermined)?;
    let attached = attached_trouble(unit_dir).map_err(Failure::undetermined)?;
    let weight = attached.iter().map(|(_, trouble)| trouble.weight()).chain(checked.weight()).max();
    let exit = exit(weight, &checked);
    let document = document(unit, &checked, &attached);
    console.result(&text(&document, &checked, unit_dir, exit), &document)?;
    Ok(exit)
}

fn exit(weight: Option<Weight>, checked: &Checked) -> Exit {
    match (weight, &checked.head) {
        (Some(Weight::Found), _) => Exit::OutOfLimits,
        (Some(Weight::Doubt), _) | (_, None) => Exit::Undetermined,
        (Some(Weight::Answered) | None, Some(_)) => Exit::Done,
    }
}

fn document(unit: String, checked: &Checked, attached: &[(String, AttachedTrouble)]) -> CheckDocument {
    let row = |one: &Unsound| FoundRow { run: one.run.to_string(), found: one.trouble.to_string() };
    CheckDocument {
        unit,
        log: checked.head.clone(),
        log_found: checked.log.as_ref().map(ToString::to_string),
        found: checked.unsound.iter().map(row).collect(),
        confirmed_found: checked.confirmed.as_ref().map(ToString::to_string),
        attached_found: attached.iter().map(|(name, trouble)| format!("{name}: {trouble}")).collect(),
        unchained: checked.unchained.iter().map(ToString::to_string).collect(),
    }
}

fn text(document: &CheckDocument, checked: &Checked, dir: &Path, exit: Exit) -> String {
    let answer = match exit {
        Exit::Done if checked.unsound.is_empty() => "every run is as it was recorded",
        Exit::Done => "every run that was closed is as it was recorded",
        Exit::OutOfLimits => "NOT as it was recorded",
        Exit::Undetermined | Exit::Usage | Exit::Interrupted => "unknown",
    };
    let answer = format!("{}: {answer}", document.unit);
    let mut lines = vec![answer.clone()];
    lines.extend(document.log_found.iter().map(|found| format!("  {found}")));
    lines.extend(checked.unsound.iter().map(|one| format!("  {one}")));
    lines.extend(document.confirmed_found.iter().map(|found| format!("  {found}")));
    lines.extend(document.attached_found.iter().map(|found| format!("  {found}")));
    if !document.unchained.is_empty() {
        let runs = document.unchained.join(", ");
        lines.push(format!("  unchained, recorded without a log: {runs}"));
    }
    if checked.is_torn {
        lines.push(
            "  the last line of the log is torn: the tool crashed at that moment. The line does not count"
                .into(),
        );
    }
    match &checked.head {
        Some(head) => lines.extend(head.lines()),
        None => lines.push(format!("  {} holds no log", dir.display())),
    }
    if exit == Exit::Done {
        lines.push(format!("  {HEAD_NOTE}"));
    } else {
        lines.push("  Restore what is named from a copy, or record those parts again.".into());
    }
    let is_open = |one: &&Unsound| one.trouble == RunTrouble::NotClosed;
    lines.extend(checked.unsound.iter().filter(is_open).map(|one| {
        let command = format!("vanebench unit explain {} {} --by NAME --why TEXT", dir.display(), one.run);
        format!("  Or say why it was not closed:\n  {command}")
    }));
    lines.push(answer);
    lines.join("\n")
}
