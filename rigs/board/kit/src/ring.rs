//! Bytes between an interrupt handler and the main loop.

use core::sync::atomic::{AtomicU8, AtomicUsize, Ordering};

/// Bytes that wait between two turns of the main loop: the longest frame and then some.
pub const RING_BYTES: usize = 512;

/// Bytes from one context to another. One writer, one reader, no lock.
pub struct Ring {
    bytes: [AtomicU8; RING_BYTES],
    written: AtomicUsize,
    read: AtomicUsize,
}

impl Ring {
    /// An empty ring.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            bytes: [const { AtomicU8::new(0) }; RING_BYTES],
            written: AtomicUsize::new(0),
            read: AtomicUsize::new(0),
        }
    }

    /// Bytes that wait.
    pub fn len(&self) -> usize {
        self.written.load(Ordering::Acquire).wrapping_sub(self.read.load(Ordering::Acquire))
    }

    /// True when nothing waits.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Bytes that still fit.
    pub fn room(&self) -> usize {
        RING_BYTES.saturating_sub(self.len())
    }

    /// Appends a byte; one that finds no room is dropped.
    pub fn push(&self, byte: u8) {
        let at = self.written.load(Ordering::Relaxed);
        let Some(place) = self.bytes.get(at % RING_BYTES) else { return };
        if self.len() < RING_BYTES {
            place.store(byte, Ordering::Relaxed);
            self.written.store(at.wrapping_add(1), Ordering::Release);
        }
    }

    /// Takes the oldest byte.
    pub fn pop(&self) -> Option<u8> {
        let at = self.read.load(Ordering::Relaxed);
        let byte =
            if self.is_empty() { None } else { self.bytes.get(at % RING_BYTES) }?.load(Ordering::Relaxed);
        self.read.store(at.wrapping_add(1), Ordering::Release);
        Some(byte)
    }
}

impl Default for Ring {
    fn default() -> Self {
        Self::new()
    }
}
