//! Bounded reading.

use std::fs::{self, File};
use std::io::{self, Read};
use std::path::Path;

/// Most bytes of a TOML file: a thousand times the built-in profile's.
pub const TOML_LIMIT: u64 = 1 << 20;

/// Why a file was not read; the path is for the caller to say.
#[derive(Debug, thiserror::Error)]
pub enum ReadError {
    /// There is nothing of that name.
    #[error("there is no such file; check the path")]
    Missing,
    /// A folder.
    #[error("is a folder; name a file in it")]
    Folder,
    /// A device, a pipe or a socket: it may never end, or never begin.
    #[error("is a device or a pipe; name a file")]
    NoFile,
    /// More than the limit.
    #[error("is too large; allowed: at most {}", size(*.most))]
    TooLarge {
        /// The limit, bytes.
        most: u64,
    },
    /// Bytes that are no text.
    #[error("is not text: byte {at} is not UTF-8; save it as UTF-8 text")]
    NoText {
        /// Place of the first wrong byte, from 1.
        at: usize,
    },
    /// The system refused.
    #[error("cannot be read ({0}); check path and permissions")]
    System(io::Error),
}

fn size(bytes: u64) -> String {
    const MIB: u64 = 1 << 20;
    if bytes.is_multiple_of(MIB) { format!("{} MiB", bytes / MIB) } else { format!("{bytes} bytes") }
}

impl From<io::Error> for ReadError {
    fn from(error: io::Error) -> Self {
        if error.kind() == io::ErrorKind::NotFound { Self::Missing } else { Self::System(error) }
    }
}

/// The whole of a file of at most `most` bytes.
///
/// # Errors
/// [`ReadError`]; nothing beyond the limit is ever read.
pub fn bytes_of(path: &Path, most: u64) -> Result<Vec<u8>, ReadError> {
    // Looked at before it is opened: opening a pipe waits for its writer.
    let kind = fs::metadata(path)?.file_type();
    if kind.is_dir() {
        return Err(ReadError::Folder);
    }
    if !kind.is_file() {
        return Err(ReadError::NoFile);
    }
    let mut bytes = Vec::new();
    let read = File::open(path)?.take(most.saturating_add(1)).read_to_end(&mut bytes)?;
    if read as u64 > most { Err(ReadError::TooLarge { most }) } else { Ok(bytes) }
}

/// As [`bytes_of`], for UTF-8 text.
///
/// # Errors
/// As [`bytes_of`], and when a byte is no text.
pub fn text_of(path: &Path, most: u64) -> Result<String, ReadError> {
    String::from_utf8(bytes_of(path, most)?)
        .map_err(|error| ReadError::NoText { at: error.utf8_error().valid_up_to() + 1 })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_at_the_limit_is_read_and_one_byte_more_is_refused() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("a");
        fs::write(&path, "1234").unwrap();
        assert_eq!(text_of(&path, 4).unwrap(), "1234");
        assert!(matches!(text_of(&path, 3), Err(ReadError::TooLarge { most: 3 })));
    }

    #[test]
    fn what_is_no_text_file_is_refused_for_what_it_is() {
        let dir = tempfile::tempdir().unwrap();
        assert!(matches!(text_of(dir.path(), 9), Err(ReadError::Folder)));
        assert!(matches!(text_of(&dir.path().join("none"), 9), Err(ReadError::Missing)));
        let path = dir.path().join("a");
        fs::write(&path, b"ab\xff").unwrap();
        assert!(matches!(text_of(&path, 9), Err(ReadError::NoText { at: 3 })));
    }
}
