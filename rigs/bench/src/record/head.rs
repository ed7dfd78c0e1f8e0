//! Runs without their samples: what a fleet and a long history are read from.
//!
//! In: a unit's folder. Out: what each `run.toml` says, held against its own checksum only; the samples and the unit's log
//! are not looked at.

use std::path::{Path, PathBuf};

use firmware_core::learn::CheckSet;

use super::reader::{open_checks, read_run_file, run_name};
use super::{Confirmation, RUN_FILE, RecordError, RunFile, RunKind, RunName, confirmation, runs_in};

/// A run without its samples.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct RunHead {
    /// Its name.
    pub name: RunName,
    /// Its folder.
    pub dir: PathBuf,
    /// What `run.toml` says.
    pub file: RunFile,
    /// What a person confirmed of this learn after the fact.
    pub confirmed: Vec<Confirmation>,
}

/// A run by its name; in place of one that cannot be read, why.
type HeadOrWhy = (RunName, Result<RunHead, RecordError>);

impl RunHead {
    /// The runs in a unit's folder, oldest first; in place of one that cannot be read, why.
    ///
    /// # Errors
    /// When the folder cannot be listed, or its confirmations cannot be read.
    pub(crate) fn all_in(unit_dir: &Path) -> Result<Vec<HeadOrWhy>, RecordError> {
        let confirmed = confirmation::all(unit_dir)?;
        let runs = runs_in(unit_dir)?.into_iter();
        Ok(runs.map(|(name, dir)| (name, Self::open(dir, &confirmed))).collect())
    }

    fn open(dir: PathBuf, all: &[Confirmation]) -> Result<Self, RecordError> {
        let name = run_name(&dir)?;
        let file = read_run_file(&dir, &dir.join(RUN_FILE))?;
        let confirmed = match name.kind {
            RunKind::Learn => confirmation::of_learn(all, name, &file),
            RunKind::Sweep | RunKind::Friction | RunKind::Step | RunKind::Cycle | RunKind::Simulate => {
                Vec::new()
            }
        };
        Ok(Self { name, dir, file, confirmed })
    }

    /// What signals cannot show of this learn and nobody has confirmed, then or since.
    #[must_use]
    pub(crate) fn open_checks(&self) -> CheckSet {
        open_checks(&self.file, &self.confirmed)
    }
}
