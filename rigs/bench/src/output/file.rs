//! One file that a person named.

use std::fs::{self, File};
use std::io::{self, Read};
use std::path::Path;

use plant::files::write_whole;

use crate::exit::Failure;

/// What every file that this tool hands over says near its top.
pub(crate) const MADE_BY: &str = "made by vanebench";
/// How much of an old file is looked at for [`MADE_BY`], bytes.
const TOP: u64 = 1024;

/// Looks whether a file of ours may stand there; for work that takes long, before it.
///
/// # Errors
/// When the name is a folder's or in none, when another file stands there, or the system refuses.
pub(crate) fn may_write(path: &Path) -> Result<(), Failure> {
    if path.is_dir() {
        return Err(Failure::usage(format!(
            "{}: is a folder. Nothing was written. Name a file in it",
            path.display()
        )));
    }
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty());
    if let Some(missing) = folder.filter(|folder| !folder.exists()) {
        return Err(Failure::usage(format!(
            "{}: there is no folder {}. Nothing was written. Make it, or name another place",
            path.display(),
            missing.display()
        )));
    }
    if is_foreign(path).map_err(|error| Failure::undetermined(format!("{}: {error}", path.display())))? {
        return Err(Failure::usage(format!(
            "{}: that file was not {MADE_BY}. Nothing was written. Give another name, or move the file away.",
            path.display()
        )));
    }
    Ok(())
}

/// Writes a file of ours, over nothing or over an older one of ours.
///
/// # Errors
/// As [`may_write`], or when the system refuses.
pub(crate) fn write_file(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    may_write(path)?;
    write_whole(path, bytes).map_err(Failure::undetermined)
}

/// A file on disk that holds something and does not say that we made it.
fn is_foreign(path: &Path) -> io::Result<bool> {
    match fs::metadata(path) {
        Ok(old) if old.is_file() && old.len() > 0 => {
            let mut top = Vec::new();
            File::open(path)?.take(TOP).read_to_end(&mut top)?;
            Ok(!String::from_utf8_lossy(&top).contains(MADE_BY))
        }
        // Nothing there, an empty file, a device or a pipe.
        Ok(_) => Ok(false),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(false),
        Err(error) => Err(error),
    }
}
