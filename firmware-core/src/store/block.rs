//! What goes to flash and comes from it at once.

/// Bytes of a block: a multiple of every flash word from 1 to 32 bytes.
pub(super) const BLOCK_BYTES: usize = 32;
/// The same as a distance in flash.
pub(super) const BLOCK_STEP: u32 = BLOCK_BYTES as u32;
const ERASED: u8 = 0xFF;

/// One block; some flash drivers need it aligned to their word.
#[repr(align(32))]
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Block(pub(super) [u8; BLOCK_BYTES]);

impl Block {
    /// As an erase leaves it.
    pub(super) const ERASED: Self = Self([ERASED; BLOCK_BYTES]);

    pub(super) fn is_erased(&self) -> bool {
        *self == Self::ERASED
    }

    /// Four bytes, lowest first; `None` beyond the end.
    pub(super) fn word(&self, at: usize) -> Option<u32> {
        let bytes = self.0.get(at..)?.first_chunk()?;
        Some(u32::from_le_bytes(*bytes))
    }

    /// Puts bytes in; what lies beyond the end is dropped.
    pub(super) fn put(&mut self, at: usize, bytes: &[u8]) {
        for (to, from) in self.0.iter_mut().skip(at).zip(bytes) {
            *to = *from;
        }
    }

    /// The bytes before `at`.
    pub(super) fn before(&self, at: usize) -> &[u8] {
        self.0.get(..at).unwrap_or_default()
    }
}
