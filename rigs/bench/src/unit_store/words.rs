//! What a technician reads when a calibration does not carry a motion: what is in force, from which run, what
//! differs, what to do.

use std::path::Path;

use firmware_core::calibration::{Setup, Warmth};
use firmware_core::held::Standing;
use firmware_core::learn::CheckSet;

use super::standing::{InForce, NoneWhy, UnitStanding};
use super::wanted::{Mismatch, WantedUnit};
use crate::checks::{check_lines, check_words};
use crate::record::RunName;
use crate::short_text::ShortText;

/// Never learned in this setup and warmth.
pub(super) fn never(wanted: &WantedUnit<'_>) -> String {
    let WantedUnit { unit, unit_dir, setup, warmth, .. } = wanted;
    let mut text = format!(
        "{unit}: nothing moved. It was never learned {setup}, {warmth}: {} holds no such learn.",
        unit_dir.display()
    );
    if has_loose_file(unit_dir) {
        text.push_str(
            " A calibration-….toml from an older release is still in the folder; it is no longer used.",
        );
    }
    text.push_str(
        " Run `vanebench learn` first, with the same --unit, --setup and --warmth; a calibration of another setup or \
         warmth is not used.",
    );
    text
}

/// Files that an older release kept beside the runs.
fn has_loose_file(unit_dir: &Path) -> bool {
    [Setup::Free, Setup::Attached, Setup::OnEngine].iter().any(|setup| {
        [Warmth::Cold, Warmth::Hot]
            .iter()
            .any(|warmth| unit_dir.join(format!("calibration-{setup}-{warmth}.toml")).exists())
    })
}

/// Learned, and nothing in force.
pub(super) fn none(wanted: &WantedUnit<'_>, run: RunName, why: &NoneWhy) -> String {
    let unit = wanted.unit;
    format!(
        "{unit}: nothing moved. No calibration is in force for {}, {}: {}. An earlier one does not \
         count.\n{}",
        wanted.setup,
        wanted.warmth,
        because(run, why),
        next(why)
    )
}

/// Why nothing is in force, as half a sentence.
#[must_use]
pub fn because(run: RunName, why: &NoneWhy) -> String {
    match why {
        NoneWhy::Refused(refusal) => format!("{run} refused the unit ({})", refusal.text()),
        NoneWhy::CutShort { reason } => {
            let reason = reason.split(". ").next().unwrap_or_default().trim_end_matches('.');
            format!("{run} was cut short ({reason})")
        }
        NoneWhy::Unsound { error } => format!("the record of {run} cannot be relied on ({error})"),
        NoneWhy::WithoutProvenance => {
            format!("{run} was made by an older release, which did not record its settings")
        }
    }
}

fn next(why: &NoneWhy) -> &'static str {
    match why {
        NoneWhy::Refused(_) => {
            "Repair the unit and learn again. `vanebench friction` shows at low current where it binds."
        }
        NoneWhy::CutShort { .. } | NoneWhy::Unsound { .. } | NoneWhy::WithoutProvenance => "Learn again.",
    }
}

/// Not proven or suspended, and that was not allowed.
pub(super) fn unproven(wanted: &WantedUnit<'_>, in_force: &InForce) -> String {
    let steps = match in_force.held.standing {
        Standing::Accepted => String::new(),
        Standing::NotProven { open } => {
            format!(
                "Confirm {}, then record it without moving the unit:\n  {}",
                those(open),
                how_to_confirm(wanted.unit_dir, open)
            )
        }
        Standing::Suspended { .. } => "Find out why, then do a full learn again.".to_owned(),
    };
    format!(
        "{}: nothing moved. {}\n{steps}\nTo move it all the same, at half the current and half the speed \
         and with a person beside it, add --on-unproven.",
        wanted.unit,
        stands(in_force)
    )
}

/// The command that confirms what is open.
pub(crate) fn how_to_confirm(unit_dir: &Path, open: CheckSet) -> String {
    let (dir, words) = (unit_dir.display(), check_words(open));
    format!("vanebench unit confirm {dir} --checked {words} --by WHO --with WHAT")
}

fn those(open: CheckSet) -> &'static str {
    if open.iter().count() == 1 { "it" } else { "these" }
}

/// How a calibration stands, with what is open.
#[must_use]
pub fn stands(in_force: &InForce) -> String {
    let run = in_force.run;
    match in_force.held.standing {
        Standing::Accepted => format!("The calibration of {run} is accepted."),
        Standing::NotProven { open } => {
            let open = check_lines(open);
            format!(
                "The calibration of {run} is NOT PROVEN: signals alone cannot show everything. Still to confirm:{open}"
            )
        }
        Standing::Suspended { refusals } => {
            let by = in_force.doubted_by.map_or_else(String::new, |by| format!(", last by {by}"));
            let times = if refusals == 1 { "one learn" } else { "several learns" };
            format!(
                "The calibration of {run} is SUSPENDED: {times} since then found no stops ({refusals}{by}). The stops may \
                 no longer be where they were."
            )
        }
    }
}

/// How a calibration stands, in one line for a record.
#[must_use]
pub(crate) fn stands_briefly(standing: Standing) -> String {
    match standing {
        Standing::Accepted => "accepted".into(),
        Standing::NotProven { open } => format!("not proven: {}", check_words(open)),
        Standing::Suspended { refusals } => {
            format!("suspended after {refusals} learns that were refused or cut short")
        }
    }
}

/// What is in force, in a few words.
pub(crate) fn in_force(standing: &UnitStanding) -> String {
    match standing {
        UnitStanding::NeverLearned | UnitStanding::NoneInForce { .. } => "nothing".into(),
        UnitStanding::InForce(in_force) => {
            format!("{}, {}", in_force.run, stands_briefly(in_force.held.standing))
        }
    }
}

/// `--on-unproven` where there is nothing unproven.
pub(super) fn nothing_unproven(unit: &str, in_force: &InForce) -> String {
    format!(
        "{unit}: nothing moved. The calibration of {} is accepted: nothing is unproven. Leave out \
         --on-unproven; the unit then moves at full current and speed.",
        in_force.run
    )
}

/// Another unit, board or settings than the calibration's.
pub(super) fn mismatch(unit: &str, in_force: &InForce, mismatch: &Mismatch) -> String {
    let run = in_force.run;
    let (differs, next) = match mismatch {
        Mismatch::Settings { learned, now } => (
            format!("was learned under other settings ({learned}; the profile now has {now})"),
            "Learn again under this profile, or name the profile that it was learned under.".to_owned(),
        ),
        Mismatch::Actuator { learned, now } => serial(learned.as_ref(), now, "actuator"),
        Mismatch::Turbo { learned, now } => serial(learned.as_ref(), now, "turbo"),
        Mismatch::Board { learned, now } => (
            format!("was learned with the board {learned}; this is the board {now}"),
            "Counts hold only for the board that converted them: learn again with this board, or plug in \
             the other one."
                .to_owned(),
        ),
    };
    format!("{unit}: nothing moved. The calibration in force, of {run}, {differs}. {next}")
}

fn serial(learned: Option<&ShortText>, now: &ShortText, part: &str) -> (String, String) {
    match learned {
        Some(learned) => (
            format!(
                "is for {part} {learned:?}, but --{part}-serial says {now:?}",
                learned = learned.as_str(),
                now = now.as_str()
            ),
            format!("Correct the number; if it is another {part}, learn again."),
        ),
        None => (
            format!("names no {part}, but --{part}-serial says {:?}", now.as_str()),
            format!(
                "Learn again with --{part}-serial; or, if it is the {part} that was learned, leave the \
                 option out here."
            ),
        ),
    }
}

/// Why a standing leaves nothing in force; nothing where something is.
#[must_use]
pub(crate) fn why_nothing(standing: &UnitStanding) -> Option<String> {
    match standing {
        UnitStanding::InForce(_) => None,
        UnitStanding::NeverLearned => Some("it was never learned".into()),
        UnitStanding::NoneInForce { run, why } => Some(because(*run, why)),
    }
}
