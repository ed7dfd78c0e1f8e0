//! A short text that a person gives on the command line: a serial number, a name.
//!
//! In: any text. Out: one line that is safe on a terminal and in a file. Refused: empty and long texts, control
//! characters, anything that is neither letter, digit, space nor plain punctuation.

use std::fmt;
use std::str::FromStr;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Most characters: a name plate holds no more in one line (common practice, no source).
const LONGEST: usize = 40;

/// One line of at most 40 characters.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct ShortText(String);

/// Why a text was refused.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BadText {
    /// Nothing but spaces.
    #[error("is empty. Allowed: 1 to {LONGEST} characters")]
    Empty,
    /// Too long.
    #[error("has {seen} characters. Allowed: 1 to {LONGEST}")]
    Long {
        /// Characters given.
        seen: usize,
    },
    /// A character that is not allowed.
    #[error("holds {}. Allowed: letters, digits, spaces and plain punctuation", .0.escape_default())]
    Character(char),
}

impl ShortText {
    /// The text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// True for the same text, capitals aside: `sn-7` and `SN-7` are one plate read twice.
    #[must_use]
    pub fn is_same(&self, other: &Self) -> bool {
        self.key() == other.key()
    }

    /// The form in which two texts are compared.
    #[must_use]
    pub fn key(&self) -> String {
        self.0.to_lowercase()
    }
}

impl FromStr for ShortText {
    type Err = BadText;

    fn from_str(given: &str) -> Result<Self, BadText> {
        let text = given.trim_matches(' ');
        let is_allowed = |c: char| c.is_alphanumeric() || c == ' ' || c.is_ascii_punctuation();
        if text.is_empty() {
            return Err(BadText::Empty);
        }
        if let Some(other) = text.chars().find(|c| !is_allowed(*c)) {
            return Err(BadText::Character(other));
        }
        let seen = text.chars().count();
        if seen > LONGEST { Err(BadText::Long { seen }) } else { Ok(Self(text.to_owned())) }
    }
}

impl TryFrom<String> for ShortText {
    type Error = BadText;

    fn try_from(given: String) -> Result<Self, BadText> {
        given.parse()
    }
}

impl From<ShortText> for String {
    fn from(text: ShortText) -> Self {
        text.0
    }
}

impl fmt::Display for ShortText {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn serial_numbers_and_names_are_taken_as_they_are_written() {
        for text in ["SN-0815/B", "Gerät 7", "J. Müller", "0"] {
            assert_eq!(text.parse::<ShortText>().map(String::from), Ok(text.to_owned()));
        }
        assert!("sn-7".parse::<ShortText>().unwrap().is_same(&" SN-7 ".parse().unwrap()));
    }

    #[test]
    fn what_would_spoil_a_terminal_or_a_file_is_refused_by_its_own_name() {
        assert_eq!("   ".parse::<ShortText>(), Err(BadText::Empty));
        assert_eq!("x".repeat(41).parse::<ShortText>(), Err(BadText::Long { seen: 41 }));
        for bad in ['\u{1b}', '\n', '\u{202e}', '\u{0}'] {
            assert_eq!(format!("a{bad}b").parse::<ShortText>(), Err(BadText::Character(bad)));
        }
        let said = BadText::Character('\u{1b}').to_string();
        assert!(!said.contains('\u{1b}') && said.contains("1b"), "{said}");
    }

    proptest! {
        #[test]
        fn any_text_is_refused_or_comes_back_the_same(text in any::<String>()) {
            if let Ok(taken) = text.parse::<ShortText>() {
                prop_assert_eq!(taken.as_str().parse::<ShortText>(), Ok(taken.clone()));
                prop_assert!(taken.as_str().chars().all(|c| !c.is_control()));
            }
        }
    }
}
