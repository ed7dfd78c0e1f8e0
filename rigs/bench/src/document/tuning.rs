//! The documents of `tune RUN` and of `tune boost`.

use std::path::PathBuf;

use schemars::JsonSchema;
use serde::Serialize;
use serde_json::Value;
use study::boost_tuning::{PairedChange, TunedScenario, TuningEnd, TuningLimits};
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

/// A boost law tuned on some simulated engines and judged on others.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct BoostTuningDocument {
    /// What the held-out engines say.
    pub end: TuningEnd,
    /// Boost error of the new settings on held-out engines over that of the old ones, less 1.
    pub change: PairedChange,
    /// Engines of each scenario, to tune on and as many to judge on.
    pub engines: u64,
    /// Seed of the engines that were tuned on, and of the search.
    pub seed: u64,
    /// Seed of the engines that were judged on.
    pub held_out_seed: u64,
    /// What was allowed.
    pub limits: TuningLimits,
    /// Old beside new on the engines that were tuned on.
    pub tuned_on: Vec<TunedScenario>,
    /// Old beside new on the others.
    pub held_out: Vec<TunedScenario>,
    /// Settings that change, by their path in a controller file.
    pub settings: Vec<TunedSetting>,
    /// The file that was written; nothing is where the new settings are not better.
    pub written: Option<PathBuf>,
}

/// A setting, before and after: a number, a row or a map.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub(crate) struct TunedSetting {
    /// Its table in a controller file, `target.trim`.
    pub table: String,
    /// Its name in it.
    pub field: String,
    /// As it was.
    pub old: Value,
    /// As proposed.
    pub new: Value,
}

impl Document for BoostTuningDocument {
    const KIND: Kind = Kind::BoostTuning;
}
