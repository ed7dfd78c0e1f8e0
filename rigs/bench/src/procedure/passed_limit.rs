//! The limit on which an endurance ended itself.

use crate::record::{FaultOf, LIMIT_PASSED, RunRefusal};

/// Strokes in a row that must pass a limit: one may be a knock or a hole in the record; own choice.
pub(super) const IN_A_ROW: u32 = 3;
/// A limit that was passed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error(
    "the endurance stopped itself at stroke {stroke}: {what} {seen:.2} {unit} in {IN_A_ROW} strokes in a \
     row; allowed: {allowed}. {advice}"
)]
pub struct PassedLimit {
    pub(super) stroke: u32,
    pub(super) what: &'static str,
    pub(super) unit: &'static str,
    pub(super) seen: f64,
    pub(super) allowed: String,
    pub(super) advice: &'static str,
}

impl PassedLimit {
    pub(super) fn refusal(&self) -> RunRefusal {
        let Self { stroke, what, unit, seen, allowed, advice } = self;
        RunRefusal {
            reason: LIMIT_PASSED.into(),
            seen: format!("{what} {seen:.2} {unit} up to stroke {stroke}; allowed: {allowed}"),
            advice: (*advice).into(),
            fault_of: FaultOf::Unit,
        }
    }
}
