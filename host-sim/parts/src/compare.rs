//! Two units side by side: what differs, by how much, and whether more than the measurement can tell.
//!
//! In: two sheets. Out: differences of values and of the figures made of them, errors that both share kept common,
//! and in words what was counted, named or noted differently. Refuses nothing.

use serde::Serialize;

use crate::errors::{difference_uncertainty, error_sources, uncertainties};
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
    fn of(name: String, unit: &'static str, values: (f64, f64), standard_uncertainty: f64) -> Self {
        Self { name, unit, values, difference: values.1 - values.0, standard_uncertainty }
    }

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
    let sources = error_sources(one, two);
    let values = one.quantities().filter_map(|(field, _)| {
        two.get(field)?;
        let values = (one.value(field), two.value(field));
        let unit = field.spec().dimension.symbol();
        Some(Difference::of(field.path(), unit, values, difference_uncertainty(&sources, field)))
    });
    let values = values.collect();
    let differences = |one: &PartsSheet, two: &PartsSheet| {
        figure_values(one).into_iter().zip(figure_values(two)).map(|(a, b)| b - a).collect::<Vec<f64>>()
    };
    let known = uncertainties((one, two), figure_names().count(), |one, two| {
        (one.nozzle().is_ok() && two.nozzle().is_ok()).then(|| differences(one, two))
    });
    let figures = figure_names()
        .zip(figure_values(one).into_iter().zip(figure_values(two)))
        .zip(known)
        .map(|(((name, unit), values), known)| Difference::of(name.to_owned(), unit, values, known));
    let figures = figures.collect();
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
