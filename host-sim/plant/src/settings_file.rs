//! Reads a checked structure from TOML, with errors that a technician can act on.
//!
//! In: text, the file's name, a check. Out: the structure, or one error naming file, line, field, value
//! and what is allowed.

use serde::de::DeserializeOwned;
use toml::de::{DeTable, DeValue};

use crate::check::BadParameter;
use crate::files::{self, TOML_LIMIT};
use crate::shown::brief_message;

/// Why a file was refused.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum FileError {
    /// Not TOML, an unknown field, or a value of the wrong kind.
    #[error("{file}, line {line}: {message}")]
    Shape {
        /// File name as given.
        file: String,
        /// Line, from 1.
        line: usize,
        /// What the parser says.
        message: String,
    },
    /// A value out of range.
    #[error("{file}, line {line}: {bad}")]
    Value {
        /// File name as given.
        file: String,
        /// Line of the field, or of the nearest table that stands in the file.
        line: usize,
        /// Field, value, what is allowed.
        bad: BadParameter,
    },
    /// The file cannot be read.
    #[error("{file}: {reason}")]
    Unreadable {
        /// File name as given.
        file: String,
        /// Why not.
        reason: String,
    },
}

/// Reads `T` from TOML text and checks it.
///
/// # Errors
/// [`FileError::Shape`] or [`FileError::Value`].
pub fn read<T: DeserializeOwned>(
    text: &str,
    file: &str,
    check: impl FnOnce(&T) -> Result<(), BadParameter>,
) -> Result<T, FileError> {
    let value: T = toml::from_str(text).map_err(|error| FileError::Shape {
        file: file.to_owned(),
        line: error.span().map_or(1, |span| line_at(text, span.start)),
        message: brief_message(error.message()),
    })?;
    match check(&value) {
        Ok(()) => Ok(value),
        Err(bad) => Err(FileError::Value { file: file.to_owned(), line: line_of(text, &bad.field), bad }),
    }
}

/// Reads the text of a file.
///
/// # Errors
/// [`FileError::Unreadable`].
pub fn text_of(path: &std::path::Path) -> Result<String, FileError> {
    files::text_of(path, TOML_LIMIT).map_err(|error| FileError::Unreadable {
        file: path.display().to_string(),
        reason: error.to_string(),
    })
}

fn line_at(text: &str, offset: usize) -> usize {
    1 + text.bytes().take(offset).filter(|byte| *byte == b'\n').count()
}

/// Line of a dotted field path; where the file leaves the field out, line of the table it belongs to.
fn line_of(text: &str, path: &str) -> usize {
    let Ok(root) = DeTable::parse(text) else { return 1 };
    let mut line = 1;
    let mut here = DeValue::Table(root.into_inner());
    for part in path.split(['.', '[', ']']).filter(|part| !part.is_empty()) {
        let next = match here {
            DeValue::Table(table) => {
                table.into_iter().find(|(key, _)| key.get_ref() == part).map(|(key, value)| {
                    line = line_at(text, key.span().start);
                    value.into_inner()
                })
            }
            DeValue::Array(array) => {
                part.parse::<usize>().ok().and_then(|index| array.into_iter().nth(index)).map(|value| {
                    line = line_at(text, value.span().start);
                    value.into_inner()
                })
            }
            DeValue::String(_)
            | DeValue::Integer(_)
            | DeValue::Float(_)
            | DeValue::Boolean(_)
            | DeValue::Datetime(_) => None,
        };
        let Some(next) = next else { return line };
        here = next;
    }
    line
}

#[cfg(test)]
mod tests {
    use crate::world::WorldConfig;

    fn refusal(text: &str) -> String {
        WorldConfig::from_toml(text, "unit.toml").unwrap_err().to_string()
    }

    #[test]
    fn a_negative_mass_is_refused_with_its_line_and_what_is_allowed() {
        let text = "altitude_m = 0.0\n[actuator.ring]\ninertia_kg_m2 = -2.5e-4\n";
        let expected = "unit.toml, line 3: `actuator.ring.inertia_kg_m2` is -0.00025; \
                        allowed: a finite number above 0";
        assert_eq!(refusal(text), expected);
    }

    #[test]
    fn an_unknown_field_is_refused_with_its_line() {
        let message = refusal("[actuator.motor]\nresistence_ohm = 1.0\n");
        assert!(message.starts_with("unit.toml, line 2: unknown field `resistence_ohm`"), "{message}");
    }

    #[test]
    fn a_nozzle_that_closes_past_zero_is_refused() {
        let message = refusal("[engine.air]\nnozzle_min_m2 = -1e-5\n");
        assert!(message.contains("line 2: `engine.air.nozzle_min_m2` is -0.00001"), "{message}");
    }

    #[test]
    fn a_fault_in_a_list_is_found_by_its_line() {
        let text =
            "[[faults]]\nat_s = 1.0\nwhat = \"rod-off\"\n[[faults]]\nat_s = -1.0\nwhat = \"rod-off\"\n";
        assert!(refusal(text).starts_with("unit.toml, line 5: `faults[1].at_s` is -1"), "{}", refusal(text));
    }

    #[test]
    fn every_kind_of_fault_survives_toml() {
        let text = "[[faults]]\nwhat = { ring-stop = [\"high\", { loose = { play_rad = 0.01, drift_rad = 0.0 } }] }\n\
                    [[faults]]\nwhat = { position-sensor = { channel = { offset = 200.0 } } }\n";
        let config = WorldConfig::from_toml(text, "unit.toml").unwrap();
        assert_eq!(config.faults.len(), 2);
        let again = toml::to_string(&config).unwrap();
        assert_eq!(WorldConfig::from_toml(&again, "again.toml").unwrap(), config);
    }
}
