//! What of a sheet is no quantity: counts, materials, indexing, instruments, the words of a teardown.

use std::collections::BTreeMap;

use serde_spanned::Spanned;
use toml::Value;

use super::{Reader, Sections, TEARDOWN_WORDS, line_of, said};
use crate::entry;
use crate::indexing::{self, RawIndexing};
use crate::problem::{Problem, SheetFinding};
use crate::quantity::ValueOrigin;
use crate::sheet::{Count, Indexing, Material, WheelMaterial};
use crate::teardown::Teardown;
use plant::shown::brief;

/// Vane and blade counts that a turbo may have; the lower end makes a ring, the upper catches typing errors.
const COUNTS: (u32, u32) = (3, 60);

impl Reader<'_> {
    pub(super) fn count(
        &mut self,
        sections: &Sections,
        (section, key): (&str, &str),
        estimate: Option<(u32, &str)>,
    ) -> Option<Count> {
        let entry = sections[section].get(key);
        let (min, max) = COUNTS;
        let problem = match (entry.map(Spanned::get_ref), estimate) {
            (None, Some((value, rule))) => {
                return Some(Count { value, origin: ValueOrigin::Estimated { rule: rule.to_owned() } });
            }
            (None, None) => Problem::Missing { example: format!("{key} = 11") },
            (Some(Value::Integer(count)), _) => match u32::try_from(*count) {
                Ok(value) if (min..=max).contains(&value) => {
                    let by = self.measured.by.clone().unwrap_or_else(|| "unnamed".into());
                    return Some(Count { value, origin: ValueOrigin::Measured { by, with: "count".into() } });
                }
                _ => Problem::Count { count: *count, min, max },
            },
            (Some(_), _) => Problem::NotAQuantity { example: format!("{key} = 11") },
        };
        self.report(entry, format!("{section}.{key}"), problem);
        None
    }

    pub(super) fn material(
        &mut self,
        sections: &Sections,
        section: &str,
        usual: Material,
    ) -> Option<WheelMaterial> {
        let entry = sections[section].get("material");
        let Some(value) = entry.map(Spanned::get_ref) else {
            let rule = "the usual alloy for this wheel".to_owned();
            return Some(WheelMaterial { material: usual, origin: ValueOrigin::Estimated { rule } });
        };
        let name = value.as_str().unwrap_or_default();
        if let Some((_, material)) = Material::NAMED.iter().find(|(named, _)| *named == name) {
            let by = self.measured.by.clone().unwrap_or_else(|| "unnamed".into());
            let origin = ValueOrigin::Measured { by, with: "inspection".into() };
            return Some(WheelMaterial { material: *material, origin });
        }
        let allowed = Material::NAMED.map(|(named, _)| named).join(", ");
        let problem = Problem::UnknownMaterial { material: brief(name), allowed };
        self.report(entry, format!("{section}.material"), problem);
        None
    }

    pub(super) fn indexing(&mut self, raw: RawIndexing) -> Indexing {
        indexing::read(raw, &|at| line_of(self.text, at)).unwrap_or_else(|findings| {
            self.findings.extend(findings);
            Indexing::default()
        })
    }

    /// Correlations by instrument, each 0 to 1.
    pub(super) fn instruments(&mut self, raw: BTreeMap<String, Spanned<f64>>) -> BTreeMap<String, f64> {
        for (name, correlation) in &raw {
            let value = *correlation.get_ref();
            if !(0.0..=1.0).contains(&value) {
                let problem = Problem::OutOfRange { value, unit: "(correlation)", min: 0.0, max: 1.0 };
                let line = Some(line_of(self.text, correlation.span().start));
                let field = format!("instruments.{:?}", brief(name));
                self.findings.push(SheetFinding { line, field, problem });
            }
        }
        raw.into_iter().map(|(name, correlation)| (name, correlation.into_inner())).collect()
    }

    /// The words of a teardown; its measured values are quantities like any other.
    pub(super) fn teardown(&mut self, sections: &Sections, vanes: u32) -> Teardown {
        let entries = &sections["teardown"];
        let words: toml::Table = entries
            .iter()
            .filter(|(key, _)| TEARDOWN_WORDS.contains(&key.as_str()))
            .map(|(key, entry)| (key.clone(), entry.get_ref().clone()))
            .collect();
        for (key, value) in &words {
            let alone = toml::Table::from_iter([(key.clone(), value.clone())]);
            if let Err(error) = Value::Table(alone).try_into::<Teardown>() {
                let reason = said(error.message(), &brief(&format!("{key} = {value}")));
                self.report(entries.get(key), format!("teardown.{key}"), Problem::Syntax { reason });
            }
        }
        let teardown = Value::Table(words).try_into::<Teardown>().unwrap_or_default();
        for (field, problem) in teardown.problems(vanes) {
            let at = field.rsplit('.').next().and_then(|key| entries.get(key));
            self.report(at, field, problem);
        }
        teardown
    }

    /// Name and remarks of the sheet itself.
    pub(super) fn words(&mut self, field: &str, text: String, most: usize) -> String {
        entry::words(text, most).unwrap_or_else(|problem| {
            self.report(None, field, problem);
            String::new()
        })
    }
}
