//! Writes a file, or several that belong together, whole or not at all.

use std::fs::{self, File, OpenOptions, Permissions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use tempfile::NamedTempFile;

/// The system refused to write; no old file was touched.
#[derive(Debug, thiserror::Error)]
#[error("{}: could not be written ({source}). Check free space and write permission, then run again", .path.display())]
pub struct WriteError {
    /// The file that was asked for.
    pub path: PathBuf,
    /// The system's answer.
    pub source: io::Error,
}

/// Writes to a new file in the same folder, forces it to disk, then gives it the name of `path`. A link is
/// followed; a device or a pipe is written into.
///
/// # Errors
/// When the system refuses; the old file, if any, then still stands, and nothing is left beside it.
pub fn write_whole(path: &Path, bytes: &[u8]) -> Result<(), WriteError> {
    write_together(&[(path.to_owned(), bytes)])
}

/// As [`write_whole`], for files that belong together: none takes its name before all are on disk.
///
/// # Errors
/// When the system refuses one of them; the old files, if any, then still stand.
pub fn write_together(files: &[(PathBuf, &[u8])]) -> Result<(), WriteError> {
    let mut ready = Vec::with_capacity(files.len());
    for (path, bytes) in files {
        ready.push((path, prepared(path, bytes).map_err(refused(path))?));
    }
    for (path, written) in ready {
        written.finish().map_err(refused(path))?;
    }
    Ok(())
}

fn refused(path: &Path) -> impl FnOnce(io::Error) -> WriteError {
    move |source| WriteError { path: path.to_owned(), source }
}

/// Bytes on their way to their name.
enum Prepared<'a> {
    /// On disk under a name of its own, which goes when this is dropped.
    Beside(NamedTempFile, PathBuf),
    /// Still to go into a device or a pipe.
    Stream(File, &'a [u8]),
}

impl Prepared<'_> {
    fn finish(self) -> io::Result<()> {
        match self {
            Self::Beside(file, target) => file.persist(target).map(drop).map_err(|error| error.error),
            Self::Stream(mut stream, bytes) => stream.write_all(bytes).and_then(|()| stream.flush()),
        }
    }
}

fn prepared<'a>(path: &Path, bytes: &'a [u8]) -> io::Result<Prepared<'a>> {
    let old = match fs::metadata(path) {
        Ok(old) => Some(old),
        Err(error) if error.kind() == io::ErrorKind::NotFound => None,
        Err(error) => return Err(error),
    };
    if old.as_ref().is_some_and(|old| !old.is_file() && !old.is_dir()) {
        return Ok(Prepared::Stream(OpenOptions::new().write(true).open(path)?, bytes));
    }
    let target = behind_links(path)?;
    let mut file = beside(&target, old.map(|old| old.permissions()))?;
    file.write_all(bytes)?;
    file.as_file().sync_all()?;
    Ok(Prepared::Beside(file, target))
}

/// The file that a path means in the end; it need not exist.
fn behind_links(path: &Path) -> io::Result<PathBuf> {
    /// As many as Linux follows.
    const MOST_LINKS: usize = 40;
    let mut target = path.to_owned();
    for _ in 0..MOST_LINKS {
        match fs::symlink_metadata(&target) {
            Ok(found) if found.is_symlink() => {
                let to = fs::read_link(&target)?;
                target = folder_of(&target).join(to);
            }
            Ok(found) if found.is_dir() => return Err(io::ErrorKind::IsADirectory.into()),
            _ => return Ok(target),
        }
    }
    Err(io::Error::other("too many links"))
}

fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

/// A new file in the folder of `target`, with the old file's permissions or those of any new file.
fn beside(target: &Path, old: Option<Permissions>) -> io::Result<NamedTempFile> {
    let mut new = tempfile::Builder::new();
    new.prefix(".vanebench-").suffix(".part");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        /// What the system's mask is taken from.
        const ANY_NEW_FILE: u32 = 0o666;
        new.permissions(Permissions::from_mode(ANY_NEW_FILE));
    }
    let file = new.tempfile_in(folder_of(target))?;
    if let Some(old) = old {
        file.as_file().set_permissions(old)?;
    }
    Ok(file)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names_in(dir: &Path) -> Vec<String> {
        let names = fs::read_dir(dir).unwrap().map(|entry| entry.unwrap().file_name());
        let mut names: Vec<_> = names.map(|name| name.to_string_lossy().into_owned()).collect();
        names.sort();
        names
    }

    #[test]
    fn of_files_that_belong_together_none_is_written_when_the_last_cannot_be() {
        let dir = tempfile::tempdir().unwrap();
        let (a, b) = (dir.path().join("a.csv"), dir.path().join("b.csv"));
        fs::write(&a, "old").unwrap();
        fs::create_dir(&b).unwrap();
        let error = write_together(&[(a.clone(), b"new"), (b, b"new")]).unwrap_err();
        assert!(error.to_string().contains("b.csv"), "{error}");
        assert_eq!(fs::read(&a).unwrap(), b"old");
        assert_eq!(names_in(dir.path()), ["a.csv", "b.csv"]);
    }

    #[cfg(unix)]
    #[test]
    fn a_link_stays_a_link_whether_its_file_exists_or_not() {
        use std::os::unix::fs::symlink;
        let dir = tempfile::tempdir().unwrap();
        fs::create_dir(dir.path().join("far")).unwrap();
        let link = dir.path().join("link");
        symlink("hop", &link).unwrap();
        symlink("far/file", dir.path().join("hop")).unwrap();
        for text in ["first", "second"] {
            write_whole(&link, text.as_bytes()).unwrap();
            assert_eq!(fs::read_to_string(dir.path().join("far/file")).unwrap(), text);
        }
        assert!(link.is_symlink() && dir.path().join("hop").is_symlink());
        symlink("round", dir.path().join("round")).unwrap();
        assert!(write_whole(&dir.path().join("round"), b"").is_err());
    }

    #[cfg(unix)]
    #[test]
    fn permissions_are_the_old_files_or_those_of_any_new_file() {
        use std::os::unix::fs::PermissionsExt;
        let dir = tempfile::tempdir().unwrap();
        let mode = |name: &str| fs::metadata(dir.path().join(name)).unwrap().permissions().mode();
        File::create(dir.path().join("plain")).unwrap();
        write_whole(&dir.path().join("new"), b"").unwrap();
        assert_eq!(mode("new"), mode("plain"));
        fs::set_permissions(dir.path().join("plain"), Permissions::from_mode(0o640)).unwrap();
        write_whole(&dir.path().join("plain"), b"").unwrap();
        assert_eq!(mode("plain") & 0o777, 0o640);
    }
}
