//! One figure against its limit, and the rule by which all of them are decided.

use schemars::JsonSchema;
use serde::Serialize;

use crate::figures::Figure;
use crate::figures::conformity::{COVERAGE_FACTOR, largest_risk_of_accepting};
use crate::limits::{Bounds, LimitMargins, LimitStanding};
use crate::number::fixed;

/// One figure against its limit.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct LimitCheck {
    /// The figure's key.
    pub key: String,
    /// Where it was taken.
    pub place: String,
    /// The value.
    pub value: f64,
    /// What is allowed.
    pub bounds: Bounds,
    /// Where the value stands.
    pub standing: LimitStanding,
    /// How far it is from each bound, in its unit.
    pub margins: LimitMargins,
    /// Risk that it lies outside all the same; none where its uncertainty is not stated.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub risk: Option<f64>,
}

/// Accepted inside the limit less the expanded uncertainty, refused outside the limit and as much again, undetermined
/// between (ISO 14253-1).
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct DecisionRule {
    /// Coverage factor of every expanded uncertainty.
    pub coverage_factor: f64,
    /// Largest risk that a figure lies outside the limit inside which it was accepted, where its uncertainty is stated.
    pub largest_risk: f64,
    /// Figures that were judged without an uncertainty: at the very limit, half of them lie outside.
    pub without_uncertainty: usize,
}

impl LimitCheck {
    pub(super) fn new(figure: &Figure, bounds: Bounds) -> Self {
        Self {
            key: figure.definition().key,
            place: figure.place.clone(),
            value: figure.value,
            bounds,
            standing: bounds.standing(figure.value),
            margins: bounds.margins(figure.value),
            risk: bounds.risk(figure.value),
        }
    }

    /// The value as printed, with its uncertainty where that is stated.
    #[must_use]
    pub(crate) fn with_uncertainty(&self, value: &str) -> String {
        match self.bounds.expanded_uncertainty {
            Some(uncertainty) => format!("{value} ± {uncertainty}"),
            None => value.to_owned(),
        }
    }

    /// Distance to the nearer bound, with as many digits as the value as printed.
    #[must_use]
    pub(crate) fn margin(&self, value: &str) -> String {
        let digits = value.split_once('.').map_or(0, |(_, digits)| digits.len());
        fixed(self.margins.least(), digits)
    }
}

impl DecisionRule {
    /// The rule over these checks.
    pub(crate) fn over(checks: &[LimitCheck]) -> Self {
        Self {
            coverage_factor: COVERAGE_FACTOR,
            largest_risk: largest_risk_of_accepting(),
            without_uncertainty: checks.iter().filter(|check| check.risk.is_none()).count(),
        }
    }

    /// The rule in words.
    #[must_use]
    pub fn text(&self) -> String {
        let rule = format!(
            "Decided by ISO 14253-1: accepted inside the limit less the expanded uncertainty (k = {}), refused as far \
             outside it, undetermined between. Risk that an accepted figure is out: at most {:.1} % (JCGM 106).",
            self.coverage_factor,
            100.0 * self.largest_risk
        );
        match self.without_uncertainty {
            0 => rule,
            some => {
                format!(
                    "{rule} The uncertainty of {some} is not stated: exactly at the limit their risk is 50 %."
                )
            }
        }
    }
}
