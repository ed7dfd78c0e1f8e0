//! The journal's flash: sectors 1 and 2, programmed word by word.
//!
//! Keys, bits and order: RM0090 rev 19, 3.6 and 3.9. The processor runs from the same flash and stands still while a word
//! (16 µs, at most 100) or a sector (0.25 to 0.5 s) is at work: data sheet, from memory.

use core::sync::atomic::AtomicBool;

use board_kit::SECTOR_BYTES;
use embedded_storage::nor_flash::{ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash};

use crate::raw::{self, JOURNAL_BYTES, flash, is_first, name_sector};

const KEYS: [u32; 2] = [0x4567_0123, 0xCDEF_89AB];
const WORD_BYTES: usize = 4;
const FIRST_SECTOR: u8 = 1;
/// Looks at the busy flag before it counts as dead. The processor stands still through most of them.
const PATIENCE: u32 = 4_000_000;

/// The journal, for the one owner that takes it.
pub struct Journal(());

/// Why flash control refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum JournalError {
    /// Not on a word's or sector's border.
    NotAligned,
    /// Beyond the end.
    OutOfBounds,
    /// Flash control stayed busy, or says that it failed.
    Refused,
}

impl NorFlashError for JournalError {
    fn kind(&self) -> NorFlashErrorKind {
        match self {
            Self::NotAligned => NorFlashErrorKind::NotAligned,
            Self::OutOfBounds => NorFlashErrorKind::OutOfBounds,
            Self::Refused => NorFlashErrorKind::Other,
        }
    }
}

impl Journal {
    /// The journal, once.
    pub fn take() -> Option<Self> {
        static TAKEN: AtomicBool = AtomicBool::new(false);
        is_first(&TAKEN).then_some(Self(()))
    }
}

/// Opens flash control for one operation, and closes it whatever comes of it.
fn unlocked(operate: impl FnOnce() -> Result<(), JournalError>) -> Result<(), JournalError> {
    KEYS.iter().for_each(|key| {
        flash().keyr().write(|w| w.key().set(*key));
    });
    flash()
        .sr()
        .write(|w| w.pgserr().clear().pgperr().clear().pgaerr().clear().wrperr().clear().operr().clear());
    let done = operate();
    flash().cr().write(|w| w.lock().locked());
    done
}

fn wait() -> Result<(), JournalError> {
    let is_free = (0..PATIENCE).any(|_| flash().sr().read().bsy().bit_is_clear());
    let state = flash().sr().read();
    let is_sound = state.pgserr().bit_is_clear()
        && state.pgperr().bit_is_clear()
        && state.pgaerr().bit_is_clear()
        && state.wrperr().bit_is_clear();
    if is_free && is_sound { Ok(()) } else { Err(JournalError::Refused) }
}

fn check(from: u32, bytes: usize, unit: usize) -> Result<usize, JournalError> {
    let from = from as usize;
    if !from.is_multiple_of(unit) || !bytes.is_multiple_of(unit) {
        return Err(JournalError::NotAligned);
    }
    if from.saturating_add(bytes) > JOURNAL_BYTES {
        return Err(JournalError::OutOfBounds);
    }
    Ok(from)
}

fn erase_sector(sector: u8) -> Result<(), JournalError> {
    unlocked(|| {
        // The register's reset value would lock it again.
        flash().cr().write(|w| name_sector(w, sector).lock().clear_bit().psize().psize32().ser().set_bit());
        flash().cr().write(|w| {
            name_sector(w, sector).lock().clear_bit().psize().psize32().ser().set_bit().strt().set_bit()
        });
        wait()
    })
}

impl ErrorType for Journal {
    type Error = JournalError;
}

impl ReadNorFlash for Journal {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), JournalError> {
        let from = check(offset, bytes.len(), Self::READ_SIZE)?;
        for (at, byte) in (from..).zip(bytes) {
            *byte = raw::journal_byte(at);
        }
        Ok(())
    }

    fn capacity(&self) -> usize {
        JOURNAL_BYTES
    }
}

impl NorFlash for Journal {
    const WRITE_SIZE: usize = WORD_BYTES;
    const ERASE_SIZE: usize = SECTOR_BYTES;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), JournalError> {
        let bytes = to.saturating_sub(from) as usize;
        let first = check(from, bytes, SECTOR_BYTES)? / SECTOR_BYTES;
        for sector in first..first + bytes / SECTOR_BYTES {
            // Below 2.
            erase_sector(FIRST_SECTOR + sector as u8)?;
        }
        // The data cache may still hold what stood there (RM0090 3.9.1).
        flash().acr().modify(|_, w| w.dcen().disabled());
        flash().acr().modify(|_, w| w.dcrst().set_bit());
        flash().acr().modify(|_, w| w.dcrst().clear_bit().dcen().enabled());
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), JournalError> {
        let from = check(offset, bytes.len(), WORD_BYTES)?;
        unlocked(|| {
            flash().cr().write(|w| w.lock().clear_bit().psize().psize32().pg().set_bit());
            for (at, word) in (from..).step_by(WORD_BYTES).zip(bytes.as_chunks::<WORD_BYTES>().0) {
                raw::program_word(at, u32::from_le_bytes(*word));
                wait()?;
            }
            Ok(())
        })
    }
}
