//! What position counts and motor current cannot show, and who looked instead.
//!
//! Some faults leave every signal sound: a lever that turns beside its ring between internal stops, one
//! vane with a broken pin, a sensor whose scale is a little wrong. A learn that met only good signals is
//! accepted when a person or a gauge has confirmed the rest; without that it reads "not proven".

use serde::{Deserialize, Serialize};

use crate::calibration::Setup;

/// One thing to confirm by eye or gauge.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Check {
    /// The lever drives the ring: seen to move together over the whole travel.
    LeverAttached,
    /// Every vane follows the ring: looked at through the housing.
    VanesFollow,
    /// The minimum-flow stop: gauged by feeler, pin or flow reading.
    MinimumFlow,
    /// The lever and ring marks line up.
    Indexing,
    /// The sensor's scale: compared with an independent angle gauge.
    SensorScale,
}

impl Check {
    /// All checks, in the order of the words.
    pub const ALL: [Self; 5] =
        [Self::LeverAttached, Self::VanesFollow, Self::MinimumFlow, Self::Indexing, Self::SensorScale];

    /// What to do, in trade words.
    #[must_use]
    pub fn text(self) -> &'static str {
        match self {
            Self::LeverAttached => "watch that the lever carries the ring over the whole travel",
            Self::VanesFollow => "look into the housing that every vane follows the ring",
            Self::MinimumFlow => "gauge the minimum-flow stop (feeler, pin or flow reading)",
            Self::Indexing => "compare the index marks of lever and ring",
            Self::SensorScale => "compare the sensor with an independent angle gauge at two openings",
        }
    }

    fn bit(self) -> u8 {
        match self {
            Self::LeverAttached => 1,
            Self::VanesFollow => 2,
            Self::MinimumFlow => 4,
            Self::Indexing => 8,
            Self::SensorScale => 16,
        }
    }
}

/// A set of checks: those done, or those still open.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(from = "u8", into = "u8")]
pub struct CheckSet(u8);

impl From<u8> for CheckSet {
    /// Bits that no check has mean nothing.
    fn from(bits: u8) -> Self {
        Self(bits & Self::ALL.0)
    }
}

impl From<CheckSet> for u8 {
    fn from(set: CheckSet) -> Self {
        set.0
    }
}

impl CheckSet {
    /// No check.
    pub const NONE: Self = Self(0);
    /// Every check.
    pub const ALL: Self = Self(31);

    /// The checks that a setup asks for. A free actuator has no ring to look at.
    #[must_use]
    pub fn needed_for(setup: Setup) -> Self {
        match setup {
            Setup::Free => Self::NONE.with(Check::SensorScale),
            Setup::Attached | Setup::OnEngine => Self::ALL,
        }
    }

    /// This set and one more.
    #[must_use]
    pub fn with(self, check: Check) -> Self {
        Self(self.0 | check.bit())
    }

    /// What is in this set or in the other.
    #[must_use]
    pub fn union(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// This set without one.
    #[must_use]
    pub fn without(self, check: Check) -> Self {
        Self(self.0 & !check.bit())
    }

    /// What is in this set and not in the other.
    #[must_use]
    pub fn minus(self, other: Self) -> Self {
        Self(self.0 & !other.0)
    }

    /// True when the check is in the set.
    #[must_use]
    pub fn contains(self, check: Check) -> bool {
        self.0 & check.bit() != 0
    }

    /// True when no check is in the set.
    #[must_use]
    pub fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// The checks in the set.
    pub fn iter(self) -> impl Iterator<Item = Check> {
        Check::ALL.into_iter().filter(move |check| self.contains(*check))
    }
}

impl core::fmt::Display for CheckSet {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        for (number, check) in self.iter().enumerate() {
            write!(f, "{}{}", if number == 0 { "" } else { "; " }, check.text())?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bits_that_no_check_has_mean_nothing() {
        for (bits, set) in [(0x1F, CheckSet::ALL), (0xFF, CheckSet::ALL), (0xE0, CheckSet::NONE)] {
            assert_eq!(postcard::from_bytes::<CheckSet>(&[bits]), Ok(set));
            assert_eq!(postcard::to_slice(&set, &mut [0]).unwrap(), &[bits & 0x1F]);
        }
    }

    #[test]
    fn a_free_actuator_needs_only_its_sensor_compared() {
        let needed: heapless::Vec<Check, 5> = CheckSet::needed_for(Setup::Free).iter().collect();
        assert_eq!(needed.as_slice(), [Check::SensorScale]);
    }

    #[test]
    fn what_is_done_leaves_the_open_set() {
        let open = CheckSet::ALL.minus(CheckSet::ALL.without(Check::Indexing));
        assert!(open.contains(Check::Indexing));
        assert!(open.without(Check::Indexing).is_empty());
    }
}
