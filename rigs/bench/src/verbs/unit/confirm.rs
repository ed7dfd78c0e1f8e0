//! `unit confirm`: what a learn could not prove, confirmed after the fact.
//!
//! In: the unit's folder, what was checked, who and with what, and a reading of the minimum-flow stop. Out: a line in
//! `confirmed.toml`, and one in the unit's log, that speaks of the newest learn only. Refused where that learn lacks anything else.

use std::path::PathBuf;

use firmware_core::learn::{Check, CheckSet};

use super::name_of;
use crate::caution::HOLDS_UNTIL;
use crate::checks::{check_lines, check_word, parse_check};
use crate::console::Console;
use crate::exit::{Exit, Failure, VerbResult};
use crate::figures::GaugedIn;
use crate::profile::Profile;
use crate::record::{Checked, Confirmation, ConfirmedTrouble, Gauged, Run, RunKind, runs_in};
use crate::short_text::ShortText;
use crate::unit_store;

/// What `unit confirm` takes.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// The unit's folder, such as units/NAME
    #[arg(value_name = "UNIT_DIR")]
    unit_dir: PathBuf,
    /// What was confirmed, separated by commas: lever-attached, vanes-follow, minimum-flow,
    /// indexing, sensor-scale, or `all`
    #[arg(long, value_name = "WORD", required = true, num_args = 1.., value_delimiter = ',', value_parser = parse_check)]
    checked: Vec<CheckSet>,
    /// Who confirmed it
    #[arg(long, value_name = "WHO")]
    by: ShortText,
    /// With what, and when that was last calibrated: "feeler set 3, 2026-02"; "by eye" where nothing else is needed
    #[arg(long, value_name = "WHAT")]
    with: ShortText,
    /// Reading of the minimum-flow stop: a throat such as "1.20 mm", or a flow such as "14.5 kg/h"
    #[arg(long, value_name = "READING", value_parser = reading, requires = "tolerance")]
    gauged: Option<(f64, GaugedIn)>,
    /// Uncertainty of that reading, either way, in its unit
    #[arg(long, value_name = "NUMBER", requires = "gauged", value_parser = positive)]
    tolerance: Option<f64>,
}

fn positive(word: &str) -> Result<f64, String> {
    let number = word.parse::<f64>().ok().filter(|number| number.is_finite() && *number > 0.0);
    number.ok_or_else(|| "allowed: a number above 0".to_owned())
}

fn reading(words: &str) -> Result<(f64, GaugedIn), String> {
    let units = [GaugedIn::Millimetres, GaugedIn::KilogramsPerHour];
    let found = units.into_iter().find_map(|unit| Some((words.trim().strip_suffix(unit.unit())?, unit)));
    let (number, unit) = found.ok_or_else(|| "allowed: a number with its unit, mm or kg/h".to_owned())?;
    Ok((positive(number.trim())?, unit))
}

pub(super) fn run(args: &Args, console: &Console) -> VerbResult {
    let unit = name_of(&args.unit_dir)?;
    let checked =
        Checked::of(&args.unit_dir, |run| run.kind == RunKind::Learn).map_err(Failure::undetermined)?;
    if let Some(trouble @ (ConfirmedTrouble::Changed | ConfirmedTrouble::Added)) = checked.confirmed {
        return Err(Failure::usage(format!(
            "{unit}: nothing was confirmed. {trouble}. Restore it from a copy, or move it away and confirm again."
        )));
    }
    let learn = checked.without_doubted(newest_learn(args, &unit)?);
    let open = unit_store::to_confirm(&args.unit_dir, &unit, &learn)?;
    let checked = args.checked.iter().fold(CheckSet::NONE, |all, one| all.union(*one));
    let beyond = learn.profile.as_ref().map_or(CheckSet::NONE, Profile::beyond_confirming);
    if checked.minus(beyond) != checked {
        return Err(Failure::usage(windows_of_its_own(&unit, &learn, beyond)));
    }
    let gauged =
        args.gauged.zip(args.tolerance).map(|((value, unit), tolerance)| Gauged { value, unit, tolerance });
    if gauged.is_some() && !checked.contains(Check::MinimumFlow) {
        return Err(Failure::usage(format!(
            "{unit}: nothing was confirmed. --gauged is a reading of the minimum-flow stop: name {} in --checked.",
            check_word(Check::MinimumFlow)
        )));
    }
    // A reading is worth keeping where the stop itself was confirmed before.
    let wanted = if gauged.is_some() { open.with(Check::MinimumFlow) } else { open };
    let checked = wanted.minus(wanted.minus(checked));
    if checked.is_empty() {
        return Err(Failure::usage(format!("{unit}: nothing was confirmed. {}", what_is_open(&learn, open))));
    }
    let confirmed = Confirmation::now(&learn, checked, args.by.clone(), args.with.clone(), gauged)
        .ok_or_else(|| {
            Failure::usage(format!("{unit}: nothing was confirmed. {} was never closed.", learn.name))
        })?;
    confirmed.keep(&args.unit_dir).map_err(Failure::usage)?;
    let left = open.minus(checked);
    console.result(&text(&unit, &confirmed, left), &confirmed)?;
    Ok(if left.is_empty() { Exit::Done } else { Exit::Undetermined })
}

fn windows_of_its_own(unit: &str, learn: &Run, beyond: CheckSet) -> String {
    format!(
        "{unit}: nothing was confirmed. The profile of {} was characterised on this unit alone: its \
         windows are the unit's own stops. These cannot be confirmed on it:{}\nIts calibration stays not \
         proven. Confirm other words alone, or learn again with a profile whose windows come from other \
         sound units or a data sheet.",
        learn.name,
        check_lines(beyond)
    )
}

fn what_is_open(learn: &Run, open: CheckSet) -> String {
    if open.is_empty() {
        return format!("Nothing is open of {}: its calibration is accepted.", learn.name);
    }
    format!("Of {} these are open:{}\nName one of them.", learn.name, check_lines(open))
}

fn newest_learn(args: &Args, unit: &str) -> Result<Run, Failure> {
    let runs = runs_in(&args.unit_dir).map_err(Failure::usage)?;
    let newest = runs.iter().rfind(|(name, _)| name.kind == RunKind::Learn).ok_or_else(|| {
        let dir = args.unit_dir.display();
        Failure::usage(format!("{unit}: nothing was confirmed. {dir} holds no learn. Learn first."))
    })?;
    Run::open(&newest.1).map_err(|error| Failure::usage(format!("{unit}: nothing was confirmed. {error}")))
}

fn text(unit: &str, confirmed: &Confirmation, left: CheckSet) -> String {
    let mut lines = vec![format!("{unit}: confirmed, nothing moved"), format!("  {confirmed}")];
    if left.is_empty() {
        lines.push(format!("  the calibration of {} is accepted", confirmed.run));
        lines.push(format!("  {HOLDS_UNTIL}"));
    } else {
        lines.push(format!("  still NOT PROVEN, to confirm:{}", check_lines(left)));
    }
    lines.join("\n")
}
