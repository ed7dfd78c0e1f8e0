//! Every run of a campaign by itself, where that is asked for.
//!
//! In: the metrics of one run. Out: each in whole steps of its metric, so that parts of a campaign join to the same
//! bytes and a file of many runs stays small.

use serde::{Deserialize, Serialize};

use crate::metrics::{METRICS, Metrics};

/// Most runs that are kept in one file or one process: some megabytes.
pub const MOST_KEPT: u64 = 50_000;

/// Whether every run is kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq, strum::Display)]
#[strum(serialize_all = "kebab-case")]
pub enum KeepRuns {
    /// The statistics alone.
    None,
    /// Each.
    Each,
}

/// One run: the metrics that it has, each in whole steps; nothing of a run that could not be finished.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct KeptRun(Option<Vec<Option<i64>>>);

impl KeptRun {
    /// A run that could not be finished.
    pub(super) const FAILED: Self = Self(None);

    /// A finished run.
    #[must_use]
    pub fn of(metrics: &Metrics) -> Self {
        let in_steps = |value: f64, step: f64| (value / step).round() as i64;
        let steps = METRICS.iter().map(|column| {
            let value = (column.value)(metrics).filter(|value| value.is_finite())?;
            Some(in_steps(value, column.step))
        });
        Self(Some(steps.collect()))
    }

    /// Each metric in whole steps, in table order; nothing of a run that could not be finished.
    #[must_use]
    pub fn steps(&self) -> Option<&[Option<i64>]> {
        self.0.as_deref()
    }

    /// Whether it has a place for each metric.
    pub(super) fn is_sound(&self) -> bool {
        self.steps().is_none_or(|steps| steps.len() == METRICS.len())
    }
}
