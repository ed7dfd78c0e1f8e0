//! What a person confirmed of a learn after the fact, without moving the unit.
//!
//! In: `confirmed.toml` beside a unit's runs. Out: the confirmations of one learn: each names unit, run and the checksum
//! of that run's record, so that it speaks of no other learn. One that was changed since it was written is refused.

use std::fmt;
use std::path::Path;
use std::time::{SystemTime, UNIX_EPOCH};

use firmware_core::learn::{Check, CheckSet};
use plant::files::write_whole;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::info::minute;
use super::log::{self, Entry};
use super::writer::CRC;
use super::{CONFIRMED_FILE, RecordError, Run, RunFile, RunName, Sha256Hex};
use crate::caution::HANDED_OVER;
use crate::checks::check_word;
use crate::figures::GaugedIn;
use crate::output::MADE_BY;
use crate::short_text::ShortText;
use plant::toml_file::{TomlError, TomlFile};

/// A gauged minimum flow or throat.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Gauged {
    /// The reading.
    pub value: f64,
    /// In what.
    pub unit: GaugedIn,
    /// Either way.
    pub tolerance: f64,
}

/// One confirmation.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Confirmation {
    /// The unit.
    pub unit: String,
    /// Its learn.
    pub run: String,
    /// Checksum of that learn's record.
    pub record_crc32: u32,
    /// What was confirmed.
    pub checked: Vec<Check>,
    /// Who did it.
    pub by: ShortText,
    /// With what.
    pub with: ShortText,
    /// When, to the minute, UTC.
    pub on: String,
    /// The reading of the minimum-flow stop, where one was taken.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gauged: Option<Gauged>,
    /// CRC-32 of all of the above.
    pub crc32: u32,
}

#[derive(Debug, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct ConfirmedFile {
    #[serde(default)]
    confirmed: Vec<Confirmation>,
}

impl Confirmation {
    /// Of a closed learn, now; nothing where the learn was never closed.
    #[must_use]
    pub fn now(
        run: &Run,
        checked: CheckSet,
        by: ShortText,
        with: ShortText,
        gauged: Option<Gauged>,
    ) -> Option<Self> {
        let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
        let mut new = Self {
            unit: run.file.run.unit.clone(),
            run: run.name.to_string(),
            record_crc32: run.file.sums.as_ref()?.record_crc32,
            checked: checked.iter().collect(),
            by,
            with,
            on: minute(since.as_secs() as i64).unwrap_or_default(),
            gauged,
            crc32: 0,
        };
        new.crc32 = new.sum();
        Some(new)
    }

    /// Writes it behind those that are there, its line in the unit's log first.
    ///
    /// # Errors
    /// When those cannot be read, or the disk refuses.
    pub fn keep(&self, unit_dir: &Path) -> Result<(), RecordError> {
        let mut file = read(unit_dir)?;
        file.confirmed.push(self.clone());
        let path = unit_dir.join(CONFIRMED_FILE);
        let body = toml::to_string(&file).map_err(|error| RecordError::Io {
            path: path.clone(),
            what: "could not be written",
            source: std::io::Error::other(error),
        })?;
        let head = format!(
            "# Confirmations of learns, {MADE_BY}. If a line is changed, the learn becomes unusable.\n# \
             {HANDED_OVER}\n\n"
        );
        let text = head + &body;
        let entry = Entry::Confirmed { run: self.run.clone(), file: Sha256Hex::of(text.as_bytes()) };
        log::append(unit_dir, &self.unit, entry)?;
        Ok(write_whole(&path, text.as_bytes())?)
    }

    /// The checks as a set.
    #[must_use]
    pub fn checks(&self) -> CheckSet {
        self.checked.iter().fold(CheckSet::NONE, |all, check| all.with(*check))
    }

    fn sum(&self) -> u32 {
        let text = toml::to_string(&Self { crc32: 0, ..self.clone() }).unwrap_or_default();
        CRC.checksum(text.as_bytes())
    }
}

impl fmt::Display for Confirmation {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let words: Vec<_> = self.checked.iter().copied().map(check_word).collect();
        write!(f, "{} of {}, by {}, with: {}, {}", words.join(", "), self.run, self.by, self.with, self.on)?;
        match self.gauged {
            Some(Gauged { value, unit, tolerance }) => write!(f, ": {value} ± {tolerance} {}", unit.unit()),
            None => Ok(()),
        }
    }
}

/// Those of a unit's confirmations that speak of this learn; nothing where it was never closed.
pub(super) fn of_learn(all: &[Confirmation], name: RunName, file: &RunFile) -> Vec<Confirmation> {
    let Some(sums) = &file.sums else { return Vec::new() };
    let name = name.to_string();
    let speaks_of_it = |one: &&Confirmation| {
        one.run == name && one.unit == file.run.unit && one.record_crc32 == sums.record_crc32
    };
    all.iter().filter(speaks_of_it).cloned().collect()
}

/// All of a unit's confirmations, oldest first.
pub(super) fn all(unit_dir: &Path) -> Result<Vec<Confirmation>, TomlError> {
    Ok(read(unit_dir)?.confirmed)
}

fn read(unit_dir: &Path) -> Result<ConfirmedFile, TomlError> {
    let path = unit_dir.join(CONFIRMED_FILE);
    if !path.exists() {
        return Ok(ConfirmedFile::default());
    }
    let text = TomlFile::read(&path)?;
    let file: ConfirmedFile = text.parse()?;
    match file.confirmed.iter().find(|one| one.sum() != one.crc32) {
        None => Ok(file),
        Some(changed) => {
            let allowed = format!("the confirmation of {} was changed since it was written", changed.run);
            Err(text.refuse(
                "confirmed",
                allowed,
                "Restore the file from a copy, or move it away and confirm again.",
            ))
        }
    }
}
