//! What the board is and where it stands, in words that both ends share.

mod start;

use heapless::String;
use serde::{Deserialize, Serialize};

use super::self_test::SelfTest;
use super::sequence::LinkCounters;
use crate::calibration::{Setup, Warmth};
use crate::command::Command;
use crate::faults::FaultSet;
use crate::guard::GuardStage;
use crate::held::Standing;
use crate::settings::SettingsHash;
use crate::units::{Counts, Tick};

pub use start::StartReason;

/// Sample batches on or off.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Streaming {
    /// No batches; state changes are still told.
    #[default]
    Off,
    /// A point each tick.
    On,
}

/// What makes time pass on a rig.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(rename_all = "kebab-case")]
pub enum Pacing {
    /// The host's grants: repeatable to the byte.
    Stepped,
    /// The rig's own clock.
    Paced,
}

/// What a board is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Identity {
    /// The rig's model, for people.
    pub model: String<32>,
    /// The board's software and its version.
    pub software: String<32>,
    /// Hash of what the software was built from; 0 where the build has none.
    pub build: u32,
    /// Version of the stored layout that it reads and writes.
    pub layout: u8,
    /// The board's name.
    pub board: String<24>,
    /// The board's serial number; empty where it has none.
    pub serial: String<24>,
    /// What makes time pass.
    pub pacing: Pacing,
    /// Why the board's software started.
    pub started: StartReason,
}

/// What this board can take, so that a host need not assume.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Capabilities {
    /// Ticks per second.
    pub ticks_per_second: u16,
    /// Ticks without a host message after which the drive is released.
    pub lease_ticks: u16,
    /// Motion segments that fit.
    pub motion_segments: u16,
}

/// Setup, warmth and standing of a calibration.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct LearnedIn {
    /// How the actuator was mounted.
    pub setup: Setup,
    /// Cold or hot.
    pub warmth: Warmth,
    /// How far it may be trusted.
    pub standing: Standing,
}

/// Answer to the hello.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Welcome {
    /// What the board is.
    pub identity: Identity,
    /// What it can take.
    pub capabilities: Capabilities,
    /// What its power-on self-test found.
    pub self_test: SelfTest,
    /// The settings in use, once it has any.
    pub settings: Option<SettingsHash>,
    /// Next tick to run.
    pub next: Tick,
    /// The calibration that it has, if any.
    pub calibration: Option<LearnedIn>,
}

/// Where the board stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Status {
    /// Next tick to run.
    pub next: Tick,
    /// State in the last tick.
    pub state: StreamState,
    /// Whether the drive may be used.
    pub arming: Arming,
    /// When, where and why the drive was let go last.
    pub released: Release,
    /// What the board has seen of the host's frames.
    pub counters: LinkCounters,
    /// Replies and events that found no room and were dropped.
    pub dropped: u32,
}

/// Whether the drive may be used.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Arming {
    /// Nothing moves before [`crate::link::ToBoard::Arm`].
    #[default]
    Disarmed,
    /// Commands may move the vanes.
    Armed,
}

/// Who commands the drive.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(rename_all = "kebab-case")]
pub enum Source {
    /// Nobody: drive off.
    #[default]
    Released,
    /// The engine controller.
    Engine,
    /// The motion profile.
    Motion,
    /// The end-stop learner.
    Learn,
    /// A probe's segment.
    Probe,
}

/// Quantity that the drive is commanded in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(rename_all = "kebab-case")]
pub enum Drive {
    /// Drive off.
    #[default]
    Released,
    /// Duty, open loop.
    Duty,
    /// Motor current.
    Current,
    /// Opening, closed loop.
    Opening,
}

impl From<Command> for Drive {
    fn from(command: Command) -> Self {
        match command {
            Command::Release => Self::Released,
            Command::Duty(_) => Self::Duty,
            Command::Current(_) => Self::Current,
            Command::Opening(_) => Self::Opening,
        }
    }
}

/// What a motion profile reached.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum MotionEvent {
    /// A segment began, counted from 0.
    Segment(u8),
    /// The profile ended; the drive is released.
    Ended,
}

/// What moves the vanes and what is wrong; the same for all points of a batch.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct StreamState {
    /// Who commands the drive.
    pub source: Source,
    /// What is commanded; gives [`crate::link::Point::target`] its unit.
    pub drive: Drive,
    /// Stage of the over-boost guard.
    pub stage: GuardStage,
    /// Faults present.
    pub faults: FaultSet,
}

/// A release of the drive.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Release {
    /// Tick of the release.
    pub tick: Tick,
    /// Why.
    pub reason: ReleaseReason,
    /// Raw position in the last tick before it.
    pub position: Counts,
}

impl Release {
    /// Before anything has driven.
    pub const NONE: Self = Self { tick: Tick(0), reason: ReleaseReason::NotStarted, position: Counts(0) };
}

/// Why the drive was let go.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(rename_all = "kebab-case")]
pub enum ReleaseReason {
    /// Nothing has driven yet.
    #[default]
    NotStarted,
    /// The host said stop.
    Stopped,
    /// A new hello: another host, or the same one again.
    NewHost,
    /// The motion profile came to its end.
    MotionEnded,
    /// The learner came to its end.
    LearnEnded,
    /// No host frame came within the drive lease. Disarmed; arm again to go on.
    HostSilent,
    /// Something held the lever: the opening was not reached with the current at its limit.
    Obstructed,
    /// An open-loop ramp was spent and the lever did not move.
    NoMotion,
    /// The winding reached its heat limit.
    HeatLimit,
    /// The supply left its range.
    SupplyRange,
    /// A sensor's reading could not be believed.
    SensorFault,
    /// The tick number did not step by one. Disarmed.
    TickFault,
    /// What must be kept before anything moves could not be stored.
    NotStored,
    /// A setting or the calibration in use has changed by itself. Disarmed.
    MemoryChanged,
    /// A probe's segment ended: the lever moved as far as was asked.
    ProbeMoved,
    /// A probe's segment ended: the lever came to the reading that was asked.
    ProbeReached,
    /// A probe's segment ended: something held the lever at the full push.
    ProbeHeld,
    /// A probe's segment ended: its time is spent.
    ProbeTimeSpent,
    /// More current flowed than a probe may draw although the volts were taken back.
    OverCurrent,
    /// The bridge reported a fault. Disarmed.
    BridgeFault,
    /// Readings that a bench needs were no longer converted. Disarmed.
    ConverterFrozen,
}
