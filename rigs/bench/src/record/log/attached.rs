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
            Self::Unnamed => "the log does not name it (put there by hand, or a crash just then)",
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
    let folder = unit_dir.join(ATTACHED);
    let mut there = names_in(&folder)?;
    let mut found = Vec::new();
    for Attached { name, sha256, .. } in attached(unit_dir)? {
        let at = there.iter().position(|one| *one == name).map(|at| there.swap_remove(at));
        let trouble = match at {
            None => Some(AttachedTrouble::Removed),
            Some(_) => {
                let path = folder.join(&name);
                let bytes = bytes_of(&path, MOST).map_err(RecordError::unread(&path))?;
                (Sha256Hex::of(&bytes) != sha256).then_some(AttachedTrouble::Changed)
            }
        };
        found.extend(trouble.map(|trouble| (name, trouble)));
    }
    there.sort();
    found.extend(there.into_iter().map(|name| (name, AttachedTrouble::Unnamed)));
    Ok(found.into_iter().map(|(name, trouble)| (format!("{ATTACHED}/{name}"), trouble)).collect())
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
