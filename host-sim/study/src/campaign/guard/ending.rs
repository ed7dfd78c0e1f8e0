//! What becomes of one world, and by what cause.

use firmware_core::faults::FaultSet;
use firmware_core::guard::GuardCause;
use serde::{Deserialize, Serialize};

use super::demand::DriveKind;
use super::fault::GuardFault;

/// What a run shows to have let a limit pass.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum LossCause {
    /// The vanes had been told to open and had not, and the fuel did not follow.
    NeitherVanesNorFuel,
    /// The vanes had been told to open and had not; the fuel followed.
    VanesShut,
    /// The vanes stood open and the fuel did not follow.
    FuelAgainstOpenVanes,
    /// Boost read lower than it was.
    BoostReadLow,
    /// Boost could not be read.
    BoostUnread,
    /// The pressure behind the compressor was higher than where boost is read: hose leaks or is clogged.
    AheadOfHose,
    /// Turbo speed passed its limit and was not measured.
    SpeedUnmeasured,
    /// Turbo speed passed its limit and read lower than it was.
    SpeedReadLow,
    /// Exhaust pressure passed its limit and was not measured.
    ExhaustUnmeasured,
    /// Nothing of these: the controller's own doing.
    Untraced,
}

impl LossCause {
    /// Name in the table.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::NeitherVanesNorFuel => "told to open, neither vanes nor fuel followed",
            Self::VanesShut => "told to open, vanes did not, fuel did",
            Self::FuelAgainstOpenVanes => "vanes open, fuel did not follow",
            Self::BoostReadLow => "boost read low",
            Self::BoostUnread => "boost not read",
            Self::AheadOfHose => "turbo upstream of a leaking or clogged hose",
            Self::SpeedUnmeasured => "turbo speed not measured",
            Self::SpeedReadLow => "turbo speed read low",
            Self::ExhaustUnmeasured => "exhaust pressure not measured",
            Self::Untraced => "no traced cause",
        }
    }
}

/// What became of one world.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WorldEnding {
    /// TrueLimits kept, and the guard never left normal.
    Quiet,
    /// TrueLimits kept, and the guard acted: safe state in time.
    InTime,
    /// A limit was passed although guard or plausibility had noticed something.
    TooLate(LossCause),
    /// A limit was passed and nothing was noticed: dangerous undetected.
    Undetected(LossCause),
}

/// One world's figures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WorldFigures {
    /// Number of the world.
    pub index: u32,
    /// What was wrong.
    pub fault: GuardFault,
    /// What else was wrong.
    pub second: Option<GuardFault>,
    /// What the driver did.
    pub drive: DriveKind,
    /// What became of it.
    pub ending: WorldEnding,
    /// The same world without a guard passes a limit.
    pub is_demanding: bool,
    /// Highest share of a limit that was used: boost, turbo speed, exhaust pressure.
    pub used: [f64; 3],
    /// Longest time that a reading stood over its trip level before the guard opened, ticks.
    pub reaction_ticks: u32,
    /// Faults that the controller told at any time.
    pub told: FaultSet,
    /// Why the guard first left normal.
    pub first_act: Option<GuardCause>,
    /// Why the guard first tripped (opened, could not open, or latched).
    pub trip: Option<GuardCause>,
}
