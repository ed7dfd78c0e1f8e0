//! Stages of the guard, why it changes them, and what it asks of the fuel.

use crate::units::Load;

/// Where the guard stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(rename_all = "kebab-case")]
pub enum GuardStage {
    /// All levels kept.
    #[default]
    Normal,
    /// Near a trip level: the vanes open progressively.
    Ease,
    /// Boost stayed short at minimum opening: trim frozen, vanes held open, fuel derated, until cleared.
    BoostShort,
    /// A trip level was passed: vanes forced open, fuel cut asked for.
    Open,
    /// Vanes do not follow the command to open: fuel derated or cut.
    CannotOpen,
    /// Tripped too long or too often: vanes open, fuel derated, until cleared.
    Latched,
}

impl GuardStage {
    /// Short name as it stands in files and on the screen.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Normal => "normal",
            Self::Ease => "ease",
            Self::BoostShort => "boost-short",
            Self::Open => "open",
            Self::CannotOpen => "cannot-open",
            Self::Latched => "latched",
        }
    }
}

/// What is asked of the fuel.
#[derive(Debug, Clone, Copy, PartialEq, Default, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum FuelRequest {
    /// Nothing.
    #[default]
    Free,
    /// No more than this fraction of full fuelling.
    LimitTo(Load),
    /// None at all.
    Cut,
}

/// One change of stage and its cause.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct GuardEvent {
    /// Stage left.
    pub from: GuardStage,
    /// Stage entered.
    pub to: GuardStage,
    /// Why.
    pub cause: GuardCause,
}

/// Why the guard changed its stage.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(rename_all = "kebab-case")]
pub enum GuardCause {
    /// Boost near or over its level.
    Boost,
    /// Boost too far over its target.
    BoostOverTarget,
    /// Boost sensor at the top of its range.
    BoostSaturated,
    /// Turbo speed, measured.
    TurboSpeed,
    /// Turbo speed, estimated from pressure ratio.
    TurboSpeedEstimated,
    /// Exhaust pressure.
    Exhaust,
    /// Boost short at minimum opening.
    Short,
    /// No travel.
    NoTravel,
    /// Travel seen again.
    Travelled,
    /// Held open too long.
    TooLong,
    /// Tripped too often.
    TooOften,
    /// All levels kept long enough.
    Calm,
    /// A person cleared it.
    Cleared,
}

impl GuardCause {
    /// In words, as it stands in tables.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Boost => "boost",
            Self::BoostOverTarget => "boost over target",
            Self::BoostSaturated => "boost sensor at its top",
            Self::TurboSpeed => "turbo speed",
            Self::TurboSpeedEstimated => "turbo speed, estimated",
            Self::Exhaust => "exhaust pressure",
            Self::Short => "boost short",
            Self::NoTravel => "no travel",
            Self::Travelled => "travelled",
            Self::TooLong => "open too long",
            Self::TooOften => "tripped too often",
            Self::Calm => "calm",
            Self::Cleared => "cleared",
        }
    }
}
