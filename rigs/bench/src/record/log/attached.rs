//! Photographs and papers that a person puts to a unit.
//!
//! In: a file, who and a note. Out: a copy in `attached/` of the unit's folder, and a line in its log with the hash. The copy
//! comes before the line: a crash between them leaves a file that the log does not name, and the check says so.

use std::fmt;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::{SystemTime, UNIX_EPOCH};

use plant::files::{bytes_of, write_whole};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Entry, UnitLog, Weight, append};
use crate::record::info::minute;
use crate::record::{RecordError, Sha256Hex};
use crate::short_text::ShortText;

/// The folder in a unit's folder.
const ATTACHED: &str = "attached";
/// Most bytes of one file: a photograph takes a tenth of it.
const MOST: u64 = 64 << 20;
/// Most characters of a name that are kept, the last ones.
const NAME: usize = 60;

/// A file that was put to a unit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub(crate) struct Attached {
    /// Its name in `attached/`.
    pub name: String,
    /// Its hash.
    pub sha256: Sha256Hex,
    /// Who put it there.
    pub by: ShortText,
    /// What it shows.
    pub note: ShortText,
    /// When, to the minute, UTC.
    pub on: String,
}

/// What can be wrong with one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum AttachedTrouble {
    /// It is not what was put there.
    Changed,
    /// The log names it and it is gone.
    Removed,
    /// The log does not name it.
    Unnamed,
}

impl AttachedTrouble {
    /// How much it says.
    #[must_use]
    pub(crate) fn weight(&self) -> Weight {
        match self {
            Self::Changed | Self::Removed => Weight::Found,
            Self::Unnamed => Weight::Doubt,
        }
    }
}

impl fmt::Display for Attached {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { name, by, note, on, .. } = self;
        write!(f, "{ATTACHED}/{name}: {note} (by {by}, {on})")
    }
}

impl fmt::Display for AttachedTrouble {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Changed => "changed since it was attached",
            Self::Removed => "removed: the log names it and it is gone",
            Self::Unnamed => {
                "the log does not name it (put there by hand, or the tool crashed at that moment)"
            }
        })
    }
}

/// Copies a file to the unit and writes its line into the log.
///
/// # Errors
/// When the file cannot be read or is too large, or the disk refuses.
pub(crate) fn attach(
    unit_dir: &Path,
    unit: &str,
    file: &Path,
    by: ShortText,
    note: ShortText,
) -> Result<Attached, RecordError> {
    let bytes = bytes_of(file, MOST).map_err(RecordError::unread(file))?;
    let folder = unit_dir.join(ATTACHED);
    fs::create_dir_all(&folder).map_err(RecordError::io(&folder, "could not be made"))?;
    let number = attached(unit_dir)?.len().max(names_in(&folder)?.len()) + 1;
    let name = format!("{number:04}-{}", plain_name(file));
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    let on = minute(since.as_secs() as i64).unwrap_or_default();
    let attached = Attached { name, sha256: Sha256Hex::of(&bytes), by, note, on };
    let copy = folder.join(&attached.name);
    if copy.exists() {
        let taken = std::io::Error::from(std::io::ErrorKind::AlreadyExists);
        return Err(RecordError::io(&copy, "could not be written")(taken));
    }
    write_whole(&copy, &bytes)?;
    append(unit_dir, unit, Entry::Attached(attached.clone()))?;
    Ok(attached)
}

/// What was put to the unit, oldest first.
///
/// # Errors
/// When the log cannot be read.
pub(crate) fn attached(unit_dir: &Path) -> Result<Vec<Attached>, RecordError> {
    Ok(UnitLog::read(unit_dir)?.map_or_else(Vec::new, |log| log.attached))
}

/// Each file whose copy is not what was put there.
///
/// # Errors
/// When log, folder or a copy cannot be read.
pub(crate) fn attached_trouble(unit_dir: &Path) -> Result<Vec<(String, AttachedTrouble)>, RecordError> {
    let mut there = names_in(&unit_dir.join(ATTACHED))?;
    let mut found = Vec::new();
    for file in attached(unit_dir)? {
        let trouble = attached_bytes(unit_dir, &file)?.err();
        there.retain(|one| *one != file.name);
        found.extend(trouble.map(|trouble| (file.name, trouble)));
    }
    there.sort();
    found.extend(there.into_iter().map(|name| (name, AttachedTrouble::Unnamed)));
    Ok(found.into_iter().map(|(name, trouble)| (format!("{ATTACHED}/{name}"), trouble)).collect())
}

/// What an attached file holds, where it is what was put there. A name that the folder does not list is never opened: a log
/// that somebody else wrote may name any path.
///
/// # Errors
/// When the folder or the file cannot be read.
pub(crate) fn attached_bytes(
    unit_dir: &Path,
    file: &Attached,
) -> Result<Result<Vec<u8>, AttachedTrouble>, RecordError> {
    let folder = unit_dir.join(ATTACHED);
    if !names_in(&folder)?.contains(&file.name) {
        return Ok(Err(AttachedTrouble::Removed));
    }
    let path = folder.join(&file.name);
    let bytes = bytes_of(&path, MOST).map_err(RecordError::unread(&path))?;
    Ok(if Sha256Hex::of(&bytes) == file.sha256 { Ok(bytes) } else { Err(AttachedTrouble::Changed) })
}

fn names_in(folder: &Path) -> Result<Vec<String>, RecordError> {
    if !folder.exists() {
        return Ok(Vec::new());
    }
    let entries = fs::read_dir(folder).map_err(RecordError::io(folder, "could not be listed"))?;
    Ok(entries.filter_map(Result::ok).map(|one| one.file_name().to_string_lossy().into_owned()).collect())
}

/// A name that every file system takes: letters, digits, `.`, `-` and `_`.
fn plain_name(file: &Path) -> String {
    let name = file.file_name().map_or_else(|| PathBuf::from("file"), PathBuf::from);
    let plain = |c: char| if c.is_ascii_alphanumeric() || ".-_".contains(c) { c } else { '_' };
    let name: Vec<char> = name.to_string_lossy().chars().map(plain).collect();
    name[name.len().saturating_sub(NAME)..].iter().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A log that somebody else wrote may name any file of this machine, with its true hash.
    #[test]
    fn nothing_outside_the_folder_is_opened() {
        let dir = tempfile::tempdir().unwrap();
        fs::create_dir(dir.path().join(ATTACHED)).unwrap();
        fs::write(dir.path().join("secret"), b"s").unwrap();
        fs::write(dir.path().join(ATTACHED).join("0001-a"), b"s").unwrap();
        let named = |name: &str| Attached {
            name: name.to_owned(),
            sha256: Sha256Hex::of(b"s"),
            by: "A".parse().unwrap(),
            note: "n".parse().unwrap(),
            on: String::new(),
        };
        let bytes = |name: &str| attached_bytes(dir.path(), &named(name)).unwrap();
        assert_eq!(bytes("0001-a"), Ok(b"s".to_vec()));
        let absolute = dir.path().join("secret").display().to_string();
        for outside in ["../secret", &absolute, "", ".", "./0001-a"] {
            assert_eq!(bytes(outside), Err(AttachedTrouble::Removed), "{outside}");
        }
    }
}
