//! What is kept of a unit beside its runs: its calibrations, one for each setup and warmth.
//!
//! In: the outcome of a learn. Out: the calibration that a later motion loads. A free calibration is never
//! given where an attached one is asked for: each stands in a file of its own and names its setup inside.

use std::path::{Path, PathBuf};

use firmware_core::calibration::{Calibration, CalibrationError, Setup, Warmth};
use firmware_core::learn::{CheckSet, LearnOutcome};
use host_sim::files::write_whole;
use serde::{Deserialize, Serialize};

use crate::exit::Failure;
use crate::procedure::Target;
use crate::toml_file::TomlFile;

/// Whether everything about a calibration was confirmed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Standing {
    Accepted,
    NotProven,
}

/// A calibration and what nobody has confirmed of it: what a board needs to keep it as what it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Known {
    /// The calibration.
    pub calibration: Calibration,
    /// What is still to be confirmed.
    pub unproven: CheckSet,
}

impl Known {
    /// What a learn found; nothing after a refusal.
    #[must_use]
    pub fn of(outcome: &LearnOutcome) -> Option<Self> {
        match *outcome {
            LearnOutcome::Accepted(calibration) => Some(Self { calibration, unproven: CheckSet::NONE }),
            LearnOutcome::NotProven { calibration, check } => Some(Self { calibration, unproven: check }),
            LearnOutcome::Refused(_) => None,
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Kept {
    standing: Standing,
    calibration: Calibration,
}

fn path(unit_dir: &Path, setup: Setup, warmth: Warmth) -> PathBuf {
    unit_dir.join(format!("calibration-{setup}-{warmth}.toml"))
}

/// Keeps what a learn found; a refusal leaves what was kept before.
///
/// # Errors
/// When the disk refuses.
pub fn keep(unit_dir: &Path, outcome: &LearnOutcome) -> Result<(), Failure> {
    let kept = match outcome {
        LearnOutcome::Accepted(calibration) => {
            Kept { standing: Standing::Accepted, calibration: *calibration }
        }
        LearnOutcome::NotProven { calibration, .. } => {
            Kept { standing: Standing::NotProven, calibration: *calibration }
        }
        LearnOutcome::Refused(_) => return Ok(()),
    };
    let path = path(unit_dir, kept.calibration.setup, kept.calibration.warmth);
    let text = toml::to_string(&kept)
        .map_err(|error| Failure::undetermined(format!("{}: {error}", path.display())))?;
    write_whole(&path, text.as_bytes()).map_err(Failure::undetermined)
}

/// The unit's calibration in a setup, where there is one.
///
/// # Errors
/// When the file was edited into something that is no calibration, or into another setup's.
pub fn calibration(unit_dir: &Path, setup: Setup, warmth: Warmth) -> Result<Option<Calibration>, Failure> {
    Ok(known(unit_dir, setup, warmth)?.map(|known| known.calibration))
}

/// As [`calibration`], with what is unproven: all that the setup asks for where the file only says "not proven".
///
/// # Errors
/// As [`calibration`].
pub fn known(unit_dir: &Path, setup: Setup, warmth: Warmth) -> Result<Option<Known>, Failure> {
    let path = path(unit_dir, setup, warmth);
    if !path.exists() {
        return Ok(None);
    }
    let kept: Kept = TomlFile::read(&path).and_then(|file| file.parse()).map_err(Failure::usage)?;
    kept.calibration.check_for(setup).map_err(|error| {
        let why = match error {
            CalibrationError::OtherSetup { learned, .. } => {
                format!("it was learned in setup {learned}, not {setup}")
            }
            CalibrationError::NoSpan { span_counts } => {
                format!("its stops are {span_counts} counts apart")
            }
            CalibrationError::Clearance { clearance, max } => {
                format!("its clearance is {clearance} of travel, allowed is at most {max}")
            }
        };
        Failure::usage(format!("{}: not usable here: {why}. Learn the unit again.", path.display()))
    })?;
    let unproven = match kept.standing {
        Standing::Accepted => CheckSet::NONE,
        Standing::NotProven => CheckSet::needed_for(setup),
    };
    Ok(Some(Known { calibration: kept.calibration, unproven }))
}

/// A motion was asked for and the unit was never learned in this setup.
#[must_use]
pub fn no_calibration(target: &Target) -> Failure {
    Failure::usage(format!(
        "{}: no calibration for setup {}, {} in {}. Run `vanebench learn` with the same --unit, --setup and --warmth first; a calibration of another setup is not used.",
        target.unit,
        target.setup,
        target.warmth,
        target.unit_dir.display()
    ))
}
