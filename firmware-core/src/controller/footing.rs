//! How much a motion may use, by what it stands on. No setting widens it: it is a share of what the settings allow.

use crate::motion::Footing;
use crate::settings::SlewSettings;

/// Share of the largest current, and of the slew, on a calibration that is not accepted: at half the current a stop
/// met by surprise is met with half the force, at half the speed with a quarter of the energy.
const UNPROVEN_SHARE: f32 = 0.5;
/// Share of the largest current without any calibration: enough to move a sound ring slowly, little enough to leave
/// one that binds as it is (common practice, no source).
pub const DIAGNOSTIC_CURRENT_SHARE: f32 = 0.35;

impl Footing {
    /// Share of the largest current that may flow.
    pub(super) fn current_share(self) -> f32 {
        match self {
            Self::Accepted => 1.0,
            Self::Unproven => UNPROVEN_SHARE,
            Self::Diagnostic => DIAGNOSTIC_CURRENT_SHARE,
        }
    }

    /// The rate at which the bench's openings are followed, where they are not followed at once.
    pub(super) fn slew(self, settings: &SlewSettings) -> Option<SlewSettings> {
        match self {
            Self::Accepted => None,
            Self::Unproven | Self::Diagnostic => Some(SlewSettings {
                normal_per_s: settings.normal_per_s * UNPROVEN_SHARE,
                // The bench's own fine steps are meant.
                still_band: 0.0,
                ..*settings
            }),
        }
    }
}
