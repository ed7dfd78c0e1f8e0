//! Memory that is checked. In: settings and calibration as they are taken into use. Out: whether what the tick reads is
//! still that. A second copy is compared piece by piece, one piece a tick, so that every value is looked at once in
//! [`ROUND_TICKS`].
//!
//! Until a changed value is found the drive may do whatever the supply lets it: on the invented actuator A at 14.4 V
//! that is at most 9 A (14.4 V through 1.6 Ω) for 29 ms, 3.8 J. A changed sign of a zero is not found: it changes
//! nothing.

use crate::calibration::Calibration;
use crate::settings::{SettingError, Settings, SettingsSection};

/// Ticks within which every value is looked at: the pieces of the settings, and the calibration.
pub const ROUND_TICKS: u8 = Settings::PIECES + 1;

/// The second copy.
#[derive(Debug, Clone)]
pub(super) struct SecondCopy {
    pub(super) settings: Settings,
    pub(super) calibration: Option<Calibration>,
    /// The piece that comes next.
    next: u8,
    has_changed: bool,
}

impl SecondCopy {
    #[inline]
    pub(super) fn of(settings: Settings) -> Self {
        Self { settings, calibration: None, next: 0, has_changed: false }
    }

    /// Takes a section in that the settings have taken in.
    ///
    /// # Errors
    /// As [`Settings::apply`].
    #[inline]
    pub(super) fn apply(&mut self, section: &SettingsSection) -> Result<(), SettingError> {
        self.settings.apply(section)
    }

    /// Compares the next piece; true from the first that has changed on, for which of the two is right nobody knows.
    pub(super) fn has_changed(&mut self, settings: &Settings, calibration: Option<&Calibration>) -> bool {
        let is_same = if self.next < Settings::PIECES {
            self.settings.is_same_in(self.next, settings)
        } else {
            self.calibration.as_ref() == calibration
        };
        self.next = self.next.saturating_add(1) % ROUND_TICKS;
        self.has_changed |= !is_same;
        self.has_changed
    }

    /// True once a change has been found.
    pub(super) fn is_found(&self) -> bool {
        self.has_changed
    }
}

#[cfg(test)]
#[allow(clippy::indexing_slicing, clippy::arithmetic_side_effects)]
mod tests;
