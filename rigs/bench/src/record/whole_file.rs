//! Writes a file whole or not at all.

use std::fs::{self, File};
use std::io::Write;
use std::path::Path;

use super::RecordError;

/// Writes to a neighbour with a `.part` ending, forces it to disk, then renames it over `path`.
///
/// # Errors
/// When the system refuses; the old file, if any, then still stands.
pub fn write_whole(path: &Path, bytes: &[u8]) -> Result<(), RecordError> {
    let mut name = path.file_name().unwrap_or_default().to_owned();
    name.push(".part");
    let part = path.with_file_name(name);
    let written = write_and_sync(&part, bytes).and_then(|()| fs::rename(&part, path));
    if written.is_err() {
        // Best effort: the error that counts is the one above.
        let _leftover = fs::remove_file(&part);
    }
    written.map_err(RecordError::io(path, "could not be written"))
}

fn write_and_sync(path: &Path, bytes: &[u8]) -> std::io::Result<()> {
    let mut file = File::create(path)?;
    file.write_all(bytes)?;
    file.sync_all()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_that_cannot_be_written_leaves_the_old_one_and_no_part() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("verdict.json");
        write_whole(&path, b"old").unwrap();
        // A folder in the place of the part file makes the write fail.
        fs::create_dir(dir.path().join("verdict.json.part")).unwrap();
        assert!(write_whole(&path, b"new").is_err());
        assert_eq!(fs::read(&path).unwrap(), b"old");
    }
}
