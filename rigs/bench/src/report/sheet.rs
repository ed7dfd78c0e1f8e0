//! The acceptance sheet: what the rig measured, and what a person measures with what.
//!
//! In: the person's readings from `sheet.toml` in the unit's folder, if there is one, and figures of the
//! rig. Out: rows for the report; what nobody has measured stays a blank line to write on. An unknown item,
//! or a reading without who and with what, is told and not taken.

use std::collections::BTreeMap;
use std::path::Path;

use serde::{Deserialize, Serialize};

use plant::toml_file::{TomlError, TomlFile};

/// The person's file in the unit's folder.
pub(crate) const SHEET_FILE: &str = "sheet.toml";

/// One item that a person measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Item {
    /// Key in `sheet.toml`.
    pub key: &'static str,
    /// What it is.
    pub name: &'static str,
    /// In what.
    pub unit: &'static str,
}

const fn item(key: &'static str, name: &'static str, unit: &'static str) -> Item {
    Item { key, name, unit }
}

/// What a person measures; common practice, no source.
pub(crate) const ITEMS: [Item; 14] = [
    item("winding_resistance", "winding resistance", "Ω"),
    item("insulation", "insulation, winding to housing", "MΩ"),
    item("idle_current", "idle current of the electronics", "mA"),
    item("supply_at_connector", "supply at the connector under load", "V"),
    item("sensor_volts_closed", "sensor at the closed stop", "V"),
    item("sensor_volts_open", "sensor at the open stop", "V"),
    item("lever_play", "lever play", "mm"),
    item("ring_hand_torque", "hand torque of the ring alone", "N m"),
    item("minimum_flow", "minimum-flow gauge or flow reading", "as gauge"),
    item("stroke_low_supply", "stroke time at low supply", "ms"),
    item("hot_repeat", "span after heat soak", "counts"),
    item("connector", "connector, seals and pins", "in words"),
    item("fault_feedback", "fault feedback line", "in words"),
    item("software_identity", "software identity on the label", "in words"),
];

/// An empty sheet that says how it is filled in.
#[must_use]
pub(crate) fn template() -> String {
    let head = "# Acceptance sheet: what a person measured on this unit. `vanebench report` prints it.\n# \
                Take the # off the five lines of an item and write between the quotes.\n# as_found: as the \
                unit came. as_left: as it leaves. by: who measured.\n# with: with what, and when that was \
                last calibrated.\n# A reading without by or with is left out; the report says so and \
                prints the rest.\n";
    ITEMS.iter().fold(head.to_owned(), |text, Item { key, name, unit }| {
        text + &format!(
            "\n# {name}, {unit}\n#[{key}]\n#as_found = \"\"\n#as_left = \"\"\n#by = \"\"\n#with = \"\"\n"
        )
    })
}

/// One reading by a person.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SheetReading {
    /// As the unit came.
    #[serde(default)]
    pub as_found: String,
    /// As the unit leaves.
    #[serde(default)]
    pub as_left: String,
    /// Who measured.
    #[serde(default)]
    pub by: String,
    /// With what, and when that was last calibrated.
    #[serde(default)]
    pub with: String,
}

/// A sheet ready to print.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ReportSheet {
    /// Items in order, with a reading where there is one.
    pub rows: Vec<(Item, Option<SheetReading>)>,
    /// Tables that were not taken, with why: a missing field costs its line, not the report.
    pub not_taken: Vec<String>,
}

impl ReportSheet {
    /// A sheet nobody has written on.
    #[must_use]
    pub fn blank() -> Self {
        Self { not_taken: Vec::new(), rows: ITEMS.into_iter().map(|item| (item, None)).collect() }
    }

    /// The sheet of a unit; blank when the unit's folder has no `sheet.toml`.
    ///
    /// # Errors
    /// As [`ReportSheet::read`].
    pub fn of_unit(dir: &Path) -> Result<Self, TomlError> {
        let path = dir.join(SHEET_FILE);
        if path.exists() { Self::read(&TomlFile::read(&path)?) } else { Ok(Self::blank()) }
    }

    /// Reads a sheet file: one table per item. An unknown item, or a reading without who or with what, is told and not
    /// taken.
    ///
    /// # Errors
    /// [`TomlError`] where the file is no such sheet at all.
    pub fn read(file: &TomlFile) -> Result<Self, TomlError> {
        let mut readings: BTreeMap<String, SheetReading> = file.parse()?;
        let mut sheet = Self::default();
        for item in ITEMS {
            let reading = readings.remove(item.key);
            let missing = reading.as_ref().and_then(SheetReading::missing);
            if let Some(missing) = missing {
                let why = format!("`{missing}` is missing: who measured, and with what, belong to a reading");
                sheet.not_taken.push(file.refuse(item.key, why, "Add it.").to_string());
            }
            sheet.rows.push((item, reading.filter(|_| missing.is_none())));
        }
        let known = ITEMS.map(|item| item.key).join(", ");
        sheet.not_taken.extend(readings.keys().map(|unknown| {
            let why = format!("no such item; known: {known}");
            file.refuse(unknown, why, "Rename the table or remove it.").to_string()
        }));
        Ok(sheet)
    }
}

impl SheetReading {
    /// The field without which nobody can check it.
    fn missing(&self) -> Option<&'static str> {
        [("by", &self.by), ("with", &self.with)]
            .into_iter()
            .find(|(_, text)| text.is_empty())
            .map(|(name, _)| name)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_template_is_a_blank_sheet_and_takes_every_item() {
        let read = |text: &str| ReportSheet::read(&TomlFile::from_text(SHEET_FILE, text)).unwrap();
        assert_eq!(read(&template()), ReportSheet::blank());
        let filled = template().replace("\n#[", "\n[").replace("\n#", "\n").replace("\"\"", "\"x\"");
        let lines = filled.lines().filter(|line| line.starts_with('[') || line.ends_with("\"x\""));
        let sheet = read(&lines.collect::<Vec<_>>().join("\n"));
        assert!(sheet.not_taken.is_empty() && sheet.rows.iter().all(|(_, reading)| reading.is_some()));
    }

    #[test]
    fn a_reading_needs_who_and_with_what() {
        let read = |text: &str| ReportSheet::read(&TomlFile::from_text("sheet.toml", text));
        let whole = "[lever_play]\nas_found = \"0.4\"\nby = \"J. D.\"\nwith = \"dial gauge 3, 2026-02\"\n";
        let sheet = read(whole).unwrap();
        assert_eq!(sheet.rows.iter().filter(|(_, reading)| reading.is_some()).count(), 1);
        let told = |text: &str| {
            let sheet = read(text).unwrap();
            assert!(sheet.rows.iter().all(|(_, reading)| reading.is_none()));
            sheet.not_taken.join("; ")
        };
        let nobody = told("[lever_play]\nas_found = \"0.4\"\nwith = \"dial gauge 3\"\n");
        assert!(nobody.contains("line 1") && nobody.contains("`by` is missing"), "{nobody}");
        let unknown = told("[lever_paly]\nby = \"\"\nwith = \"\"\n");
        assert!(unknown.contains("lever_play") && unknown.contains("line 1"), "{unknown}");
    }
}
