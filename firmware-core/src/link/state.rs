//! What the board is and where it stands, in words that both ends share.

use heapless::String;
use serde::{Deserialize, Serialize};

use super::sequence::LinkCounters;
use crate::calibration::{Setup, Warmth};
use crate::command::Command;
use crate::faults::FaultSet;
use crate::guard::GuardStage;
use crate::learn::CheckSet;
use crate::units::Tick;

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
    /// What makes time pass.
    pub pacing: Pacing,
    /// Why the board's software started.
    pub started: StartReason,
}

/// Why the board's software started. What ended the run before is told here, since a board that is in trouble
/// cannot talk.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(rename_all = "kebab-case")]
pub enum StartReason {
    /// Power came on.
    #[default]
    PowerOn,
    /// A reset without a recorded reason: a dip of the supply, the reset line, a debugger.
    Reset,
    /// The software found itself in a state that must not be.
    Panic {
        /// Last tick that ran.
        tick: Tick,
        /// Line of the source file, 0 where unknown.
        line: u32,
    },
    /// A tick did not come to its end in time.
    HungTick {
        /// Last tick that ran.
        tick: Tick,
        /// Program counter at the moment the watchdog barked.
        at: u32,
    },
    /// The processor refused an instruction or an address.
    CpuFault {
        /// Last tick that ran.
        tick: Tick,
        /// Program counter.
        at: u32,
    },
}

impl core::fmt::Display for StartReason {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::PowerOn => write!(f, "power came on"),
            Self::Reset => write!(f, "reset without a recorded reason: check supply and reset line"),
            Self::Panic { tick, line } => {
                write!(
                    f,
                    "software stopped itself after tick {} (source line {line}); drive off; report it",
                    tick.0
                )
            }
            Self::HungTick { tick, at } => {
                write!(f, "watchdog: the tick after {} hung at {at:#010x}; drive off; report it", tick.0)
            }
            Self::CpuFault { tick, at } => {
                write!(f, "processor fault after tick {} at {at:#010x}; drive off; report it", tick.0)
            }
        }
    }
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

/// Setup and warmth of a calibration.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct LearnedIn {
    /// How the actuator was mounted.
    pub setup: Setup,
    /// Cold or hot.
    pub warmth: Warmth,
    /// What nobody has confirmed yet; none of it once it is proven.
    pub unproven: CheckSet,
}

/// Answer to the hello.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Welcome {
    /// What the board is.
    pub identity: Identity,
    /// What it can take.
    pub capabilities: Capabilities,
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
    /// Why the drive was let go last.
    pub released: ReleaseReason,
    /// What the board has seen of the host's frames.
    pub counters: LinkCounters,
    /// Replies and events that found no room and were dropped.
    pub dropped: u32,
}

/// Whether the drive may be used.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Arming {
    /// Nothing moves before [`ToBoard::Arm`].
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
    /// What is commanded; gives [`Point::target`] its unit.
    pub drive: Drive,
    /// Stage of the over-boost guard.
    pub stage: GuardStage,
    /// Faults present.
    pub faults: FaultSet,
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
    /// The lever came no nearer to where it was wanted, with all the push that there is.
    Obstructed,
    /// An open-loop ramp was spent, or no current flowed, and the lever had not moved.
    NoMotion,
    /// The winding could not take what the motion asked for.
    HeatLimit,
    /// The supply left its range.
    SupplyRange,
    /// The position reading left its range, jumped or stood still.
    SensorFault,
    /// The learner came to its end.
    LearnEnded,
    /// No host frame came within the drive lease. Disarmed; arm again to go on.
    HostSilent,
}
