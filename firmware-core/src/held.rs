//! A calibration with what it is worth: how far it may be trusted, and what it came from.

use serde::{Deserialize, Serialize};

use crate::calibration::Calibration;
use crate::learn::CheckSet;
use crate::settings::SettingsHash;
use crate::units::Tick;

/// The host's mark of unit, serial numbers and run: first 8 bytes of its hash. The board keeps it and gives it back.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(transparent)]
pub struct OriginTag(pub u64);

/// Where a calibration came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(rename_all = "kebab-case")]
pub struct Origin {
    /// The host's mark of unit and run.
    pub tag: OriginTag,
    /// Settings that it was learned under.
    pub settings: SettingsHash,
    /// Tick in which the learn ended.
    pub tick: Tick,
}

/// How far a calibration may be trusted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(rename_all = "kebab-case")]
pub enum Standing {
    /// Every signal is sound and everything else was confirmed.
    Accepted,
    /// Every signal is sound, but something is still to be confirmed.
    NotProven {
        /// What nobody has confirmed yet.
        open: CheckSet,
    },
    /// A later learn was refused or cut short: the stops may no longer be where they were.
    Suspended {
        /// Learns since then that were refused or cut short.
        refusals: u8,
    },
}

impl Standing {
    /// Of a learn whose signals were sound: accepted once nothing is left to confirm.
    #[must_use]
    pub fn of_open(open: CheckSet) -> Self {
        if open.is_empty() { Self::Accepted } else { Self::NotProven { open } }
    }
}

/// One setup's calibration, how far it may be trusted and where it came from.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(rename_all = "kebab-case")]
pub struct Held {
    /// The calibration.
    pub calibration: Calibration,
    /// The last full learn, for whoever reads the store: nothing on the board compares a relearn with it; what
    /// bounds relearns is the window of the setup.
    pub anchor: Calibration,
    /// Relearns since then.
    pub relearns: u16,
    /// How far it may be trusted.
    pub standing: Standing,
    /// Where it came from.
    pub origin: Origin,
}

impl Held {
    /// Of a full learn.
    #[must_use]
    pub fn of_full_learn(calibration: Calibration, standing: Standing, origin: Origin) -> Self {
        Self { calibration, anchor: calibration, relearns: 0, standing, origin }
    }

    /// After an accepted relearn: the anchor stays.
    #[must_use]
    pub fn relearned(self, calibration: Calibration, origin: Origin) -> Self {
        Self {
            calibration,
            anchor: self.anchor,
            relearns: self.relearns.saturating_add(1),
            standing: Standing::Accepted,
            origin,
        }
    }
}
