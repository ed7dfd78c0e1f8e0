//! What can be wrong with a record.

use std::path::{Path, PathBuf};

use plant::files::{ReadError, WriteError};
use plant::shown::brief;

use plant::toml_file::TomlError;

/// Why a record was not written or not read.
#[derive(Debug, thiserror::Error)]
pub enum RecordError {
    /// The operating system refused.
    #[error("{}: {what} ({source}). Check free space and write permission, then run again", .path.display())]
    Io {
        /// File or folder.
        path: PathBuf,
        /// What was tried.
        what: &'static str,
        /// The system's answer.
        source: std::io::Error,
    },
    /// A file was not written.
    #[error(transparent)]
    Unwritten(#[from] WriteError),
    /// A file was not read.
    #[error("{}: {source}", .path.display())]
    Unread {
        /// The file.
        path: PathBuf,
        /// Why not.
        source: ReadError,
    },
    /// `run.toml` is wrong.
    #[error(transparent)]
    RunFile(#[from] TomlError),
    /// Written by another version of the record.
    #[error("{}: record version {seen}; this program reads version {known}. Judge it with the program that wrote it", .path.display())]
    OtherVersion {
        /// The run folder.
        path: PathBuf,
        /// Version in the file.
        seen: u32,
        /// Version known here.
        known: u32,
    },
    /// A line of the CSV file does not hold what its header promises.
    #[error("{}, line {line}: {field} = {seen:?}: {allowed}. Restore the file from a copy, or record again", .path.display())]
    BadLine {
        /// The CSV file.
        path: PathBuf,
        /// Line, from 1.
        line: u64,
        /// Column.
        field: &'static str,
        /// What stands there.
        seen: String,
        /// What is allowed.
        allowed: &'static str,
    },
    /// The file changed since the run was closed.
    #[error("{}: changed since the run was closed (checksum {seen:08x}, closed with {closed:08x}). Restore it from a copy, or record again", .path.display())]
    Edited {
        /// The file.
        path: PathBuf,
        /// Checksum now.
        seen: u32,
        /// Checksum at closing.
        closed: u32,
    },
    /// A run that says it is complete has lost the checksums that a complete run is closed with.
    #[error("{}: says that the run is complete but has no [sums]: it was changed after it was closed. \
        Restore it from a copy, or record again", .path.display())]
    NoSums {
        /// The file.
        path: PathBuf,
    },
    /// The folder is no run folder.
    #[error("{}: not a run folder: a run folder has a name like 0001-learn and holds {file}", .path.display())]
    NoRun {
        /// The folder.
        path: PathBuf,
        /// The file that is missing.
        file: &'static str,
    },
    /// The unit has as many runs as their names can count.
    #[error("{}: 9999 runs already. Start a new unit folder", .path.display())]
    Full {
        /// The unit's folder.
        path: PathBuf,
    },
}

impl RecordError {
    /// For `map_err`: the path and what was tried.
    pub(crate) fn io(path: &Path, what: &'static str) -> impl FnOnce(std::io::Error) -> Self {
        let path = path.to_owned();
        move |source| Self::Io { path, what, source }
    }

    /// For `map_err`: the file that was not read.
    pub(super) fn unread(path: &Path) -> impl FnOnce(ReadError) -> Self {
        let path = path.to_owned();
        move |source| Self::Unread { path, source }
    }

    /// A line that does not hold what its header promises.
    pub(super) fn bad_line(
        path: &Path,
        line: u64,
        field: &'static str,
        seen: &str,
        allowed: &'static str,
    ) -> Self {
        Self::BadLine { path: path.to_owned(), line, field, seen: brief(seen), allowed }
    }
}
