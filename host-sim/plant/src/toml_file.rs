//! Reads a TOML file into a typed structure, or says exactly where and why not.
//!
//! In: a path or text, and a type. Out: the value, or a [`TomlError`] that names file, line, field, the value
//! seen, what is allowed and what to do next.

use std::fmt;
use std::ops::Range;
use std::path::Path;

use serde::de::DeserializeOwned;
use toml::de::{DeTable, DeValue};

use crate::check::{BadParameter, MISSING};
use crate::files::{TOML_LIMIT, text_of};
use crate::shown::{brief, brief_message};

/// Most characters of where a file's numbers come from: a few lines of a report.
pub const MOST_ORIGIN: usize = 400;

const CORRECT: &str = "Correct this line and run again; nothing was started.";

/// A TOML text and where it came from.
#[derive(Debug, Clone)]
pub struct TomlFile {
    file: String,
    text: String,
}

/// What is wrong in a TOML file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TomlError {
    /// File, as given.
    pub file: Box<str>,
    /// Line, from 1; `None` when the whole file is meant.
    pub line: Option<usize>,
    /// Dotted path of the field; empty when no field is meant.
    pub field: Box<str>,
    /// What was seen, as written in the file; empty when nothing was.
    pub seen: Box<str>,
    /// What is wrong and what is allowed.
    pub allowed: Box<str>,
    /// What to do next.
    pub next: Box<str>,
}

impl fmt::Display for TomlError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.file)?;
        if let Some(line) = self.line {
            write!(f, ", line {line}")?;
        }
        match (self.field.is_empty(), self.seen.is_empty()) {
            (false, false) => write!(f, ": {} = {}", self.field, self.seen)?,
            (false, true) => write!(f, ": {}", self.field)?,
            (true, _) => {}
        }
        write!(f, ": {}. {}", self.allowed, self.next)
    }
}

impl std::error::Error for TomlError {}

impl TomlError {
    /// A file that gave no text, and why.
    #[must_use]
    pub fn unread(file: impl Into<String>, why: impl fmt::Display) -> Self {
        Self {
            file: file.into().into(),
            line: None,
            field: "".into(),
            seen: "".into(),
            allowed: why.to_string().into(),
            next: "A TOML file on disk is needed: UTF-8 text of at most 1 MiB.".into(),
        }
    }
}

impl TomlFile {
    /// Reads the file.
    ///
    /// # Errors
    /// When it is missing, unreadable or no UTF-8 text.
    pub fn read(path: &Path) -> Result<Self, TomlError> {
        let file = path.display().to_string();
        match text_of(path, TOML_LIMIT) {
            Ok(text) => Ok(Self { file, text }),
            Err(error) => Err(TomlError::unread(file, error)),
        }
    }

    /// Takes text that is already in memory; `file` is what error messages call it.
    #[must_use]
    pub fn from_text(file: &str, text: &str) -> Self {
        Self { file: file.to_owned(), text: text.to_owned() }
    }

    /// The file's name as given.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.file
    }

    /// The text.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Parses the text into `T`.
    ///
    /// # Errors
    /// On wrong TOML, a missing or unknown field, or a value of the wrong kind.
    pub fn parse<T: DeserializeOwned>(&self) -> Result<T, TomlError> {
        toml::from_str(&self.text).map_err(|error| self.explain(&error))
    }

    /// Parses the text into `T` and checks it.
    ///
    /// # Errors
    /// As [`Self::parse`], or what the check refuses.
    pub fn checked<T: DeserializeOwned>(
        &self,
        check: impl FnOnce(&T) -> Result<(), BadParameter>,
    ) -> Result<T, TomlError> {
        let value: T = self.parse()?;
        match check(&value) {
            Ok(()) => Ok(value),
            Err(bad) => {
                let is_missing = bad.value == MISSING;
                let allowed =
                    format!("{}allowed: {}", if is_missing { "missing; " } else { "" }, bad.allowed);
                let mut error = self.refuse(&bad.field, allowed, CORRECT);
                // Where the file leaves the field out, its table stands there and the value is a default.
                error.seen = if is_missing { "".into() } else { bad.value.into() };
                Err(error)
            }
        }
    }

    /// An error about the field at a dotted path: finds its line and what stands there.
    #[must_use]
    pub fn refuse(&self, field: &str, allowed: impl fmt::Display, next: &str) -> TomlError {
        let span = self.span_of(field);
        TomlError {
            file: self.file.as_str().into(),
            line: span.as_ref().map(|span| self.line_at(span.start)),
            field: brief(field).into(),
            seen: span.and_then(|span| self.text.get(span)).map(brief).unwrap_or_default().into(),
            allowed: allowed.to_string().into(),
            next: next.into(),
        }
    }

    /// Where a field stands, for a message about another one.
    #[must_use]
    pub fn lined(&self, field: &str) -> String {
        match self.span_of(field) {
            Some(span) => format!("(line {}, {field})", self.line_at(span.start)),
            None => format!("({field}, by default)"),
        }
    }

    /// Refuses words that would fill a page.
    ///
    /// # Errors
    /// Names the field, its length and what is allowed.
    pub fn short(&self, field: &str, words: &str, most: usize) -> Result<(), TomlError> {
        let length = words.chars().count();
        if length <= most {
            return Ok(());
        }
        let allowed = format!("{length} characters long; allowed: at most {most}");
        Err(self.refuse(field, allowed, "Shorten it and run again."))
    }

    fn explain(&self, error: &toml::de::Error) -> TomlError {
        let span = error.span();
        let field = span.as_ref().and_then(|span| self.field_at(span)).unwrap_or_default();
        let seen = span.as_ref().and_then(|s| self.text.get(s.clone())).map(brief).unwrap_or_default();
        TomlError {
            file: self.file.as_str().into(),
            line: span.map(|span| self.line_at(span.start)),
            // An unknown field points at its own name: no use in saying it twice.
            seen: if field.ends_with(&seen) { "".into() } else { seen.into() },
            field: brief(&field).into(),
            allowed: brief_message(error.message()).into(),
            next: CORRECT.into(),
        }
    }

    /// Line of a byte position, from 1.
    #[must_use]
    pub fn line_at(&self, offset: usize) -> usize {
        self.text.bytes().take(offset).filter(|&b| b == b'\n').count() + 1
    }

    /// Where the value at a path stands, dots between names and numbers in brackets; the nearest enclosing table or
    /// list where the field is absent.
    fn span_of(&self, field: &str) -> Option<Range<usize>> {
        let document = DeTable::parse(&self.text).ok()?;
        let mut parts = field.split(['.', '[', ']']).filter(|part| !part.is_empty());
        let mut here = document.get_ref().get(parts.next()?)?;
        for part in parts {
            let next = match here.get_ref() {
                DeValue::Table(table) => table.get(part),
                DeValue::Array(array) => part.parse().ok().and_then(|index: usize| array.get(index)),
                DeValue::String(_)
                | DeValue::Integer(_)
                | DeValue::Float(_)
                | DeValue::Boolean(_)
                | DeValue::Datetime(_) => None,
            };
            let Some(next) = next else { break };
            here = next;
        }
        Some(here.span())
    }

    /// Dotted path of the innermost field whose name or value covers `span`.
    fn field_at(&self, span: &Range<usize>) -> Option<String> {
        let document = DeTable::parse(&self.text).ok()?;
        field_covering(document.get_ref(), span)
    }
}

/// A table's own span is its header alone, so every table is looked into.
fn field_covering(table: &DeTable<'_>, span: &Range<usize>) -> Option<String> {
    let covers = |s: Range<usize>| s.start <= span.start && span.end <= s.end;
    table.iter().find_map(|(key, value)| {
        let name = key.get_ref();
        let inner =
            if let DeValue::Table(inner) = value.get_ref() { field_covering(inner, span) } else { None };
        let deeper = inner.map(|rest| format!("{name}.{rest}"));
        deeper.or_else(|| (covers(key.span()) || covers(value.span())).then(|| name.to_string()))
    })
}

#[cfg(test)]
mod tests;
