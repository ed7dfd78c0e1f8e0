//! Keeps a campaign's progress on disk so that it can go on after an interruption.
//!
//! In: statistics so far and a fingerprint of the plan. Out: a JSON file, whole or absent. Refuses a checkpoint
//! of another plan.

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::stats::CampaignStats;
use plant::files::{self, ReadError};
use plant::shown::brief_message;

/// Most bytes of a checkpoint: 200 times the 77 kB that 2000 runs take, and more runs take hardly more.
const MOST_BYTES: u64 = 16 << 20;

/// Why a checkpoint could not be used.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CheckpointError {
    /// The file cannot be read, or could never be written.
    #[error("{file}: {reason}")]
    Unreadable {
        /// File.
        file: PathBuf,
        /// Why not.
        reason: String,
    },
    /// The disk refuses the file: full, or without permission.
    #[error("{reason}. The checkpoint of before still stands")]
    Unwritable {
        /// File and what the system says.
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
        let unreadable = |reason: String| CheckpointError::Unreadable { file: file.to_owned(), reason };
        let text = match files::text_of(file, MOST_BYTES) {
            Ok(text) => text,
            // Told now, not after the minutes that the first save is away.
            Err(ReadError::Missing) => return room_for(file).map(|()| None).map_err(unreadable),
            Err(error) => return Err(unreadable(error.to_string())),
        };
        let foreign = |reason: String| CheckpointError::Foreign { file: file.to_owned(), reason };
        let checkpoint: Self =
            serde_json::from_str(&text).map_err(|error| foreign(brief_message(&error.to_string())))?;
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
        let text = serde_json::to_string(self)
            .map_err(|error| CheckpointError::Unwritable { reason: error.to_string() })?;
        files::write_whole(file, text.as_bytes())
            .map_err(|error| CheckpointError::Unwritable { reason: error.to_string() })
    }
}

/// Whether the folder is there that the file is to be made in.
fn room_for(file: &Path) -> Result<(), String> {
    match file.parent() {
        Some(folder) if !(folder.as_os_str().is_empty() || folder.is_dir()) => {
            Err(format!("there is no folder {}; make it, or give another file", folder.display()))
        }
        _ => Ok(()),
    }
}

/// FNV-1a over a text: tells plans apart, no more.
pub(super) fn fingerprint(text: &str) -> u64 {
    const OFFSET: u64 = 0xcbf2_9ce4_8422_2325;
    const PRIME: u64 = 0x0000_0100_0000_01b3;
    text.bytes().fold(OFFSET, |hash, byte| (hash ^ u64::from(byte)).wrapping_mul(PRIME))
}
