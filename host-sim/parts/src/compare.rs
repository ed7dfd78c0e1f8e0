//! Two units side by side: what differs, by how much, and whether more than the measurement can tell.
//!
//! In: two sheets. Out: differences of values and of the figures made of them, errors that both share kept common,
//! and in words what was counted, named or noted differently. Refuses nothing.

use serde::Serialize;

use crate::errors::uncertainties;
use crate::figures::{figure_names, figure_values};
use crate::{Field, PartsSheet};

/// Differences above this many standard uncertainties are more than the measurement can tell away (JCGM 100:2008,
/// 6.2.1: about 95 %).
const COVERAGE: f64 = 2.0;

/// One value or figure on both sheets.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Difference {
    /// `section.key`, or the figure's name.
    pub name: String,
    /// Unit.
    pub unit: &'static str,
    /// On the first sheet and on the second.
    pub values: (f64, f64),
    /// Second less first.
    pub difference: f64,
    /// Its standard uncertainty.
    pub standard_uncertainty: f64,
}

impl Difference {
    /// Is the difference more than the measurement leaves open?
    #[must_use]
    pub fn is_known(&self) -> bool {
        self.difference.abs() > COVERAGE * self.standard_uncertainty
    }
}

/// Two sheets side by side.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct SheetComparison {
    /// Names of both.
    pub names: (String, String),
    /// Values that stand on both.
    pub values: Vec<Difference>,
    /// Figures of both.
    pub figures: Vec<Difference>,
    /// What was counted, named or noted differently, and what stands on one sheet only.
    pub words: Vec<String>,
}

/// Lays two sheets side by side.
#[must_use]
pub fn compare_sheets(one: &PartsSheet, two: &PartsSheet) -> SheetComparison {
    let both: Vec<Field> =
        one.quantities().map(|(field, _)| field).filter(|&field| two.get(field).is_some()).collect();
    let all = |sheet: &PartsSheet| {
        let values = both.iter().map(|&field| sheet.value(field));
        values.chain(figure_values(sheet)).collect::<Vec<f64>>()
    };
    let differences = |one: &PartsSheet, two: &PartsSheet| {
        all(one).into_iter().zip(all(two)).map(|(a, b)| b - a).collect::<Vec<f64>>()
    };
    let nominal = differences(one, two);
    let known = uncertainties((one, two), &nominal, |one, two| {
        (one.nozzle().is_ok() && two.nozzle().is_ok()).then(|| differences(one, two))
    });
    let names = both
        .iter()
        .map(|field| (field.path(), field.spec().dimension.symbol()))
        .chain(figure_names().map(|(name, unit)| (name.to_owned(), unit)));
    let (first, second) = (all(one), all(two));
    let mut values: Vec<Difference> = names
        .enumerate()
        .map(|(at, (name, unit))| Difference {
            name,
            unit,
            values: (first[at], second[at]),
            difference: nominal[at],
            standard_uncertainty: known[at],
        })
        .collect();
    let figures = values.split_off(both.len());
    SheetComparison { names: (one.name.clone(), two.name.clone()), values, figures, words: words(one, two) }
}

fn words(one: &PartsSheet, two: &PartsSheet) -> Vec<String> {
    let mut words = Vec::new();
    let mut told = |what: &str, first: String, second: String| {
        if first != second {
            words.push(format!("{what}: {first} → {second}"));
        }
    };
    told("vanes", one.vanes.to_string(), two.vanes.to_string());
    let count = |count: &crate::Count| count.value.to_string();
    told("compressor blades", count(&one.compressor_blades), count(&two.compressor_blades));
    told("turbine blades", count(&one.turbine_blades), count(&two.turbine_blades));
    let material = |wheel: &crate::WheelMaterial| format!("{:?}", wheel.material).to_lowercase();
    told("compressor material", material(&one.compressor_material), material(&two.compressor_material));
    told("turbine material", material(&one.turbine_material), material(&two.turbine_material));
    told("indexing datum", one.indexing.datum.clone(), two.indexing.datum.clone());
    told("ring is held", one.teardown.ring_held(), two.teardown.ring_held());
    told("wear", one.teardown.wear_words(), two.teardown.wear_words());
    for (sheet, other) in [(one, two), (two, one)] {
        let only: Vec<String> =
            sheet.quantities().map(|(f, _)| f).filter(|&f| other.get(f).is_none()).map(Field::path).collect();
        if !only.is_empty() {
            words.push(format!("only on {}: {}", sheet.name, only.join(", ")));
        }
    }
    words
}
