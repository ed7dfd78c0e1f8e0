//! The document of `tune`.

use std::path::PathBuf;

use schemars::JsonSchema;
use serde::Serialize;
use tune::{Gains, Identified, Margins, Process, StepRecord};

use crate::document_kind::{Document, Kind};

/// Gains proposed from a recorded step.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct TuneDocument {
    /// The run.
    pub run: String,
    /// What the samples say of the drive.
    pub identified: Identified,
    /// What they cannot say.
    pub play_between_lever_and_ring: &'static str,
    /// The model that the rule was given.
    pub process: Process,
    /// What the rule gives.
    pub gains: Gains,
    /// How far the loop is from the edge.
    pub margins: Option<Margins>,
    /// The step by the linear model.
    pub predicted: StepFigures,
    /// The step by the controller itself, friction included.
    pub simulated: StepFigures,
    /// Fields that would change, by their path in a profile.
    pub settings: Vec<OldAndNew>,
    /// Measured besides and left as it is: the profile's value, and what this run says.
    pub not_changed: OldAndNew,
    /// The file that was written.
    pub written: Option<PathBuf>,
}

/// A field of a profile, before and after.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct OldAndNew {
    /// Its path in a profile.
    pub field: String,
    /// As the profile has it.
    pub old: f32,
    /// As proposed.
    pub new: f32,
}

/// One step response in figures.
#[derive(Debug, Clone, Copy, Serialize, JsonSchema)]
pub(crate) struct StepFigures {
    /// Time to 86 % of the step; none where it is never reached.
    pub t86_ms: Option<usize>,
    /// Beyond the end value.
    pub overshoot_percent: f64,
    /// Left over.
    pub steady_error_percent_of_travel: f64,
}

impl From<&StepRecord> for StepFigures {
    fn from(step: &StepRecord) -> Self {
        Self {
            t86_ms: step.t86_ms,
            overshoot_percent: step.overshoot_percent,
            steady_error_percent_of_travel: 100.0 * step.steady_error,
        }
    }
}

impl Document for TuneDocument {
    const KIND: Kind = Kind::Tuning;
}
