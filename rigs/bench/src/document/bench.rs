//! Documents of the verbs that reach a unit.

use std::path::PathBuf;

use firmware_core::link::Pacing;
use schemars::JsonSchema;
use serde::Serialize;

use crate::caution::CAUTIONS;
use crate::document_kind::{Document, Kind};
use crate::exit::Exit;
use crate::figures::binding::Picture;
use crate::judge::{Judgement, Verdict};
use crate::port::FoundPort;
use crate::procedure::Wander;
use crate::record::RunResult;

/// What there is to connect to.
#[derive(Serialize, JsonSchema)]
pub(crate) struct PortsDocument {
    /// Serial ports of this machine.
    pub serial: Vec<FoundPort>,
    /// Built-in actuators.
    pub actuators: Vec<Choice>,
    /// Cases of the fault catalogue, for any of them.
    pub cases: Vec<Choice>,
}

/// One part of a virtual unit's name.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Choice {
    /// The word.
    pub name: &'static str,
    /// What it is.
    pub what: String,
}

impl Document for PortsDocument {
    const KIND: Kind = Kind::Ports;
}

/// What a unit reads while nothing is driven.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct MonitorDocument {
    /// The port.
    pub port: String,
    /// The board's name.
    pub board: String,
    /// Its serial number; empty where it has none.
    pub serial: String,
    /// The rig's model.
    pub model: String,
    /// The board's software.
    pub software: String,
    /// What its power-on self-test found, in words.
    pub self_test: String,
    /// How long it was watched.
    pub watched_ms: u64,
    /// What was seen.
    pub seen: RestReadings,
    /// Degrees from the last reading to the target; positive opens.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub to_go_degrees: Option<f64>,
    /// How the verb ends.
    pub exit: Exit,
}

/// Least and most of every reading; none where it is not measured.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct RestReadings {
    /// Position of the lever.
    pub position_counts: Option<[f64; 2]>,
    /// Current of the motor at rest.
    pub current_a: Option<[f64; 2]>,
    /// Its mean.
    pub mean_current_a: Option<f64>,
    /// Supply.
    pub supply_v: Option<[f64; 2]>,
    /// Housing.
    pub temperature_c: Option<[f64; 2]>,
    /// Faults that were present at any time.
    pub faults: Vec<&'static str>,
}

impl Document for MonitorDocument {
    const KIND: Kind = Kind::Monitor;
}

/// A virtual unit on a serial device.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct RigDocument {
    /// The device to open.
    pub device: PathBuf,
    /// The actuator.
    pub actuator: &'static str,
    /// Case of the fault catalogue.
    pub case: String,
    /// What that is.
    pub what: &'static str,
    /// Seed of its scatter.
    pub seed: u64,
    /// What makes its time pass.
    pub pacing: Pacing,
    /// Speed of the line.
    pub baud: u32,
    /// Words of `--checked` that a person could truly give for it.
    pub confirmed_by_looking: Vec<&'static str>,
    /// Words that a person who looks could not give.
    pub fails_on_looking: Vec<&'static str>,
    /// Practice profile.
    pub profile: PathBuf,
    /// Practice limits.
    pub limits: PathBuf,
    /// Commands that lead to a verdict.
    pub commands: Vec<String>,
}

impl Document for RigDocument {
    const KIND: Kind = Kind::Rig;
}

/// What a learn found.
#[derive(Serialize, JsonSchema)]
pub(crate) struct LearnDocument {
    /// The unit.
    pub unit: String,
    /// The run.
    pub run: String,
    /// How the learn alone judges the unit.
    pub judgement: Judgement,
    /// What is in force after it.
    pub in_force: String,
    /// How to confirm what is not proven; empty where nothing is open.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub to_confirm: Vec<String>,
    /// How far the stops have moved since the first full learn.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub wander: Option<Wander>,
    /// What was lost on the line.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lost: Option<String>,
    /// Refusal, checks still open and calibration, as recorded.
    #[serde(flatten)]
    pub outcome: RunResult,
}

impl Document for LearnDocument {
    const KIND: Kind = Kind::Learn;
}

/// A recorded motion.
#[derive(Serialize, JsonSchema)]
pub(crate) struct MotionDocument {
    /// The unit.
    pub unit: String,
    /// The run.
    pub run: String,
    /// Its folder.
    pub folder: String,
    /// What was lost on the line.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lost: Option<String>,
    /// How far an endurance is, and what has changed over it.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub endurance: Vec<String>,
    /// Where the lever binds, where no calibration was in force.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub diagnostic: Option<Diagnostic>,
}

/// The low-current look at a unit without a calibration in force.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Diagnostic {
    /// Why none is in force.
    pub because: String,
    /// What stands out, in words.
    pub findings: Vec<String>,
    /// The same in numbers.
    #[serde(flatten)]
    pub picture: Picture,
}

impl Document for MotionDocument {
    const KIND: Kind = Kind::Motion;
}

/// The whole job on a virtual unit.
#[derive(Serialize, JsonSchema)]
pub(crate) struct DemoDocument<'a> {
    /// What can be said of its numbers.
    pub origin: &'static str,
    /// The unit's name.
    pub unit: &'static str,
    /// The virtual unit behind it.
    pub virtual_unit: &'a str,
    /// Seed of its scatter.
    pub seed: u64,
    /// Name of the profile.
    pub profile: &'a str,
    /// Name of the limits.
    pub limits: &'a str,
    /// Program and version.
    pub software: &'static str,
    /// Folders of the runs.
    pub runs: Vec<String>,
    /// The report's file.
    pub report: &'static str,
    /// The cautions.
    pub cautions: [&'static str; CAUTIONS.len()],
    /// The verdict.
    #[serde(flatten)]
    pub verdict: &'a Verdict,
}

impl Document for DemoDocument<'_> {
    const KIND: Kind = Kind::Demo;
}
