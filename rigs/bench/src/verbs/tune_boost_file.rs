//! The controller file of `tune boost`: the settings that change and no other, each with its old value.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use firmware_core::settings::{LawName, Settings};
use serde_json::Value;

use crate::caution::HANDED_OVER;
use crate::document::TunedSetting;
use crate::exit::Failure;
use crate::output::MADE_BY;

/// Every setting that differs, table by table.
///
/// # Errors
/// None in a sound build: settings can be written as JSON.
pub(super) fn changed(old: &Settings, new: &Settings) -> Result<Vec<TunedSetting>, Failure> {
    let value = |settings: &Settings| serde_json::to_value(settings).map_err(Failure::undetermined);
    let mut found = Vec::new();
    differences(&mut found, "", &value(old)?, &value(new)?);
    Ok(found)
}

fn differences(found: &mut Vec<TunedSetting>, table: &str, old: &Value, new: &Value) {
    let (Value::Object(old), Value::Object(new)) = (old, new) else { return };
    for ((field, old), new) in old.iter().zip(new.values()) {
        if old.is_object() {
            let inner = if table.is_empty() { field.clone() } else { format!("{table}.{field}") };
            differences(found, &inner, old, new);
        } else if old != new {
            let (table, field) = (table.to_owned(), field.clone());
            found.push(TunedSetting { table, field, old: old.clone(), new: new.clone() });
        }
    }
}

/// A value as TOML has it; numbers as the controller holds them, so that they read back to the bit.
pub(super) fn toml_of(value: &Value) -> String {
    match value {
        Value::Array(values) => format!("[{}]", values.iter().map(toml_of).collect::<Vec<_>>().join(", ")),
        Value::Number(number) => {
            number.as_f64().map_or_else(String::new, |number| format!("{:?}", number as f32))
        }
        Value::Null | Value::Bool(_) | Value::String(_) | Value::Object(_) => value.to_string(),
    }
}

/// The table that names the law.
const LAW_TABLE: &str = "target";

/// The file's text: where it came from, the caution, then table by table; with the law, without which its gains are
/// nobody's.
pub(super) fn text(origin: &str, law: LawName, settings: &[TunedSetting]) -> String {
    let mut tables = BTreeMap::from([(LAW_TABLE, Vec::new())]);
    for setting in settings {
        tables.entry(&setting.table).or_default().push(setting);
    }
    let mut text = format!(
        "# Boost law {MADE_BY} {origin}\n# {HANDED_OVER}\n# Replace the same lines of a profile with \
         these, or try them with `simulate --with`.\n"
    );
    for (table, settings) in tables {
        // Writing to a string cannot fail.
        let _ = writeln!(text, "\n[settings.{table}]");
        if table == LAW_TABLE {
            let _ = writeln!(text, "law = \"{}\"", law.word());
        }
        for setting in settings {
            line(&mut text, setting);
        }
    }
    text
}

fn line(text: &mut String, TunedSetting { field, old, new, .. }: &TunedSetting) {
    let (Value::Array(olds), Value::Array(news)) = (old, new) else {
        let _ = writeln!(text, "{field} = {} # was {}", toml_of(new), toml_of(old));
        return;
    };
    let _ = writeln!(text, "{field} = [");
    for (old, new) in olds.iter().zip(news) {
        let _ = writeln!(text, "    {}, # was {}", toml_of(new), toml_of(old));
    }
    text.push_str("]\n");
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(serde::Deserialize)]
    struct Sectioned {
        settings: Settings,
    }

    #[test]
    fn what_is_written_reads_back_to_the_bit_and_holds_what_changed_alone() {
        let mut old = Settings::default();
        let mut new = old;
        (old.target.law, new.target.law) = (LawName::ModelTrim, LawName::ModelTrim);
        new.target.trim.gain_per_kpa = 0.012_34;
        new.target.trim.integral_time_s = 1.1;
        new.target.feed_forward.0[2][3] = 0.333;
        let settings = changed(&old, &new).unwrap();
        assert_eq!(settings.len(), 3, "{settings:?}");
        let text = text("for a test", LawName::ModelTrim, &settings);
        assert!(text.contains("gain_per_kpa = 0.01234 # was 0.0085\n"), "{text}");
        assert!(text.lines().nth(1).unwrap().contains(HANDED_OVER));
        assert_eq!(toml::from_str::<Sectioned>(&text).unwrap().settings, new);
    }
}
