//! Why a part of a campaign could not be used.

use std::path::PathBuf;

use super::Progress;
use super::share::Share;

/// Why a part could not be used.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PartError {
    /// The file cannot be read, or could never be written.
    #[error("{file}: {reason}")]
    Unreadable {
        /// File.
        file: PathBuf,
        /// Why not.
        reason: String,
    },
    /// The disk refuses the file: full, or without permission.
    #[error("{reason}. What was saved before is still there")]
    Unwritable {
        /// File and what the system says.
        reason: String,
    },
    /// Not a part of this program.
    #[error("{file}: holds no campaign ({reason}); give another file, or remove it to start again")]
    Foreign {
        /// File.
        file: PathBuf,
        /// What is wrong.
        reason: String,
    },
    /// Not as it was saved.
    #[error(
        "{file}: was changed after it was saved, or an older release made it; remove it and run that part \
         again"
    )]
    Changed {
        /// File.
        file: PathBuf,
    },
    /// Kept by another campaign than the one that was to go on.
    #[error(
        "{file}: belongs to another campaign: {what} is {seen} in the file and {wanted} here; give another \
         file, or remove it to start again"
    )]
    OtherCampaign {
        /// File.
        file: PathBuf,
        /// Mark that differs.
        what: String,
        /// In the file.
        seen: String,
        /// On the command line.
        wanted: String,
    },
    /// Two parts of different campaigns.
    #[error(
        "{file}: belongs to another campaign than {first}: {what} is {seen} here and {wanted} in {first}; \
         run that part again with the options of the others"
    )]
    Differs {
        /// File.
        file: PathBuf,
        /// First file given.
        first: PathBuf,
        /// Mark that differs.
        what: String,
        /// In the file.
        seen: String,
        /// In the first.
        wanted: String,
    },
    /// A part that was interrupted.
    #[error(
        "{file}: part {share} is not finished: {} of {} runs are done. Repeat its command line to continue",
        .progress.done, .progress.wanted
    )]
    Unfinished {
        /// File.
        file: PathBuf,
        /// Which part.
        share: Share,
        /// How far it is.
        progress: Progress,
    },
    /// Two files that hold the same runs.
    #[error("{file}: part {share} and {other} hold the same runs, from {from} on; give each part once")]
    Overlap {
        /// File.
        file: PathBuf,
        /// Which part.
        share: Share,
        /// The other file.
        other: PathBuf,
        /// First run that both hold.
        from: u64,
    },
    /// Runs that no file holds.
    #[error("runs {from} to {to} are missing from the files; {advice}")]
    Missing {
        /// First.
        from: u64,
        /// Last.
        to: u64,
        /// What to run.
        advice: String,
    },
}
