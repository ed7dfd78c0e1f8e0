//! Documents of `simulate`.

use firmware_core::faults::Fault;
use firmware_core::guard::GuardEvent;
use schemars::JsonSchema;
use serde::Serialize;
use study::metrics::Metrics;

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
