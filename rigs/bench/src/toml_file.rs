//! Reads a TOML file into a typed structure, or says exactly where and why not.
//!
//! In: a path or text, and a type. Out: the value, or a [`TomlError`] that names file, line, field, the value
//! seen, what is allowed and what to do next.

use std::fmt;
use std::ops::Range;
use std::path::Path;

use plant::files::{TOML_LIMIT, text_of};
use plant::shown::{brief, brief_message};
use serde::de::DeserializeOwned;
use toml::de::{DeTable, DeValue};

/// Most characters of where a file's numbers come from: a few lines of a report.
pub(crate) const MOST_ORIGIN: usize = 400;

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

impl TomlFile {
    /// Reads the file.
    ///
    /// # Errors
    /// When it is missing, unreadable or no UTF-8 text.
    pub fn read(path: &Path) -> Result<Self, TomlError> {
        let file = path.display().to_string();
        match text_of(path, TOML_LIMIT) {
            Ok(text) => Ok(Self { file, text }),
            Err(error) => Err(TomlError {
                file: file.into(),
                line: None,
                field: "".into(),
                seen: "".into(),
                allowed: error.to_string().into(),
                next: "A TOML file on disk is needed: UTF-8 text of at most 1 MiB.".into(),
            }),
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
            next: "Correct this line and run again; nothing was started.".into(),
        }
    }

    fn line_at(&self, offset: usize) -> usize {
        self.text.bytes().take(offset).filter(|&b| b == b'\n').count() + 1
    }

    /// Where the value at a dotted path stands; the nearest enclosing table when the field is absent.
    fn span_of(&self, field: &str) -> Option<Range<usize>> {
        let document = DeTable::parse(&self.text).ok()?;
        let mut table = document.get_ref();
        let mut found = None;
        for name in field.split('.') {
            let Some((_, value)) = table.iter().find(|(key, _)| key.get_ref() == name) else { break };
            found = Some(value.span());
            let DeValue::Table(inner) = value.get_ref() else { break };
            table = inner;
        }
        found
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
mod tests {
    use super::*;
    use serde::Deserialize;

    #[derive(Debug, Deserialize)]
    #[serde(deny_unknown_fields)]
    #[allow(dead_code, reason = "only its errors matter")]
    struct Outer {
        name: String,
        inner: Inner,
    }

    #[derive(Debug, Deserialize)]
    #[serde(deny_unknown_fields)]
    #[allow(dead_code, reason = "only its errors matter")]
    struct Inner {
        counts: i16,
    }

    fn error(text: &str) -> TomlError {
        TomlFile::from_text("unit.toml", text).parse::<Outer>().unwrap_err()
    }

    #[test]
    fn a_value_of_the_wrong_kind_names_file_line_field_and_value() {
        let error = error("name = \"a\"\n\n[inner]\ncounts = \"many\"\n");
        assert_eq!((error.line, &*error.field, &*error.seen), (Some(4), "inner.counts", "\"many\""));
        assert!(error.to_string().starts_with("unit.toml, line 4: inner.counts = \"many\": "), "{error}");
    }

    #[test]
    fn a_value_too_large_for_its_field_is_named() {
        let error = error("name = \"a\"\n[inner]\ncounts = 70000\n");
        assert_eq!((error.line, &*error.field, &*error.seen), (Some(3), "inner.counts", "70000"));
    }

    #[test]
    fn an_unknown_field_is_listed_with_what_is_known() {
        let error = error("name = \"a\"\n[inner]\ncount = 3\n");
        assert_eq!((error.line, &*error.field), (Some(3), "inner.count"));
        assert!(error.allowed.contains("`counts`"), "{error}");
    }

    #[test]
    fn broken_syntax_and_a_missing_field_point_at_their_line() {
        assert_eq!(error("name = \"a\"\n[inner\n").line, Some(2));
        let missing = error("name = \"a\"\n[inner]\n");
        assert!(missing.allowed.contains("counts"), "{missing}");
    }

    #[test]
    fn a_refused_value_is_found_by_its_path() {
        let file = TomlFile::from_text("unit.toml", "name = \"a\"\n[inner]\ncounts = 3\n");
        let error = file.refuse("inner.counts", "allowed 100 to 200", "Choose one inside.");
        assert_eq!(
            error.to_string(),
            "unit.toml, line 3: inner.counts = 3: allowed 100 to 200. Choose one inside."
        );
        assert_eq!(file.refuse("inner.span", "missing", "Add it.").line, Some(2));
    }
}
