//! Writes a file, or several that belong together, whole or not at all.

use std::fs::{self, File};
use std::io::Write;
use std::path::{Path, PathBuf};

use super::RecordError;

/// Writes to a neighbour with a `.part` ending, forces it to disk, then renames it over `path`.
///
/// # Errors
/// When the system refuses; the old file, if any, then still stands.
pub fn write_whole(path: &Path, bytes: &[u8]) -> Result<(), RecordError> {
    write_together(&[(path.to_owned(), bytes)])
}

/// As [`write_whole`], for files that belong together: none takes its name before all are on disk.
///
/// # Errors
/// When the system refuses one of them; the old files, if any, then still stand.
pub fn write_together(files: &[(PathBuf, &[u8])]) -> Result<(), RecordError> {
    let parts: Vec<PathBuf> = files.iter().map(|(path, _)| part_of(path)).collect();
    let written = files.iter().zip(&parts).try_for_each(|((path, bytes), part)| {
        write_and_sync(part, bytes).map_err(RecordError::io(path, "could not be written"))
    });
    let named = written.and_then(|()| {
        files.iter().zip(&parts).try_for_each(|((path, _), part)| {
            fs::rename(part, path).map_err(RecordError::io(path, "could not be written"))
        })
    });
    if named.is_err() {
        for part in &parts {
            // Best effort: the error that counts is the one above.
            let _leftover = fs::remove_file(part);
        }
    }
    named
}

fn part_of(path: &Path) -> PathBuf {
    let mut name = path.file_name().unwrap_or_default().to_owned();
    name.push(".part");
    path.with_file_name(name)
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

    #[test]
    fn of_files_that_belong_together_none_is_written_when_the_last_cannot_be() {
        let dir = tempfile::tempdir().unwrap();
        fs::create_dir(dir.path().join("b.csv.part")).unwrap();
        let files = ["a.csv", "b.csv"].map(|name| (dir.path().join(name), b"new".as_slice()));
        assert!(write_together(&files).is_err());
        let left: Vec<_> =
            fs::read_dir(dir.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect();
        assert_eq!(left, ["b.csv.part"]);
    }
}
