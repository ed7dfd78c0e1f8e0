//! The save and its answer. In: what changed, and how the rig's write ended. Out: when there is something to write,
//! and whether a learn may go on.

use crate::store::{StoreFault, StoreResult};

/// Where a save stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Phase {
    /// Nothing to write.
    Idle,
    /// Waits for duty 0.
    Asked,
    /// With the rig, which has not answered yet.
    Taken,
    /// With the rig, and asked for once more since.
    TakenAndAsked,
}

/// One save at a time, numbered from the hello.
#[derive(Debug, Clone, Copy)]
pub(super) struct Saves {
    phase: Phase,
    /// The calibrations held are not those in the store.
    is_behind: bool,
    number: u16,
}

/// A save that has ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct SaveEnded {
    pub(super) number: u16,
    /// What must not be found after a power-off may still be there.
    pub(super) is_lost: bool,
}

impl Saves {
    pub(super) const fn new() -> Self {
        Self { phase: Phase::Idle, is_behind: false, number: 0 }
    }

    /// The saves of this talk are numbered from 0.
    pub(super) fn restart_numbers(&mut self) {
        self.number = 0;
    }

    /// What is held has changed; nobody asked to keep it yet.
    pub(super) fn fall_behind(&mut self) {
        self.is_behind = true;
    }

    /// Asks for a save.
    pub(super) fn ask(&mut self) {
        self.phase = match self.phase {
            Phase::Idle | Phase::Asked => Phase::Asked,
            Phase::Taken | Phase::TakenAndAsked => Phase::TakenAndAsked,
        };
    }

    /// Asks for a save where the store holds other calibrations.
    pub(super) fn catch_up(&mut self) {
        if self.is_behind {
            self.ask();
        }
    }

    /// True until the rig has answered the last save that was asked for.
    pub(super) fn is_pending(&self) -> bool {
        self.phase != Phase::Idle
    }

    /// True once for each save that was asked for.
    pub(super) fn take(&mut self) -> bool {
        let is_asked = self.phase == Phase::Asked;
        if is_asked {
            self.phase = Phase::Taken;
            // What changes from here on is not in it.
            self.is_behind = false;
        }
        is_asked
    }

    /// The rig's answer; `None` when it had nothing to write.
    pub(super) fn end(&mut self, result: StoreResult) -> Option<SaveEnded> {
        self.phase = match self.phase {
            Phase::Taken => Phase::Idle,
            Phase::TakenAndAsked => Phase::Asked,
            Phase::Idle | Phase::Asked => return None,
        };
        let is_lost = match result {
            // Without a store nothing survives a power-off anyway.
            StoreResult::Written | StoreResult::Failed(StoreFault::None) => false,
            StoreResult::Failed(StoreFault::Full | StoreFault::Flash | StoreFault::ReadBack) => true,
        };
        self.is_behind |= is_lost;
        let number = self.number;
        self.number = self.number.saturating_add(1);
        Some(SaveEnded { number, is_lost })
    }
}
