//! Flash for the store of an emulated board, in RAM; where a reset leaves that alone, what is kept outlives it.
//!
//! It keeps to the rules of real NOR flash, so that the store is proven against them: erase sets a whole
//! sector to ones, a write only clears bits, of whole words, once between two erases. Two sectors of 16 KB, as the
//! second and third of an STM32F405.

use embedded_storage::nor_flash::{ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash};

/// Bytes of an erasable sector.
pub const SECTOR_BYTES: usize = 16_384;
/// Bytes of a word, the least that can be written.
const WORD_BYTES: usize = 4;
const ERASED: u8 = 0xFF;

/// The sectors that keep settings and calibrations.
pub struct Flash(&'static mut [u8]);

/// Why the flash refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FlashError {
    /// Not on a word's or sector's border.
    NotAligned,
    /// Beyond the end.
    OutOfBounds,
    /// The word was written since its sector was erased.
    NotErased,
}

impl NorFlashError for FlashError {
    fn kind(&self) -> NorFlashErrorKind {
        match self {
            Self::NotAligned => NorFlashErrorKind::NotAligned,
            Self::OutOfBounds => NorFlashErrorKind::OutOfBounds,
            Self::NotErased => NorFlashErrorKind::Other,
        }
    }
}

impl Flash {
    /// Flash in this memory.
    pub fn on(memory: &'static mut [u8]) -> Self {
        Self(memory)
    }

    fn part(&mut self, from: u32, bytes: usize) -> Result<&mut [u8], FlashError> {
        let from = from as usize;
        self.0.get_mut(from..from.saturating_add(bytes)).ok_or(FlashError::OutOfBounds)
    }
}

fn aligned(places: &[u32], unit: usize) -> Result<(), FlashError> {
    let on_border = places.iter().all(|place| (*place as usize).is_multiple_of(unit));
    if on_border { Ok(()) } else { Err(FlashError::NotAligned) }
}

impl ErrorType for Flash {
    type Error = FlashError;
}

impl ReadNorFlash for Flash {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), FlashError> {
        bytes.copy_from_slice(self.part(offset, bytes.len())?);
        Ok(())
    }

    fn capacity(&self) -> usize {
        self.0.len()
    }
}

impl NorFlash for Flash {
    const WRITE_SIZE: usize = WORD_BYTES;
    const ERASE_SIZE: usize = SECTOR_BYTES;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), FlashError> {
        aligned(&[from, to], SECTOR_BYTES)?;
        self.part(from, to.saturating_sub(from) as usize)?.fill(ERASED);
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), FlashError> {
        aligned(&[offset, bytes.len() as u32], WORD_BYTES)?;
        let part = self.part(offset, bytes.len())?;
        if part.iter().any(|byte| *byte != ERASED) {
            return Err(FlashError::NotErased);
        }
        part.copy_from_slice(bytes);
        Ok(())
    }
}
