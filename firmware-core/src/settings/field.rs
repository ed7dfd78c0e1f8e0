//! Which setting is meant: by number between two ends, by name for people.

use serde::{Deserialize, Serialize};

use super::section::{SECTIONS, path};
use crate::units::OutOfRange;

/// A field by its row in the table of a section.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SettingField {
    /// Number of the section; one past the last is the segment of a probe.
    pub section: u8,
    /// Row of the field, from 0.
    pub row: u8,
}

/// Numbers of a probe's segment in their order, as they are called.
const PROBE: [&str; 7] =
    ["volts", "volts_per_s", "cap", "counts_per_s", "second_cap", "until.ticks", "speed_by_way"];

impl SettingField {
    /// A number of a probe's segment.
    #[inline]
    pub(crate) const fn of_probe(row: u8) -> Self {
        Self { section: SECTIONS, row }
    }
}

impl core::fmt::Display for SettingField {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        let row = usize::from(self.row);
        let (section, fields) = if self.section == SECTIONS {
            ("probe", &PROBE[..])
        } else {
            path(self.section).unwrap_or(("unknown", &[]))
        };
        match fields.get(row) {
            Some(field) => write!(f, "{section}.{field}"),
            None => f.write_str(section),
        }
    }
}

/// A setting outside its range.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SettingError {
    /// Which it is.
    pub field: SettingField,
    /// What was given and what is allowed.
    pub range: OutOfRange,
}

impl core::fmt::Display for SettingError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        write!(f, "{} = {}: allowed {} to {}", self.field, self.range.value, self.range.min, self.range.max)
    }
}

impl core::error::Error for SettingError {}
