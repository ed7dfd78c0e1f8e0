//! One entry of a sheet, `{ mm = 9.4, tol = 0.03, by = "…", with = "…" }`, turned into a quantity.
//!
//! In: the TOML value and the row that says what it may be. Out: a [`Quantity`] in the base unit.
//! Refuses wrong or doubled units, numbers that are none, entries without who and with what, values outside
//! the plausible range (naming a unit mix-up where that explains it).

use serde::Deserialize;
use toml::Value;

use super::problem::Problem;
use super::quantity::{
    Dimension, INCH_MM, Quantity, TOLERANCE_SHARE, ToleranceOrigin, UNITS, Unit, ValueOrigin,
};
use super::specs::FieldSpec;

use plant::shown::MOST_SHOWN;

/// Who measured the sheet's values and with what, where an entry does not say otherwise.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Measured {
    pub(super) by: Option<String>,
    pub(super) with: Option<String>,
    /// Date, as written; for the report.
    #[serde(default)]
    pub(super) on: String,
}

const NOTE_KEYS: [&str; 3] = ["tol", "by", "with"];

/// How an entry of this dimension is written.
pub(super) fn example(spec: &FieldSpec) -> String {
    let unit = UNITS.iter().find(|unit| unit.dimension == spec.dimension).map_or("mm", |unit| unit.key);
    format!("{} = {{ {unit} = …, tol = …, with = \"…\" }}", spec.key)
}

/// Where the reading is one of several equal places, how many there are.
pub(super) type Places = Option<u32>;

pub(super) fn quantity(
    spec: &FieldSpec,
    value: &Value,
    sheet: &Measured,
    places: Places,
) -> Result<Quantity, Problem> {
    let entry = value.as_table().ok_or_else(|| Problem::NotAQuantity { example: example(spec) })?;
    let known = |key: &str| NOTE_KEYS.contains(&key) || UNITS.iter().any(|unit| unit.key == key);
    if entry.keys().any(|key| !known(key)) {
        return Err(Problem::NotAQuantity { example: example(spec) });
    }
    let units: Vec<&Unit> = UNITS.iter().filter(|unit| entry.contains_key(unit.key)).collect();
    let &[unit] = units.as_slice() else {
        return Err(Problem::UnitCount { count: units.len(), allowed: spec.dimension.units() });
    };
    if unit.dimension != spec.dimension {
        return Err(Problem::WrongUnit { given: unit.key.to_owned(), allowed: spec.dimension.units() });
    }
    let number = |key: &str| entry.get(key).map(|value| as_number(value).unwrap_or(f64::NAN));
    let readings = readings(spec, unit, entry.get(unit.key), places)?;
    let written = match readings.as_slice() {
        [] => number(unit.key).unwrap_or(f64::NAN),
        several => several.iter().sum::<f64>() / several.len() as f64,
    };
    if !written.is_finite() {
        return Err(Problem::NotANumber { what: "value", value: written, and: "" });
    }
    in_range(spec, unit, written)?;
    let value = written * unit.in_base;
    let (tolerance, tolerance_origin) = match number("tol") {
        Some(tol) => (stated_tolerance(spec, tol, tol * unit.in_base)?, ToleranceOrigin::Stated),
        None => (value.abs() * TOLERANCE_SHARE, ToleranceOrigin::Estimated),
    };
    let origin = measured_by(&|key| entry.get(key).and_then(Value::as_str).map(str::to_owned), sheet)?;
    let readings: Vec<f64> = readings.into_iter().map(|reading| reading * unit.in_base).collect();
    let tolerance = with_places_left_out(tolerance, &readings, places);
    Ok(Quantity { value, tolerance, tolerance_origin, origin, readings })
}

/// Several readings, each in range; none where one number was written.
fn readings(
    spec: &FieldSpec,
    unit: &Unit,
    written: Option<&Value>,
    places: Places,
) -> Result<Vec<f64>, Problem> {
    let Some(Value::Array(written)) = written else { return Ok(Vec::new()) };
    let example = || Problem::NotAQuantity { example: example(spec) };
    let most = places.ok_or_else(example)? as usize;
    if !(2..=most).contains(&written.len()) {
        let count = written.len() as i64;
        return Err(Problem::Count { count, min: 2, max: most as u32 });
    }
    let readings = written.iter().map(as_number).collect::<Option<Vec<f64>>>().ok_or_else(example)?;
    readings.iter().try_for_each(|reading| in_range(spec, unit, *reading))?;
    Ok(readings)
}

/// The half-width of a mean, widened by the scatter of the places that were not read (sampling without putting
/// back: variance s²/n (1 − n/N)). What was read everywhere is a fact, not a sample.
fn with_places_left_out(tolerance: f64, readings: &[f64], places: Places) -> f64 {
    let (Some(places), true) = (places, readings.len() > 1) else { return tolerance };
    let count = readings.len() as f64;
    let mean = readings.iter().sum::<f64>() / count;
    let variance = readings.iter().map(|r| (r - mean) * (r - mean)).sum::<f64>() / (count - 1.0);
    let left_out = variance / count * (1.0 - count / f64::from(places)).max(0.0);
    libm::sqrt(tolerance * tolerance + 3.0 * left_out)
}

/// A tolerance as it stands in the sheet and in the base unit; no wider than the range of the value.
fn stated_tolerance(spec: &FieldSpec, written: f64, tolerance: f64) -> Result<f64, Problem> {
    if !(written.is_finite() && written >= 0.0) {
        return Err(Problem::NotANumber { what: "tol", value: written, and: " not below zero" });
    }
    let most = spec.range.1 - spec.range.0;
    let unit = spec.dimension.symbol();
    if tolerance <= most {
        Ok(tolerance)
    } else {
        Err(Problem::ToleranceTooWide { value: tolerance, unit, most })
    }
}

/// Words of a sheet, no longer than a page can hold.
pub(super) fn words(text: String, most: usize) -> Result<String, Problem> {
    let length = text.chars().count();
    if length <= most { Ok(text) } else { Err(Problem::TooLong { length, most }) }
}

/// Who and with what: from the entry, else from the sheet.
pub(super) fn measured_by(
    own: &dyn Fn(&str) -> Option<String>,
    sheet: &Measured,
) -> Result<ValueOrigin, Problem> {
    let by = own("by").or_else(|| sheet.by.clone());
    let with = own("with").or_else(|| sheet.with.clone());
    Ok(ValueOrigin::Measured {
        by: words(by.ok_or(Problem::NobodyNamed { what: "who measured it (by)" })?, MOST_SHOWN)?,
        with: words(with.ok_or(Problem::NobodyNamed { what: "with which tool (with)" })?, MOST_SHOWN)?,
    })
}

fn as_number(value: &Value) -> Option<f64> {
    match value {
        Value::Float(number) => Some(*number),
        // Whole numbers up to 2^53 are exact; a sheet holds none larger.
        Value::Integer(number) => Some(*number as f64),
        Value::String(_) | Value::Boolean(_) | Value::Datetime(_) | Value::Array(_) | Value::Table(_) => None,
    }
}

fn in_range(spec: &FieldSpec, unit: &Unit, written: f64) -> Result<(), Problem> {
    let (min, max) = spec.range;
    let fits = |value: f64| (min..=max).contains(&value);
    let value = written * unit.in_base;
    if fits(value) {
        return Ok(());
    }
    if spec.dimension == Dimension::Length {
        if unit.key == "mm" && fits(written * INCH_MM) {
            return Err(Problem::LooksLikeInches { value: written, as_mm: written * INCH_MM });
        }
        if unit.key == "in" && fits(written) {
            return Err(Problem::LooksLikeMillimetres { value: written, as_mm: value });
        }
    }
    Err(Problem::OutOfRange { value, unit: spec.dimension.symbol(), min, max })
}
