//! Which settings the board has been given: it has none of its own.
//!
//! In: sections, as they are taken into use. Out: the hash of them all once none is missing. The hash is worked out
//! when a section comes, never in a tick.

use crate::settings::{SECTIONS, Settings, SettingsHash, SettingsSection};

/// The sections that have come, from the host or from the store.
#[derive(Debug, Clone, Copy)]
pub(super) struct Given {
    /// A bit for each section.
    sections: u32,
    hash: Option<SettingsHash>,
}

impl Given {
    /// Nothing yet.
    pub(super) const fn nothing() -> Self {
        Self { sections: 0, hash: None }
    }

    /// Notes a section that is in use now, as part of `settings`.
    #[inline]
    pub(super) fn take(&mut self, section: &SettingsSection, settings: &Settings) {
        self.sections |= 1 << section.index();
        self.hash = (self.missing() == 0).then(|| settings.hash());
    }

    /// Number of sections that nobody has given yet.
    pub(super) fn missing(&self) -> u8 {
        SECTIONS.saturating_sub(self.sections.count_ones() as u8)
    }

    /// What the settings in use are known by, once none is missing.
    pub(super) fn hash(&self) -> Option<SettingsHash> {
        self.hash
    }
}
