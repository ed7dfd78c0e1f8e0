//! The name of a unit: one namespace for every file system, script and way of typing.
//!
//! In: a word from the command line. Out: a [`UnitName`], in Unicode normal form C, that can be a folder's name
//! anywhere; or why not. Two names that differ in case or in how letters are composed are one name.

use std::fmt;
use std::path::{Path, PathBuf};

use plant::shown::brief;
use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::is_combining_mark;

/// A name that was looked at.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct UnitName(String);

/// Why a word is no unit name.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub(crate) enum UnitNameError {
    /// Nothing.
    #[error("a unit's name is empty. Give it the number on the unit's tag")]
    Empty,
    /// Longer than a tag, or than file systems take.
    #[error(
        "{name:?}: {length} characters; allowed: at most {MOST} characters and {MOST_BYTES} bytes. Shorten it"
    )]
    TooLong {
        /// Its beginning.
        name: String,
        /// Characters.
        length: usize,
    },
    /// A character that file systems, shells or eyes stumble over.
    #[error(
        "{name:?}: {found:?} is not allowed; allowed: letters and digits of any script, - _ . and single spaces \
         between them. Leave it out"
    )]
    Character {
        /// The name.
        name: String,
        /// The first such character.
        found: char,
    },
    /// Two spaces together.
    #[error("{name:?}: two spaces in a row look like one. Leave one out")]
    DoubledSpace {
        /// The name.
        name: String,
    },
    /// An end that hides the folder, reads as an option, or is dropped by a file system.
    #[error(
        "{name:?}: a name must begin with a letter or digit and must not end with a dot or a space. Change \
         that end"
    )]
    End {
        /// The name.
        name: String,
    },
    /// A name that one system keeps for a device.
    #[error("{name:?}: Windows keeps this name for a device. Put something before it, such as unit-{name}")]
    Reserved {
        /// The name.
        name: String,
    },
    /// The same name, written otherwise, has records already.
    #[error("{name:?}: {} already holds {existing:?}, the same name spelled differently. Give that name if \
        it is the same unit; otherwise choose a name that differs by more", .records.display())]
    WrittenOtherwise {
        /// The name.
        name: String,
        /// The folder that is there.
        existing: String,
        /// Where.
        records: PathBuf,
    },
}

/// Most characters: a serial number, a date and a remark.
const MOST: usize = 64;
/// Most bytes of a file's name on Linux, macOS and Windows alike.
const MOST_BYTES: usize = 255;

impl UnitName {
    /// Reads a name.
    ///
    /// # Errors
    /// [`UnitNameError`], each but [`UnitNameError::WrittenOtherwise`].
    pub(crate) fn parse(word: &str) -> Result<Self, UnitNameError> {
        let whole: String = word.nfc().collect();
        let name = brief(&whole);
        let (Some(first), Some(last)) = (whole.chars().next(), whole.chars().last()) else {
            return Err(UnitNameError::Empty);
        };
        if let Some(found) = whole.chars().find(|&c| !is_allowed(c)) {
            return Err(UnitNameError::Character { name, found });
        }
        let length = whole.chars().count();
        if length > MOST || whole.len() > MOST_BYTES {
            return Err(UnitNameError::TooLong { name, length });
        }
        if !first.is_alphanumeric() || matches!(last, '.' | ' ') {
            return Err(UnitNameError::End { name });
        }
        if whole.contains("  ") {
            return Err(UnitNameError::DoubledSpace { name });
        }
        if is_reserved(&whole) {
            return Err(UnitNameError::Reserved { name });
        }
        Ok(Self(whole))
    }

    /// The unit's folder in `records`, there already or not.
    ///
    /// # Errors
    /// [`UnitNameError::WrittenOtherwise`] when it is there in another case.
    pub(crate) fn folder_in(&self, records: &Path) -> Result<PathBuf, UnitNameError> {
        // Whoever writes into a folder that is missing or cannot be listed gets the error.
        let folders = std::fs::read_dir(records).into_iter().flatten().flatten();
        let own = folded(&self.0);
        let mut twins = folders
            .filter(|entry| entry.path().is_dir())
            .filter_map(|entry| entry.file_name().into_string().ok())
            .filter(|existing| folded(existing) == own);
        match twins.next() {
            None => Ok(records.join(&self.0)),
            // Some systems take letters apart that others put together.
            Some(existing) if existing.nfc().eq(self.0.chars()) => Ok(records.join(existing)),
            Some(existing) => Err(UnitNameError::WrittenOtherwise {
                name: self.0.clone(),
                existing,
                records: records.to_owned(),
            }),
        }
    }
}

impl fmt::Display for UnitName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

fn is_allowed(c: char) -> bool {
    c.is_alphanumeric() || is_combining_mark(c) || matches!(c, '-' | '_' | '.' | ' ')
}

/// Case and composition aside. Upper case first: it takes "ß" to "SS" and every sigma to one.
fn folded(name: &str) -> String {
    name.nfc().flat_map(char::to_uppercase).flat_map(char::to_lowercase).nfc().collect()
}

/// CON, PRN, AUX, NUL, COM0 to COM9 and LPT0 to LPT9, with any extension, as Windows' documentation of file
/// names lists them; NFKC because it counts superscript digits as digits.
fn is_reserved(name: &str) -> bool {
    let stem: String =
        name.split('.').next().unwrap_or_default().nfkc().flat_map(char::to_lowercase).collect();
    let stem = stem.trim_end();
    let port = stem.strip_prefix("com").or_else(|| stem.strip_prefix("lpt"));
    matches!(stem, "con" | "prn" | "aux" | "nul")
        || port.is_some_and(|rest| rest.len() == 1 && rest.bytes().all(|byte| byte.is_ascii_digit()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn refusal(word: &str) -> UnitNameError {
        UnitName::parse(word).unwrap_err()
    }

    #[test]
    fn tags_of_any_script_are_names() {
        for name in ["SN-0815", "Gerät 7", "7", "блок_2", "東京.1", "हिन्दी", "CONTROL", "COM10", "healthy"]
        {
            assert_eq!(UnitName::parse(name).map(|name| name.0).as_deref(), Ok(name));
        }
        assert_eq!(UnitName::parse("Gera\u{308}t").unwrap().0, "Ger\u{e4}t");
    }

    #[test]
    fn each_name_that_some_system_stumbles_over_has_its_own_reason() {
        type E = UnitNameError;
        assert_eq!(refusal(""), E::Empty);
        for name in ["CON", "nul.txt", "Com1", "LPT\u{b9}", "aux .old"] {
            assert!(matches!(refusal(name), E::Reserved { .. }), "{name}");
        }
        for name in ["-x", ".x", " x", "x ", "x."] {
            assert!(matches!(refusal(name), E::End { .. }), "{name}");
        }
        for name in ["../away", "a/b", "a\\b", "a\nb", "a\u{1b}b", "a:b", "a*", "a\u{202e}b", "a\u{a0}b"] {
            assert!(matches!(refusal(name), E::Character { .. }), "{name:?}");
        }
        assert!(matches!(refusal("a  b"), E::DoubledSpace { .. }));
        assert!(UnitName::parse(&"x".repeat(64)).is_ok());
        let long = refusal(&"x".repeat(300));
        assert!(matches!(long, E::TooLong { length: 300, .. }) && long.to_string().len() < 250, "{long}");
    }

    #[test]
    fn records_under_another_writing_are_found() {
        let records = tempfile::tempdir().unwrap();
        for folder in ["SN-0815", "Stra\u{df}e", "e\u{301}"] {
            std::fs::create_dir(records.path().join(folder)).unwrap();
        }
        let look = |name: &str| UnitName::parse(name).unwrap().folder_in(records.path());
        for (name, folder) in [("SN-0815", "SN-0815"), ("SN-0816", "SN-0816"), ("\u{e9}", "e\u{301}")] {
            assert_eq!(look(name), Ok(records.path().join(folder)));
        }
        for (name, there) in [("sn-0815", "SN-0815"), ("STRASSE", "Stra\u{df}e")] {
            let error = look(name).unwrap_err();
            assert!(
                matches!(&error, UnitNameError::WrittenOtherwise { existing, .. } if existing == there),
                "{error}"
            );
        }
    }

    proptest! {
        #[test]
        fn a_name_is_one_folder_and_reads_back(word in any::<String>()) {
            if let Ok(name) = UnitName::parse(&word) {
                let path = Path::new(&name.0);
                prop_assert_eq!(path.components().count(), 1);
                prop_assert_eq!(path.file_name().and_then(|n| n.to_str()), Some(&*name.0));
                prop_assert_eq!(UnitName::parse(&name.0), Ok(name));
            }
        }

        #[test]
        fn folding_twice_is_folding_once(word in any::<String>()) {
            prop_assert_eq!(folded(&folded(&word)), folded(&word));
        }
    }
}
