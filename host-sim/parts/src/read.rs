//! Reads a parts sheet from TOML.
//!
//! In: the file's text. Out: a [`PartsSheet`]. Refuses, all at once and each with its line: unknown keys,
//! missing values that no rule estimates, wrong or doubled units, inches for millimetres and the reverse,
//! counts of zero, and everything the checks in `check.rs` know about impossible turbos.

mod words;

use std::collections::BTreeMap;
use std::path::Path;

use serde::Deserialize;
use serde_spanned::Spanned;
use toml::Value;

use super::check;
use super::entry::{self, Measured};
use super::field::Field;
use super::indexing::RawIndexing;
use super::pendulum_sheet;
use super::problem::{Problem, SheetError, SheetFinding};
use super::quantity::{Quantity, ToleranceOrigin, ValueOrigin};
use super::sheet::{Material, PartsSheet};
use super::specs::{FieldSpec, Missing, SPECS};
use super::wheels;
use plant::files::{self, TOML_LIMIT};
use plant::shown::{MOST_SHOWN, brief, brief_message};

/// Most characters of the remark: a few lines of a report.
const MOST_NOTE: usize = 400;

/// Keys of a teardown that are words, not quantities.
const TEARDOWN_WORDS: [&str; 5] = ["ring_held_by", "ring_held_to", "rotor_behaviour", "wear", "photos"];

type Entries = BTreeMap<String, Spanned<Value>>;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawSheet {
    name: String,
    #[serde(default)]
    note: String,
    #[serde(default)]
    measured: Measured,
    nozzle: Entries,
    compressor: Entries,
    turbine: Entries,
    #[serde(default)]
    rotor: Entries,
    #[serde(default)]
    housing: Entries,
    #[serde(default)]
    actuator: Entries,
    #[serde(default)]
    indexing: RawIndexing,
    #[serde(default)]
    teardown: Entries,
    #[serde(default)]
    instruments: BTreeMap<String, Spanned<f64>>,
}

impl PartsSheet {
    /// Reads and checks a file.
    ///
    /// # Errors
    /// Everything wrong with it, each with line, field and advice.
    pub fn read(path: &Path) -> Result<Self, SheetError> {
        let file = path.display().to_string();
        match files::text_of(path, TOML_LIMIT) {
            Ok(text) => Self::parse(&file, &text),
            Err(error) => {
                let problem = Problem::Unreadable { reason: error.to_string() };
                let finding = SheetFinding { line: None, field: "sheet".into(), problem };
                Err(SheetError { file, findings: vec![finding] })
            }
        }
    }

    /// Reads and checks a sheet's text; `file` is only named in messages.
    ///
    /// # Errors
    /// As [`Self::read`].
    pub fn parse(file: &str, text: &str) -> Result<Self, SheetError> {
        let refuse = |mut findings: Vec<SheetFinding>| {
            findings.sort_by_key(|finding| finding.line.unwrap_or(usize::MAX));
            SheetError { file: file.to_owned(), findings }
        };
        let raw: RawSheet = toml::from_str(text).map_err(|error| {
            let line = error.span().map(|span| line_of(text, span.start));
            let written = line.and_then(|line| text.lines().nth(line - 1)).map(brief).unwrap_or_default();
            let problem = Problem::Syntax { reason: said(error.message(), &written) };
            refuse(vec![SheetFinding { line, field: "sheet".into(), problem }])
        })?;
        let mut reader = Reader { text, measured: raw.measured.clone(), findings: Vec::new() };
        let (sheet, sections) = reader.sheet(raw);
        match sheet {
            Some(mut sheet) if reader.findings.is_empty() => {
                pendulum_sheet::add_inertia(&mut sheet);
                estimate_inertia(&mut sheet);
                let findings = check::check(&sheet, &|field| {
                    let spec = field.spec();
                    sections.get(spec.section)?.get(spec.key).map(|e| line_of(text, e.span().start))
                });
                if findings.is_empty() { Ok(sheet) } else { Err(refuse(findings)) }
            }
            _ => Err(refuse(reader.findings)),
        }
    }
}

/// What the parser said, and of which words.
fn said(message: &str, written: &str) -> String {
    let message = brief_message(message);
    if written.is_empty() { message } else { format!("{message}, where it says `{written}`") }
}

/// Line of a byte position, from 1.
fn line_of(text: &str, at: usize) -> usize {
    text.bytes().take(at).filter(|&byte| byte == b'\n').count() + 1
}

type Sections = BTreeMap<&'static str, Entries>;

struct Reader<'a> {
    text: &'a str,
    measured: Measured,
    findings: Vec<SheetFinding>,
}

impl Reader<'_> {
    fn report(&mut self, entry: Option<&Spanned<Value>>, field: impl Into<String>, problem: Problem) {
        let line = entry.map(|entry| line_of(self.text, entry.span().start));
        self.findings.push(SheetFinding { line, field: field.into(), problem });
    }

    fn sheet(&mut self, raw: RawSheet) -> (Option<PartsSheet>, Sections) {
        let sections: Sections = BTreeMap::from([
            ("nozzle", raw.nozzle),
            ("compressor", raw.compressor),
            ("turbine", raw.turbine),
            ("rotor", raw.rotor),
            ("housing", raw.housing),
            ("actuator", raw.actuator),
            ("teardown", raw.teardown),
        ]);
        if self.kind(&sections).is_none() {
            return (None, sections);
        }
        self.unknown_keys(&sections);
        let quantities = self.quantities(&sections);
        let vanes = self.count(&sections, ("nozzle", "vanes"), None);
        let compressor_blades =
            self.count(&sections, ("compressor", "blades"), Some((12, "12 with splitters")));
        let turbine_blades = self.count(&sections, ("turbine", "blades"), Some((10, "10")));
        let compressor_material = self.material(&sections, "compressor", Material::Aluminium);
        let turbine_material = self.material(&sections, "turbine", Material::Nickel);
        let indexing = self.indexing(raw.indexing);
        let instruments = self.instruments(raw.instruments);
        let teardown = self.teardown(&sections, vanes.as_ref().map_or(0, |count| count.value));
        let name = self.words("name", raw.name, MOST_SHOWN);
        let note = self.words("note", raw.note, MOST_NOTE);
        let measured_on = self.words("measured.on", raw.measured.on, MOST_SHOWN);
        let sheet = (|| {
            Some(PartsSheet {
                name,
                measured_on,
                note,
                vanes: vanes?.value,
                compressor_blades: compressor_blades?,
                turbine_blades: turbine_blades?,
                compressor_material: compressor_material?,
                turbine_material: turbine_material?,
                indexing,
                instruments,
                teardown,
                map: None,
                quantities,
            })
        })();
        (sheet, sections)
    }

    fn kind(&mut self, sections: &Sections) -> Option<()> {
        let kind = sections["nozzle"].get("kind");
        let problem = match kind.map(|entry| entry.get_ref().as_str()) {
            Some(Some("pivoting-vanes")) => return Some(()),
            Some(Some("sliding-nozzle")) => Problem::SlidingNozzle,
            Some(Some(other)) => Problem::UnknownNozzle { kind: brief(other) },
            Some(None) => Problem::NotAQuantity { example: "kind = \"pivoting-vanes\"".into() },
            None => Problem::Missing { example: "kind = \"pivoting-vanes\"".into() },
        };
        self.report(kind, "nozzle.kind", problem);
        None
    }

    fn unknown_keys(&mut self, sections: &Sections) {
        for (&section, entries) in sections {
            let mut allowed: Vec<&str> =
                SPECS.iter().filter(|spec| spec.section == section).map(|spec| spec.key).collect();
            allowed.extend(match section {
                "nozzle" => &["kind", "vanes"][..],
                "compressor" | "turbine" => &["blades", "material"][..],
                "teardown" => &TEARDOWN_WORDS[..],
                _ => &[],
            });
            for (key, entry) in entries.iter().filter(|(key, _)| !allowed.contains(&key.as_str())) {
                let problem = Problem::UnknownKey { allowed: allowed.join(", ") };
                self.report(Some(entry), format!("{section}.{}", brief(key)), problem);
            }
        }
    }

    fn quantities(&mut self, sections: &Sections) -> BTreeMap<Field, Quantity> {
        let mut known = BTreeMap::new();
        let vanes = sections["nozzle"].get("vanes").and_then(|entry| entry.get_ref().as_integer());
        let throats = [Field::ThroatClosed, Field::ThroatOpen];
        let places = |spec: &FieldSpec| {
            vanes.filter(|_| throats.contains(&spec.field)).and_then(|count| u32::try_from(count).ok())
        };
        for spec in SPECS {
            let entry = sections[spec.section].get(spec.key);
            let read = match entry {
                Some(entry) => entry::quantity(spec, entry.get_ref(), &self.measured, places(spec)).map(Some),
                None => estimate(spec, &known),
            };
            match read {
                Ok(Some(quantity)) => drop(known.insert(spec.field, quantity)),
                Ok(None) => {}
                Err(problem) => self.report(entry, spec.field.path(), problem),
            }
        }
        known
    }
}

/// Only the whole sheet tells the inertia: wheels, blades and materials.
fn estimate_inertia(sheet: &mut PartsSheet) {
    let value = wheels::estimated_inertia_kg_m2(sheet);
    sheet.quantities.entry(Field::RotorInertia).or_insert_with(|| Quantity {
        value,
        tolerance: wheels::INERTIA_ESTIMATE_SHARE * value,
        tolerance_origin: ToleranceOrigin::Estimated,
        origin: ValueOrigin::Estimated { rule: wheels::INERTIA_RULE.to_owned() },
        readings: Vec::new(),
    });
}

/// The quantity of a value that is not on the sheet.
fn estimate(spec: &FieldSpec, known: &BTreeMap<Field, Quantity>) -> Result<Option<Quantity>, Problem> {
    match spec.missing {
        Missing::Refused => Err(Problem::Missing { example: entry::example(spec) }),
        Missing::LeftOut => Ok(None),
        Missing::Estimated(rule) => {
            let (value, tolerance) = (rule.value)(known);
            // What the rule needs is missing itself, and reported there.
            Ok(value.is_finite().then(|| Quantity {
                value,
                tolerance,
                tolerance_origin: ToleranceOrigin::Estimated,
                origin: ValueOrigin::Estimated { rule: rule.words.to_owned() },
                readings: Vec::new(),
            }))
        }
    }
}
