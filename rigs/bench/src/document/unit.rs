//! Documents about what is on record of a unit.

use schemars::JsonSchema;
use serde::Serialize;

use crate::document_kind::{Document, Kind};
use crate::judge::{Judgement, Verdict};
use crate::limits::{Bounds, LimitStanding};
use crate::record::{Attached, Confirmation, LogHead, RunKind, RunStatus};

/// A verdict.
#[derive(Serialize, JsonSchema)]
pub(crate) struct VerdictDocument<'a> {
    /// The unit, or what else was judged.
    pub unit: &'a str,
    /// The report's file, where one was written.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub report: Option<String>,
    /// Length and head of the unit's log, where there is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub log: Option<&'a LogHead>,
    /// Judgement, reasons, checks, figures.
    #[serde(flatten)]
    pub verdict: &'a Verdict,
}

impl Document for VerdictDocument<'_> {
    const KIND: Kind = Kind::Verdict;
}

/// The units in a folder of records.
#[derive(Serialize, JsonSchema)]
pub(crate) struct UnitsDocument {
    /// By name.
    pub units: Vec<UnitRow>,
}

/// One unit.
#[derive(Serialize, JsonSchema)]
pub(crate) struct UnitRow {
    /// Its name.
    pub unit: String,
    /// Its folder.
    pub folder: String,
    /// How many runs it has.
    pub runs: usize,
    /// The newest.
    pub newest: String,
    /// What is in force, by setup and warmth; only those that were ever learned. Unchecked.
    pub in_force: Vec<String>,
    /// The newest verdict that was kept in the folder. Unchecked: the record may have changed since.
    pub stored_verdict: Option<Judgement>,
    /// Runs that were made after those that the verdict counts.
    pub newer_runs: usize,
    /// Job and state of the newest run.
    pub job: Option<String>,
    /// When the newest run began.
    pub begun: Option<String>,
    /// Days since then, whole.
    pub age_days: Option<i64>,
    /// How far a stop has moved since the first full learn in the newest learn's setup and warmth, per cent of travel.
    pub drift_percent: Option<f64>,
}

impl Document for UnitsDocument {
    const KIND: Kind = Kind::Units;
}

/// The runs of a unit.
#[derive(Serialize, JsonSchema)]
pub(crate) struct HistoryDocument {
    /// The unit.
    pub unit: String,
    /// Oldest first.
    pub runs: Vec<HistoryRow>,
    /// Each learn with the runs that were made on it, oldest first: figures as they were kept when the runs ended.
    pub rounds: Vec<RoundRow>,
    /// Photographs and papers, oldest first.
    pub attached: Vec<Attached>,
    /// Whether every run was held against the unit's log.
    pub checked: bool,
    /// What is wrong with the unit's log or its confirmations.
    pub log_found: Vec<String>,
    /// What is in force, by setup and warmth; only those that were ever learned.
    pub in_force: Vec<String>,
}

/// One run.
#[derive(Serialize, JsonSchema)]
pub(crate) struct HistoryRow {
    /// Its name.
    pub run: String,
    /// What was done.
    pub what: RunKind,
    /// Setup and warmth; none where the record cannot be read.
    pub mounted: Option<String>,
    /// When it began, where the clock was known.
    pub begun: Option<String>,
    /// Job and state, where they were named.
    pub job: Option<String>,
    /// Whether it came to its end; none where the record cannot be read.
    pub status: Option<RunStatus>,
    /// In words: how it ended, or why it cannot be read.
    pub ended: String,
    /// How far the endurance is that it belongs to, and what has changed over it; empty for other runs.
    pub endurance: Vec<String>,
    /// What a person confirmed of it afterwards.
    pub confirmed: Vec<Confirmation>,
}

impl Document for HistoryDocument {
    const KIND: Kind = Kind::History;
}

/// A learn with the runs that were made on it.
#[derive(Serialize, JsonSchema)]
pub(crate) struct RoundRow {
    /// The learn.
    pub learn: String,
    /// Its job and state, where they were named.
    pub job: Option<String>,
    /// The newest kept value of each figure.
    pub figures: Vec<RoundFigure>,
}

/// One figure of a round.
#[derive(Serialize, JsonSchema)]
pub(crate) struct RoundFigure {
    /// Its key.
    pub key: String,
    /// Its value.
    pub value: f64,
    /// Its value as printed.
    pub text: String,
    /// What was allowed; none where it had no limit.
    pub bounds: Option<Bounds>,
    /// Where it stood; none where it had no limit.
    pub standing: Option<LimitStanding>,
}

/// A file that was put to a unit.
#[derive(Serialize, JsonSchema)]
pub(crate) struct AttachedDocument<'a> {
    /// The unit.
    pub unit: &'a str,
    /// The file.
    #[serde(flatten)]
    pub attached: &'a Attached,
}

impl Document for AttachedDocument<'_> {
    const KIND: Kind = Kind::Attached;
}

/// A unit's folder held against its log.
#[derive(Serialize, JsonSchema)]
pub(crate) struct CheckDocument {
    /// The unit.
    pub unit: String,
    /// Length and head of the log; none where there is no log.
    pub log: Option<LogHead>,
    /// What is wrong with the log itself.
    pub log_found: Option<String>,
    /// Runs that are not what was recorded.
    pub found: Vec<FoundRow>,
    /// What is wrong with the confirmations.
    pub confirmed_found: Option<String>,
    /// Attached files that are not what was attached.
    pub attached_found: Vec<String>,
    /// Runs that no log was kept of.
    pub unchained: Vec<String>,
}

/// A run that is not what was recorded.
#[derive(Serialize, JsonSchema)]
pub(crate) struct FoundRow {
    /// Its name.
    pub run: String,
    /// What is wrong.
    pub found: String,
}

impl Document for CheckDocument {
    const KIND: Kind = Kind::Check;
}

/// A sheet that was laid down for a person to fill in.
#[derive(Serialize, JsonSchema)]
pub(crate) struct SheetDocument {
    /// The file.
    pub file: String,
    /// Tables that it takes; empty for a parts sheet.
    pub items: Vec<&'static str>,
}

impl Document for SheetDocument {
    const KIND: Kind = Kind::Sheet;
}
