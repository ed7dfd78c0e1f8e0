//! Documents of `simulate`.

use firmware_core::faults::Fault;
use firmware_core::guard::GuardEvent;
use schemars::JsonSchema;
use serde::Serialize;
use study::boost_tuning::TradeOff;
use study::metrics::Metrics;
use study::run::Schedule;

use super::parts::PartsOfRun;
use crate::document_kind::{Document, Kind};

/// The built-in scenarios.
#[derive(Serialize, JsonSchema)]
pub(crate) struct ScenariosDocument {
    /// In their order.
    pub scenarios: Vec<ScenarioRow>,
}

/// One scenario.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct ScenarioRow {
    /// Its name.
    pub name: String,
    /// What happens in it.
    pub about: String,
    /// How long it takes.
    pub duration_s: f64,
}

impl Document for ScenariosDocument {
    const KIND: Kind = Kind::Scenarios;
}

/// A scenario under one or several controllers.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct SimulationDocument<'a> {
    /// Its name.
    pub scenario: &'a str,
    /// Seed of the sensors' noise, or of the campaign.
    pub seed: u64,
    /// Run of the campaign, where one is replayed.
    pub member: Option<u64>,
    /// Every turbo under every controller.
    pub runs: Vec<SimulatedRun<'a>>,
    /// How far the run that is best found with foresight may be trusted, where it was asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub foresight: Option<ForesightTold>,
}

/// The best found with foresight, the last of the runs: no proven bound.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct ForesightTold {
    /// By how much the second best start on the finest grid costs more than the best, share.
    pub start_gap: Option<f64>,
    /// By how much the best on the second finest grid costs more than on the finest, share.
    pub grid_gap: Option<f64>,
    /// Knots of each grid.
    pub knots: Vec<usize>,
    /// Cost of the best of each start on each grid, `[grid][start]`, kPa s.
    pub costs_kpa_s: Vec<Vec<f64>>,
    /// Runs that the search took.
    pub runs: u64,
    /// The wanted openings over time.
    pub schedule: Schedule,
    /// Boost error against travel that other gains of the first controller's law reach on this engine.
    pub trade_off: Vec<TradeOff>,
}

/// One run.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct SimulatedRun<'a> {
    /// Its controller.
    pub controller: &'a str,
    /// Its turbo, where it is a measured one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub parts: Option<&'a PartsOfRun>,
    /// What came of it.
    pub metrics: &'a Metrics,
    /// What the guard did.
    pub guard_events: Vec<SimulatedEvent>,
    /// Faults that the controller saw.
    pub faults: Vec<Fault>,
}

/// One step of the guard.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct SimulatedEvent {
    /// When.
    pub t_s: f64,
    /// What.
    pub event: GuardEvent,
}

impl Document for SimulationDocument<'_> {
    const KIND: Kind = Kind::Simulation;
}
