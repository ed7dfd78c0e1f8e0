//! How a save ended, as the host is told.

use serde::{Deserialize, Serialize};

/// How a save ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(rename_all = "kebab-case")]
pub enum StoreResult {
    /// Written and read back.
    Written,
    /// Not kept: after a power-off it is gone.
    Failed(StoreFault),
}

/// Why a save failed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(rename_all = "kebab-case")]
pub enum StoreFault {
    /// No room until the board has restarted.
    Full,
    /// The memory refused to write or erase.
    Flash,
    /// What was read back is not what was written.
    ReadBack,
    /// This board has no store.
    None,
}
