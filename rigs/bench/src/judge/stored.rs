//! A verdict as an earlier run of this tool left it in a file. It is read for overviews only, and nothing is checked: the
//! record may have changed since, and whoever shows it says so.

use std::path::Path;

use plant::files::bytes_of;
use serde::Deserialize;

use super::Judgement;
use crate::limits::{Bounds, LimitStanding};
use crate::record::{Job, VERDICT_FILE};

/// Most bytes of a stored verdict: every figure with its definition, several times over.
const VERDICT_LIMIT: u64 = 4 << 20;

/// What an overview needs of it.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub(crate) struct StoredVerdict {
    /// The answer then.
    pub judgement: Judgement,
    /// Figures that had a limit.
    pub checks: Vec<StoredCheck>,
    /// All figures.
    pub figures: Vec<StoredFigure>,
    /// Runs that counted.
    #[serde(default)]
    pub counted: Vec<StoredRun>,
    /// The job.
    #[serde(default)]
    pub job: Job,
}

/// A figure against its limit, as it stood then.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub(crate) struct StoredCheck {
    /// The figure's key.
    pub key: String,
    /// What was allowed.
    pub bounds: Bounds,
    /// Where it stood.
    pub standing: LimitStanding,
}

/// A figure as it was then.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub(crate) struct StoredFigure {
    /// Key.
    pub key: String,
    /// Value.
    pub value: f64,
    /// Value as printed.
    pub text: String,
}

/// A run that counted.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub(crate) struct StoredRun {
    /// Its name.
    pub run: String,
}

impl StoredVerdict {
    /// The one in a run's or a unit's folder; nothing where none lies there that can be read.
    #[must_use]
    pub(crate) fn in_folder(dir: &Path) -> Option<Self> {
        let bytes = bytes_of(&dir.join(VERDICT_FILE), VERDICT_LIMIT).ok()?;
        serde_json::from_slice(&bytes).ok()
    }

    /// The figure of that key farthest from zero.
    #[must_use]
    pub(crate) fn farthest(&self, key: &str) -> Option<&StoredFigure> {
        let of_key = self.figures.iter().filter(|figure| figure.key == key);
        of_key.max_by(|a, b| a.value.abs().total_cmp(&b.value.abs()))
    }

    /// The check of that key that stands worst.
    #[must_use]
    pub(crate) fn worst(&self, key: &str) -> Option<&StoredCheck> {
        self.checks.iter().filter(|check| check.key == key).max_by_key(|check| check.standing)
    }
}
