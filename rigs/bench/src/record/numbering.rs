//! Ordinal names of runs: `0001-learn`, `0002-sweep`, … in the order they were made.

use std::fmt;
use std::fs;
use std::path::{Path, PathBuf};

use super::log::UnitLog;
use super::{RecordError, RunKind};

/// Highest ordinal that four digits hold.
const LAST: u32 = 9999;

/// The name of a run folder.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct RunName {
    /// Counts the unit's runs from 1.
    pub ordinal: u32,
    /// What was done.
    pub kind: RunKind,
}

impl fmt::Display for RunName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:04}-{}", self.ordinal, self.kind.word())
    }
}

impl RunName {
    /// Reads a folder name; `None` for anything else.
    #[must_use]
    pub fn parse(name: &str) -> Option<Self> {
        let (ordinal, word) = name.split_once('-')?;
        let four_digits = ordinal.len() == 4 && ordinal.bytes().all(|b| b.is_ascii_digit());
        let kind = RunKind::from_word(word)?;
        four_digits.then(|| ordinal.parse().ok()).flatten().map(|ordinal| Self { ordinal, kind })
    }
}

/// The runs in a unit's folder, oldest first. A missing folder has none.
///
/// # Errors
/// When the folder cannot be listed.
pub(crate) fn runs_in(unit: &Path) -> Result<Vec<(RunName, PathBuf)>, RecordError> {
    if !unit.exists() {
        return Ok(Vec::new());
    }
    let mut runs = Vec::new();
    for entry in fs::read_dir(unit).map_err(RecordError::io(unit, "could not be listed"))? {
        let entry = entry.map_err(RecordError::io(unit, "could not be listed"))?;
        if let Some(name) = entry.file_name().to_str().and_then(RunName::parse) {
            runs.push((name, entry.path()));
        }
    }
    runs.sort();
    Ok(runs)
}

/// Makes the folder of the next run.
pub(super) fn create_next(unit: &Path, kind: RunKind) -> Result<(RunName, PathBuf), RecordError> {
    fs::create_dir_all(unit).map_err(RecordError::io(unit, "could not be made"))?;
    // A number that was used once is never used again, though its run was removed.
    let logged = UnitLog::read(unit)?.map_or(0, |log| log.last_ordinal());
    let mut ordinal = runs_in(unit)?.last().map_or(0, |(name, _)| name.ordinal).max(logged) + 1;
    while ordinal <= LAST {
        let name = RunName { ordinal, kind };
        let dir = unit.join(name.to_string());
        match fs::create_dir(&dir) {
            Ok(()) => return Ok((name, dir)),
            // Another program took the number between our look and our step.
            Err(error) if error.kind() == std::io::ErrorKind::AlreadyExists => ordinal += 1,
            Err(error) => return Err(RecordError::io(&dir, "could not be made")(error)),
        }
    }
    Err(RecordError::Full { path: unit.to_owned() })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_counted_in_the_order_the_runs_were_made() {
        let dir = tempfile::tempdir().unwrap();
        let unit = dir.path().join("units/demo");
        assert_eq!(create_next(&unit, RunKind::Learn).unwrap().0.to_string(), "0001-learn");
        assert_eq!(create_next(&unit, RunKind::Sweep).unwrap().0.to_string(), "0002-sweep");
        fs::create_dir(unit.join("notes")).unwrap();
        let names: Vec<_> = runs_in(&unit).unwrap().iter().map(|(name, _)| name.to_string()).collect();
        assert_eq!(names, ["0001-learn", "0002-sweep"]);
    }

    #[test]
    fn only_run_names_are_taken_for_runs() {
        assert!(RunName::parse("0001-learn").is_some());
        for other in ["1-learn", "0001_learn", "0001-dance", "+001-learn", "learn"] {
            assert_eq!(RunName::parse(other), None, "{other}");
        }
    }
}
