//! The longest of many spans.

use core::sync::atomic::{AtomicU32, Ordering};

/// The longest of many spans, in whatever clocks the board counts.
pub struct Longest(AtomicU32);

impl Longest {
    /// None so far.
    #[must_use]
    pub const fn new() -> Self {
        Self(AtomicU32::new(0))
    }

    /// Takes another span into account.
    pub fn note(&self, clocks: u32) {
        // No read-modify-write needed: all writers run at one priority.
        if clocks > self.get() {
            self.0.store(clocks, Ordering::Relaxed);
        }
    }

    /// The longest so far.
    pub fn get(&self) -> u32 {
        self.0.load(Ordering::Relaxed)
    }
}

impl Default for Longest {
    fn default() -> Self {
        Self::new()
    }
}
