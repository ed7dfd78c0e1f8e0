//! Documents about measured parts.

use parts::compare::SheetComparison;
use parts::matching::{AreaOnEngine, ChangedSetting, Study, TravelCheck};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::document_kind::{Document, Kind};
use crate::exit::Exit;

/// Two measured turbos, and the calibration carried over.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct MatchDocument {
    /// Figures, areas, map, engine, tolerances.
    #[serde(flatten)]
    pub study: Study,
    /// Settings that change.
    pub settings: Vec<ChangedSetting>,
    /// The learned travel against the new sheet, where two learns were named.
    pub travel: Option<TravelCheck>,
    /// How the verb ends.
    pub exit: Exit,
}

impl Document for MatchDocument {
    const KIND: Kind = Kind::Match;
}

/// Whose gas torque acts on the ring.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum GasTorqueFrom {
    /// The sheet's geometry.
    Sheet,
    /// Coefficients that the scenario gives.
    Scenario,
}

/// Who says what a measured area counts for in the flow law.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum FlowFactorFrom {
    /// The scenario gives it.
    Scenario,
    /// The scenario's air path is the built-in one, made for 1.
    BuiltInAirPath,
}

/// The measured turbo of a run.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub(crate) struct PartsOfRun {
    /// Name on the sheet.
    pub name: String,
    /// Remark on the sheet.
    pub note: String,
    /// The sheet's file.
    pub file: String,
    /// Effective area with the vanes closed.
    pub closed: AreaOnEngine,
    /// The same, open.
    pub open: AreaOnEngine,
    /// The open area is far from this engine's own.
    pub is_other_size: bool,
    /// What a measured area counts for.
    pub ring_flow_factor: f64,
    /// Who says so.
    pub flow_factor_from: FlowFactorFrom,
    /// Whose gas torque acts.
    pub gas_torque_from: GasTorqueFrom,
    /// Fields that were estimated, not measured.
    pub estimated: Vec<String>,
}

/// Two parts sheets side by side.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct ComparisonDocument {
    /// What differs, and what it does.
    #[serde(flatten)]
    pub sheets: SheetComparison,
    /// Balance grade of each rotor, mm/s (after ISO 21940-11, rigid rotors only); none where the sheet lacks an entry.
    pub balance_grade_mm_s: [Option<f64>; 2],
}

impl Document for ComparisonDocument {
    const KIND: Kind = Kind::Comparison;
}
