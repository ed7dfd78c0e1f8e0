//! Published figures computed from plain numbers.
//!
//! In: tables and traces that a procedure recorded. Out: [`Figure`]s, each of which knows its unit, its
//! published definition and the conditions it was taken under. Nothing here opens a file or a port, and a
//! table or trace that cannot carry the figure is refused with a reason.

pub mod anova;
pub mod binding;
pub mod conformity;
mod definition;
pub mod friction;
pub mod gauge;
pub mod line;
pub mod measure;
pub mod motion;
pub mod one_way;
pub mod step;
pub mod sweep;
pub mod tolerance;

pub use definition::Definition;
pub(crate) use definition::TRAVEL;
pub use measure::{GaugedIn, Measure, Sensor, StepSize, Stop, VaneDirection};

use crate::number::fixed;
use crate::span::Span;

/// One measured quantity with everything a reader needs to judge or repeat it.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    /// What was measured; carries name, unit, definition and source.
    pub measure: Measure,
    /// The value, in the unit of the measure.
    pub value: f64,
    /// Where it occurred, for example `at 40 % of travel`; empty where that has no meaning.
    pub place: String,
    /// Rate, dwell, ends left out, supply: whatever the value depends on.
    pub conditions: String,
    /// Uncertainty of this value, where it was stated with it: nearer than this to a limit nothing can be said.
    pub tolerance: f64,
    /// Ticks without which the value cannot be told: a hole in them leaves the figure undetermined. Empty
    /// where the controller computed the value itself.
    pub needs: Vec<Span>,
}

impl Figure {
    /// A figure without a place.
    #[must_use]
    pub fn new(measure: Measure, value: f64, conditions: &str) -> Self {
        let conditions = conditions.to_owned();
        Self { measure, value, place: String::new(), conditions, tolerance: 0.0, needs: Vec::new() }
    }

    /// The same figure, saying where it occurred.
    #[must_use]
    pub fn placed(self, place: String) -> Self {
        Self { place, ..self }
    }

    /// The same figure, saying which ticks it cannot do without.
    #[must_use]
    pub fn needing(self, needs: Vec<Span>) -> Self {
        Self { needs, ..self }
    }

    /// Name, unit, definition and source.
    #[must_use]
    pub fn definition(&self) -> Definition {
        self.measure.definition()
    }

    /// The value rounded to the digits its unit can honestly carry.
    #[must_use]
    pub fn text(&self) -> String {
        fixed(self.value, self.definition().digits)
    }
}

/// The mean of the values; 0 for none.
pub(crate) fn mean(values: &[f64]) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    values.iter().sum::<f64>() / values.len() as f64
}

/// Smallest and largest value; `None` for none.
pub(crate) fn extent(values: impl IntoIterator<Item = f64>) -> Option<(f64, f64)> {
    values.into_iter().fold(None, |seen, value| match seen {
        None => Some((value, value)),
        Some((low, high)) => Some((low.min(value), high.max(value))),
    })
}

/// Largest minus smallest; 0 for none.
pub(crate) fn range(values: impl IntoIterator<Item = f64>) -> f64 {
    extent(values).map_or(0.0, |(low, high)| high - low)
}
