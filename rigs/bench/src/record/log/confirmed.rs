//! Holds `confirmed.toml` against the log.
//!
//! The line in the log comes before the file: a crash between them leaves a file that lacks the last confirmation,
//! never one that the log does not name.

use std::fmt;
use std::path::Path;

use super::{UnitLog, Weight};
use crate::record::{RecordError, hashes};

/// What can be wrong with a unit's confirmations. They count for nothing then.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ConfirmedTrouble {
    /// It is not what the log names.
    Changed,
    /// The log names it and it is gone.
    Removed,
    /// The log does not name it.
    Added,
    /// It is as it was before the last confirmation.
    LacksTheLast,
}

impl ConfirmedTrouble {
    /// Of the unit in that folder; nothing where its confirmations are what was recorded.
    pub(super) fn of(unit_dir: &Path, log: &UnitLog) -> Result<Option<Self>, RecordError> {
        let now = hashes::confirmed(unit_dir)?;
        let (last, before) = match log.confirmed.as_slice() {
            [] => return Ok(now.map(|_| Self::Added)),
            [only] => (only, None),
            [.., before, last] => (last, Some(before)),
        };
        Ok(match &now {
            Some(now) if now == last => None,
            now if now.as_ref() == before => Some(Self::LacksTheLast),
            Some(_) => Some(Self::Changed),
            None => Some(Self::Removed),
        })
    }

    /// How much it says.
    #[must_use]
    pub fn weight(self) -> Weight {
        match self {
            Self::LacksTheLast => Weight::Doubt,
            Self::Changed | Self::Removed | Self::Added => Weight::Found,
        }
    }
}

impl fmt::Display for ConfirmedTrouble {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Changed => "confirmed.toml was changed since it was recorded",
            Self::Removed => "confirmed.toml was removed: the log names it",
            Self::Added => "confirmed.toml was added: the log does not name it",
            Self::LacksTheLast => {
                "confirmed.toml lacks the last confirmation (the tool crashed at that moment, or an older \
                 copy was put back)"
            }
        })
    }
}
