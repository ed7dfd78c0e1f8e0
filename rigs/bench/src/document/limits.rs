//! The document of `profile limits`.

use std::path::PathBuf;

use schemars::JsonSchema;
use serde::Serialize;

use crate::document_kind::{Document, Kind};
use crate::evaluate::{DraftedLimit, IntervalMethod};

/// Limits drawn from good units.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct LimitsDocument {
    /// The profile that all units were measured under.
    pub profile: String,
    /// How they were mounted, cold or hot.
    pub mounted: String,
    /// What their gauge had to read.
    pub gauge: String,
    /// Units that count.
    pub units: Vec<String>,
    /// Units that do not, each with why.
    pub left_out: Vec<String>,
    /// Runs of counted units that do not count: mounted otherwise, other settings, cut short, refused, relearns,
    /// unproven.
    pub runs_left_out: usize,
    /// Per cent of all units that a limit is to hold.
    pub content_percent: f64,
    /// Confidence of that, per cent.
    pub confidence_percent: f64,
    /// How the intervals are drawn.
    pub method: IntervalMethod,
    /// Units that it takes for a limit on both sides without assuming a normal spread.
    pub distribution_free_units: usize,
    /// Each figure.
    pub limits: Vec<DraftedLimit>,
    /// The file that was written.
    pub written: Option<PathBuf>,
}

impl Document for LimitsDocument {
    const KIND: Kind = Kind::Limits;
}
