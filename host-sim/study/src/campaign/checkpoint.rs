//! Keeps a campaign's progress on disk so that it can go on after an interruption.
//!
//! In: statistics so far and a fingerprint of the plan. Out: a JSON file, written beside and renamed, so that
//! it is whole or absent. Refuses a checkpoint of another plan.

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::stats::CampaignStats;

/// Why a checkpoint could not be used.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CheckpointError {
    /// The file cannot be read or written.
    #[error("{file}: {reason}; check the folder and the space left")]
    Disk {
        /// File.
        file: PathBuf,
        /// What the system says.
        reason: String,
    },
    /// Not a checkpoint of this program.
    #[error("{file}: not a campaign checkpoint ({reason}); remove it to start again")]
    Foreign {
        /// File.
        file: PathBuf,
        /// What is wrong.
        reason: String,
    },
    /// A checkpoint of another campaign.
    #[error(
        "{file}: belongs to another campaign (scenario, settings, spread, seed, number of runs or program differ); \
         give another file or remove it to start again"
    )]
    OtherPlan {
        /// File.
        file: PathBuf,
    },
}

/// What is kept.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Checkpoint {
    pub fingerprint: u64,
    pub chunks_done: u64,
    pub stats: CampaignStats,
}

impl Checkpoint {
    /// Loads a checkpoint of the plan with this fingerprint; nothing when there is no file.
    pub(super) fn load(file: &Path, fingerprint: u64) -> Result<Option<Self>, CheckpointError> {
        let text = match std::fs::read_to_string(file) {
            Ok(text) => text,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
                // Told now, not after the minutes that the first save is away.
                return match file.parent() {
                    Some(folder) if !(folder.as_os_str().is_empty() || folder.is_dir()) => {
                        let reason = format!("there is no folder {}", folder.display());
                        Err(CheckpointError::Disk { file: file.to_owned(), reason })
                    }
                    _ => Ok(None),
                };
            }
            Err(error) => {
                return Err(CheckpointError::Disk { file: file.to_owned(), reason: error.to_string() });
            }
        };
        let foreign = |reason: String| CheckpointError::Foreign { file: file.to_owned(), reason };
        let checkpoint: Self = serde_json::from_str(&text).map_err(|error| foreign(error.to_string()))?;
        if checkpoint.fingerprint != fingerprint {
            return Err(CheckpointError::OtherPlan { file: file.to_owned() });
        }
        if !checkpoint.stats.is_sound() {
            return Err(foreign("its tables have another size".to_owned()));
        }
        Ok(Some(checkpoint))
    }

    /// Writes it whole or not at all.
    pub(super) fn save(&self, file: &Path) -> Result<(), CheckpointError> {
        let disk = |reason: String| CheckpointError::Disk { file: file.to_owned(), reason };
        let text = serde_json::to_string(self).map_err(|error| disk(error.to_string()))?;
        let mut beside = file.as_os_str().to_owned();
        beside.push(".part");
        std::fs::write(&beside, text).map_err(|error| disk(error.to_string()))?;
        std::fs::rename(&beside, file).map_err(|error| disk(error.to_string()))
    }
}

/// FNV-1a over a text: tells plans apart, no more.
pub(super) fn fingerprint(text: &str) -> u64 {
    const OFFSET: u64 = 0xcbf2_9ce4_8422_2325;
    const PRIME: u64 = 0x0000_0100_0000_01b3;
    text.bytes().fold(OFFSET, |hash, byte| (hash ^ u64::from(byte)).wrapping_mul(PRIME))
}
