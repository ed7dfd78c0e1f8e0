//! What stands at the other end, whatever it is: procedures, recorder and views know only this.
//!
//! In: settings, calibrations, motions, learns. Out: samples and events as one stream of [`StreamItem`]s. A rig says
//! what it cannot measure; a procedure that needs it is refused, or its figures stay undetermined.

mod item;

use std::fmt;

use firmware_core::calibration::{Setup, Warmth};
use firmware_core::held::{Held, OriginTag};
use firmware_core::learn::LearnOrder;
use firmware_core::link::self_test::{SelfCheck, SelfTest};
use firmware_core::link::state::Release;
use firmware_core::motion::{Footing, Segment};
use firmware_core::probe::ProbeSegment;
use firmware_core::settings::{Settings, SettingsHash};
use firmware_core::units::Tick;

pub use item::{GapCause, StreamItem, StreamSample};

/// Who answered the hello.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RigIdentity {
    /// The rig's model, for people.
    pub model: String,
    /// Its software and the version of it.
    pub software: String,
    /// Name of its board.
    pub board: String,
    /// The board's serial number; empty where it has none.
    pub serial: String,
    /// What its power-on self-test found.
    pub self_test: SelfTest,
}

impl RigIdentity {
    /// The self-test in words: what failed, or how much passed.
    #[must_use]
    pub fn self_test_in_words(&self) -> String {
        let SelfTest {
            converter_references,
            bridge_off_current,
            sensor_rails,
            image_crc,
            emergency_stop_line,
        } = self.self_test;
        let checks = [
            ("converter references", converter_references),
            ("current with the bridge off", bridge_off_current),
            ("sensor supplies", sensor_rails),
            ("software checksum", image_crc),
            ("emergency-stop line", emergency_stop_line),
        ];
        let named = |wanted| checks.iter().filter(move |(_, found)| *found == wanted).map(|(name, _)| *name);
        let failed: Vec<&str> = named(SelfCheck::Failed).collect();
        let passed = named(SelfCheck::Passed).count();
        match (failed.is_empty(), passed) {
            (false, _) => format!("FAILED: {}", failed.join(", ")),
            (true, 0) => "not fitted".to_owned(),
            (true, _) => format!("passed, {passed} of {} fitted", checks.len()),
        }
    }
}

/// What a procedure may need to see in every sample.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Measurand {
    /// Position of the lever, counts.
    Position,
    /// Current of the motor, A.
    MotorCurrent,
}

impl Measurand {
    /// All of them.
    pub const ALL: [Self; 2] = [Self::Position, Self::MotorCurrent];

    /// Its name in the record's conditions.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::Position => "without_position",
            Self::MotorCurrent => "without_motor_current",
        }
    }
}

impl fmt::Display for Measurand {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Position => "the lever's position",
            Self::MotorCurrent => "the motor's current",
        })
    }
}

/// Whether a rig measures a quantity.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Sampling {
    /// In every sample.
    EachSample,
    /// Never.
    Never {
        /// In words: `its bridge has no shunt`.
        why: String,
    },
}

/// What comes of asking for the outcome of a learn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Asked {
    /// The outcome comes as a [`StreamItem::Learn`].
    Comes,
    /// The rig knows of no learn.
    NothingLearned,
}

/// Why a rig does not go on.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum RigError {
    /// The user asked to stop.
    #[error("stopped by the user")]
    Interrupted,
    /// It is there and refuses: seen, allowed, what to try.
    #[error("{0}")]
    Refused(String),
    /// It does not answer any more: what was seen, what to try.
    #[error("{0}")]
    Lost(String),
}

/// A rig that has answered the hello. Dropped, it lets go of the drive.
///
/// Every method fails as [`RigError`] says; what came before stays valid.
#[expect(clippy::missing_errors_doc, reason = "one sentence above says it for all")]
pub trait Rig {
    /// Who answered.
    fn identity(&self) -> RigIdentity;

    /// Whether its samples hold this quantity.
    fn measures(&self, measurand: Measurand) -> Sampling;

    /// Hands over all settings.
    fn hand_over(&mut self, settings: &Settings) -> Result<(), RigError>;

    /// Vouches that hands are clear and that the rig has these settings: from here on commands may move the vanes.
    fn arm(&mut self, settings: SettingsHash) -> Result<(), RigError>;

    /// Turns the samples on.
    fn begin_samples(&mut self) -> Result<(), RigError>;

    /// Puts a calibration into use, with its standing and origin.
    fn set_calibration(&mut self, held: Held) -> Result<(), RigError>;

    /// Replaces the motion profile.
    fn load_motion(&mut self, segments: &[Segment]) -> Result<(), RigError>;

    /// Runs the motion profile; gives its first tick.
    fn start_motion(&mut self, setup: Setup, warmth: Warmth, footing: Footing) -> Result<Tick, RigError>;

    /// Learns the end stops; gives the first tick of the learn.
    fn start_learn(&mut self, order: LearnOrder, tag: OriginTag) -> Result<Tick, RigError>;

    /// Runs one segment of a probe; gives its first tick. A rig that knows none refuses.
    fn start_probe(&mut self, segment: ProbeSegment) -> Result<Tick, RigError> {
        let _unknown = segment;
        Err(RigError::Refused("this rig knows no probe: update its software. Nothing moved.".to_owned()))
    }

    /// Asks how the last learn ended.
    fn ask_learn_outcome(&mut self) -> Result<Asked, RigError>;

    /// When, where and why the drive was let go last.
    fn last_release(&mut self) -> Result<Release, RigError>;

    /// The next thing that the rig has to say; lets time pass where it only passes when it is let.
    fn next_item(&mut self) -> Result<StreamItem, RigError>;

    /// Releases the drive, whatever else goes on.
    fn stop(&mut self) -> Result<(), RigError>;

    /// What was seen on the way there, by name: it differs between two equal runs and stands in the record apart.
    fn line_notes(&self) -> Vec<(&'static str, String)>;
}
