//! How a host message went, and every reason why the board does not do what it is asked.

use serde::{Deserialize, Serialize};

use super::self_test::SelfTest;
use super::state::Source;
use crate::calibration::{Setup, Warmth};
use crate::faults::FaultSet;
use crate::held::Standing;
use crate::motion::MotionError;
use crate::settings::{SettingError, SettingField, SettingsHash};
use crate::units::{Ampere, OutOfRange, Tick};

/// How a host message went.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Outcome {
    /// Done.
    Done,
    /// Not done, nothing changed.
    Refused(Refusal),
}

/// Why the board did not do what it was asked.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Refusal {
    /// The frame is of another protocol version.
    OtherVersion {
        /// The version that the board speaks.
        board: u8,
    },
    /// A message came before the hello.
    NoHello,
    /// A message kind that this version does not have.
    UnknownKind,
    /// Fields missing, left over or outside their type's range.
    BadValue,
    /// An older sequence number than the last one, and not the last one again.
    Stale {
        /// Last sequence number taken.
        last: u16,
    },
    /// The drive may not be used before [`crate::link::ToBoard::Arm`].
    NotArmed,
    /// Not while the drive is in use: stop first.
    Busy {
        /// Who uses it.
        source: Source,
    },
    /// Openings need a calibration and there is none.
    NotCalibrated,
    /// The calibration was learned in another setup.
    OtherSetup {
        /// Setup it was learned in.
        learned: Setup,
        /// Setup asked for.
        wanted: Setup,
    },
    /// The stops of the calibration span no travel.
    NoSpan {
        /// Open stop minus closed stop, counts.
        span_counts: f32,
    },
    /// A setting is outside its range.
    Setting {
        /// Which it is.
        field: SettingField,
        /// What was given.
        value: f32,
        /// Smallest allowed.
        min: f32,
        /// Largest allowed.
        max: f32,
    },
    /// The motion profile has no room for the segments.
    MotionFull {
        /// Segments that fit.
        max: u16,
    },
    /// A segment with a current that is not a number.
    MotionNotFinite,
    /// A motion profile without segments was started.
    MotionEmpty,
    /// No learn has ended since the last hello or the start of the last learn.
    NothingLearned,
    /// The start lies in the past.
    StartInPast {
        /// Next tick to run.
        next: Tick,
    },
    /// The clearance of the calibration leaves too little travel.
    Clearance {
        /// Clearance stated, opening.
        clearance: f32,
        /// Largest allowed.
        max: f32,
    },
    /// The board has not been given all of its settings.
    NoSettings {
        /// Sections that are missing.
        missing: u8,
    },
    /// The settings in use are not those that the host vouches for.
    OtherSettings {
        /// Settings in use.
        board: SettingsHash,
        /// Settings that the host named.
        host: SettingsHash,
    },
    /// The calibration does not stand well enough for this footing.
    NotInForce {
        /// How it stands.
        standing: Standing,
    },
    /// The calibration was learned cold and hot is asked for, or the other way round.
    OtherWarmth {
        /// Warmth it was learned in.
        learned: Warmth,
        /// Warmth asked for.
        wanted: Warmth,
    },
    /// The calibration was learned under other settings.
    CalibrationOfOtherSettings {
        /// Settings it was learned under.
        learned: SettingsHash,
        /// Settings in use.
        board: SettingsHash,
    },
    /// A diagnostic motion with an opening as its goal.
    OpenLoopOnly,
    /// A diagnostic motion with more current than it may use.
    DiagnosticCurrent {
        /// Most that is allowed.
        max: Ampere,
    },
    /// A relearn from a calibration that the board does not hold: hand it over first, or learn in full.
    OtherCalibration,
    /// A save waits or is under way: wait for [`crate::link::ToHost::Stored`].
    Saving,
    /// A check of the power-on self-test failed: the board does not drive before it has started anew and passed.
    SelfTestFailed {
        /// What the self-test found.
        found: SelfTest,
    },
    /// More messages came at once than can wait: say this one again, under the same number.
    TooManyWaiting {
        /// Messages that can wait.
        max: u8,
    },
    /// A stop came while the message waited; it was not carried out.
    Overtaken,
    /// The board's memory has changed by itself: it does not drive before it has started anew.
    MemoryChanged,
    /// A fault is present that forbids to drive: the bridge's own, or a frozen converter.
    FaultPresent {
        /// Those faults.
        faults: FaultSet,
    },
}

impl From<SettingError> for Refusal {
    #[inline]
    fn from(SettingError { field, range: OutOfRange { value, min, max } }: SettingError) -> Self {
        Self::Setting { field, value, min, max }
    }
}

impl From<MotionError> for Refusal {
    fn from(error: MotionError) -> Self {
        match error {
            MotionError::Full => Self::MotionFull { max: crate::motion::MAX_SEGMENTS as u16 },
            MotionError::NotFinite => Self::MotionNotFinite,
            MotionError::Empty => Self::MotionEmpty,
        }
    }
}
