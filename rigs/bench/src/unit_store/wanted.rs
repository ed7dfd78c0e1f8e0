//! What a motion needs to stand on, compared with what is in force.

use std::path::Path;

use firmware_core::calibration::{Setup, Warmth};
use firmware_core::settings::SettingsHash;

use super::standing::InForce;
use crate::record::{BoardId, Serials};
use crate::short_text::ShortText;

/// The unit as it stands on the bench now.
#[derive(Debug, Clone, Copy)]
pub struct WantedUnit<'a> {
    /// Its name.
    pub unit: &'a str,
    /// Its folder.
    pub unit_dir: &'a Path,
    /// How it is mounted.
    pub setup: Setup,
    /// Cold or hot.
    pub warmth: Warmth,
    /// The profile's settings.
    pub settings: SettingsHash,
    /// Serial numbers, where they are given.
    pub serials: &'a Serials,
}

/// Whether a calibration that is not proven or suspended may do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OnUnproven {
    /// Only an accepted one does.
    Refuse,
    /// It may: `--on-unproven`.
    Allow,
}

/// What sets a calibration apart from the unit on the bench.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Mismatch {
    /// Learned under other settings.
    Settings {
        /// Then.
        learned: SettingsHash,
        /// Now.
        now: SettingsHash,
    },
    /// Learned on another actuator, or on one without a serial number.
    Actuator {
        /// Then.
        learned: Option<ShortText>,
        /// Now.
        now: ShortText,
    },
    /// Learned on another turbo, or on one without a serial number.
    Turbo {
        /// Then.
        learned: Option<ShortText>,
        /// Now.
        now: ShortText,
    },
    /// Learned with another board.
    Board {
        /// Then.
        learned: BoardId,
        /// Now.
        now: BoardId,
    },
}

impl InForce {
    /// What sets it apart from the unit; a serial number that is not given is not compared.
    #[must_use]
    pub fn mismatch(&self, wanted: &WantedUnit<'_>) -> Option<Mismatch> {
        let then = &self.provenance;
        if then.settings != wanted.settings {
            return Some(Mismatch::Settings { learned: then.settings, now: wanted.settings });
        }
        if let Some(now) = other(&then.serials.actuator, &wanted.serials.actuator) {
            return Some(Mismatch::Actuator { learned: then.serials.actuator.clone(), now });
        }
        let now = other(&then.serials.turbo, &wanted.serials.turbo)?;
        Some(Mismatch::Turbo { learned: then.serials.turbo.clone(), now })
    }
}

fn other(learned: &Option<ShortText>, now: &Option<ShortText>) -> Option<ShortText> {
    let now = now.as_ref()?;
    let is_same = learned.as_ref().is_some_and(|learned| learned.is_same(now));
    (!is_same).then(|| now.clone())
}
