//! What a board found out about itself before it said its first word.

use serde::{Deserialize, Serialize};

/// Result of one power-on check.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(rename_all = "kebab-case")]
pub enum SelfCheck {
    /// As it must be.
    Passed,
    /// Not as it must be: the board does not drive.
    Failed,
    /// This board has nothing to check there.
    NotFitted,
}

/// Results of the power-on self-test.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(rename_all = "kebab-case")]
pub struct SelfTest {
    /// The converters read their own references.
    pub converter_references: SelfCheck,
    /// No current flows while the bridge is off.
    pub bridge_off_current: SelfCheck,
    /// The sensors' supplies are up.
    pub sensor_rails: SelfCheck,
    /// The software in flash has the checksum that it was built with.
    pub image_crc: SelfCheck,
    /// The emergency-stop line is closed.
    pub emergency_stop_line: SelfCheck,
}

impl SelfTest {
    /// A rig without anything to check.
    pub const NOT_FITTED: Self = Self {
        converter_references: SelfCheck::NotFitted,
        bridge_off_current: SelfCheck::NotFitted,
        sensor_rails: SelfCheck::NotFitted,
        image_crc: SelfCheck::NotFitted,
        emergency_stop_line: SelfCheck::NotFitted,
    };

    /// True when no check failed; one that is not fitted does not count.
    #[must_use]
    pub fn is_sound(&self) -> bool {
        let Self { converter_references, bridge_off_current, sensor_rails, image_crc, emergency_stop_line } =
            self;
        let checks = [converter_references, bridge_off_current, sensor_rails, image_crc, emergency_stop_line];
        !checks.contains(&&SelfCheck::Failed)
    }
}
