//! One number for all settings, so that two ends can tell whether they mean the same.

use crc::{CRC_32_ISO_HDLC, Crc, NoTable};
use serde::{Deserialize, Serialize};

use super::{MAX_SECTION_BYTES, Settings};

/// CRC-32/ISO-HDLC over the postcard encoding of all sections in order. Guards against mix-ups, not against malice.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(transparent)]
pub struct SettingsHash(pub u32);

impl core::fmt::Display for SettingsHash {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        write!(f, "{:08x}", self.0)
    }
}

/// Bit by bit: it is asked for at a hello and before arming, and a table would cost 1 KB of flash.
static CRC: Crc<u32, NoTable> = Crc::<u32, NoTable>::new(&CRC_32_ISO_HDLC);

impl Settings {
    /// What these settings are known by.
    #[inline]
    #[must_use]
    pub fn hash(&self) -> SettingsHash {
        let mut digest = CRC.digest();
        for section in self.sections() {
            let mut room = [0; MAX_SECTION_BYTES];
            // Every section fits: a test sends all of them.
            if let Ok(bytes) = postcard::to_slice(&section, &mut room) {
                digest.update(bytes);
            }
        }
        SettingsHash(digest.finalize())
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use crate::units::Ampere;

    #[test]
    fn one_setting_changed_is_another_hash() {
        let settings = Settings::default();
        let mut changed = settings;
        changed.actuator.max_current = Ampere(settings.actuator.max_current.0 - 0.5);
        assert_ne!(changed.hash(), settings.hash());
        assert_eq!(Settings::default().hash(), settings.hash());
    }

    #[test]
    fn the_hash_covers_the_sections_one_after_the_other() {
        let settings = Settings::default();
        let bytes: std::vec::Vec<u8> = settings
            .sections()
            .flat_map(|section| postcard::to_vec::<_, MAX_SECTION_BYTES>(&section).unwrap())
            .collect();
        assert_eq!(settings.hash().0, CRC.checksum(&bytes));
    }
}
