//! Documents about what is on record of a unit.

use schemars::JsonSchema;
use serde::Serialize;

use crate::document_kind::{Document, Kind};
use crate::judge::Verdict;
use crate::record::{Confirmation, LogHead, RunKind, Status};

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
    /// What is in force, by setup and warmth; only those that were ever learned.
    pub in_force: Vec<String>,
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
    /// Whether it came to its end; none where the record cannot be read.
    pub status: Option<Status>,
    /// In words: how it ended, or why it cannot be read.
    pub ended: String,
    /// What a person confirmed of it afterwards.
    pub confirmed: Vec<Confirmation>,
}

impl Document for HistoryDocument {
    const KIND: Kind = Kind::History;
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
