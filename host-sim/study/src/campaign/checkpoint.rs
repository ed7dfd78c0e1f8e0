//! Keeps a campaign's progress on disk so that it can go on after an interruption.
//!
//! In: statistics so far and a fingerprint of the plan. Out: a file of two lines, whole or absent: what is kept as JSON,
//! and its SHA-256. Refuses a checkpoint of another plan, and one that was changed.

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

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
    /// Not as it was saved.
    #[error("{file}: was changed after it was saved, or is of an older release; remove it to start again")]
    Changed {
        /// File.
        file: PathBuf,
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
    pub fingerprint: String,
    pub chunks_done: u64,
    pub stats: CampaignStats,
}

impl Checkpoint {
    /// Loads a checkpoint of the plan with this fingerprint; nothing when there is no file.
    pub(super) fn load(file: &Path, plan: &str) -> Result<Option<Self>, CheckpointError> {
        let unreadable = |reason: String| CheckpointError::Unreadable { file: file.to_owned(), reason };
        let text = match files::text_of(file, MOST_BYTES) {
            Ok(text) => text,
            // Told now, not after the minutes that the first save is away.
            Err(ReadError::Missing) => return room_for(file).map(|()| None).map_err(unreadable),
            Err(error) => return Err(unreadable(error.to_string())),
        };
        let foreign = |reason: String| CheckpointError::Foreign { file: file.to_owned(), reason };
        let Some((kept, sum)) = text.split_once('\n').map(|(kept, sum)| (kept, sum.trim_end())) else {
            // The one line of an older release, cut short, or something else altogether.
            let is_older = serde_json::from_str::<serde_json::Value>(&text).is_ok();
            let changed = CheckpointError::Changed { file: file.to_owned() };
            return Err(if is_older { changed } else { foreign("no line of its checksum".to_owned()) });
        };
        if fingerprint(kept) != sum {
            return Err(CheckpointError::Changed { file: file.to_owned() });
        }
        let checkpoint: Self =
            serde_json::from_str(kept).map_err(|error| foreign(brief_message(&error.to_string())))?;
        if checkpoint.fingerprint != plan {
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
        let text = format!("{text}\n{}\n", fingerprint(&text));
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

/// SHA-256 of a text, in hexadecimal digits.
pub(super) fn fingerprint(text: &str) -> String {
    format!("{:x}", Sha256::digest(text))
}
