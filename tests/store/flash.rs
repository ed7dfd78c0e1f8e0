//! A flash that keeps a device's rules and loses power when told to.
//!
//! Rules (those of microcontrollers with ECC-protected double words): erase by whole pages only, program
//! whole aligned 8-byte words only, and each word once between erases, except that all bits may be cleared
//! once more (from memory of such devices' reference manuals, to be confirmed for each board). Breaking a
//! rule is an error that the store must not run into.

use embedded_storage_async::nor_flash::{
    ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash,
};

pub(crate) const PAGE: usize = 1024;
pub(crate) const WORD: usize = 8;
const PAGES: usize = 4;
pub(crate) const SIZE: u32 = (PAGE * PAGES) as u32;
const ERASED: u8 = 0xFF;

/// What is left of the operation in which power went.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Cut {
    /// It did not begin.
    Clean,
    /// A word has its first half; a page has every second word erased.
    Half,
    /// A word has single bits; a page keeps a ragged rest.
    Ragged(u64),
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum FlashError {
    PowerLost,
    NotAligned,
    OutOfBounds,
    ProgrammedTwice,
}

impl NorFlashError for FlashError {
    fn kind(&self) -> NorFlashErrorKind {
        match self {
            Self::NotAligned => NorFlashErrorKind::NotAligned,
            Self::OutOfBounds => NorFlashErrorKind::OutOfBounds,
            Self::PowerLost | Self::ProgrammedTwice => NorFlashErrorKind::Other,
        }
    }
}

#[derive(Debug, Clone)]
pub(crate) struct Flash {
    bytes: Vec<u8>,
    /// Words programmed since their page was erased, whatever their bits.
    programmed: Vec<bool>,
    power: Option<(u64, Cut)>,
    /// Word writes and page erases so far.
    pub(crate) operations: u64,
    pub(crate) rule_broken: Option<FlashError>,
}

impl Flash {
    pub(crate) fn erased() -> Self {
        let words = PAGE * PAGES / WORD;
        Self {
            bytes: vec![ERASED; PAGE * PAGES],
            programmed: vec![false; words],
            power: None,
            operations: 0,
            rule_broken: None,
        }
    }

    /// Power goes in the `after`-th operation from now.
    pub(crate) fn cut_after(&mut self, after: u64, cut: Cut) {
        self.power = Some((self.operations + after, cut));
    }

    /// Power is back.
    pub(crate) fn power_up(&mut self) {
        self.power = None;
    }

    /// The cut, if power goes in this operation.
    fn operation(&mut self) -> Result<Option<Cut>, FlashError> {
        let here = self.operations;
        self.operations += 1;
        match self.power {
            Some((at, cut)) if at == here => Ok(Some(cut)),
            Some((at, _)) if at < here => Err(FlashError::PowerLost),
            _ => Ok(None),
        }
    }

    fn refuse(&mut self, error: FlashError) -> FlashError {
        self.rule_broken = Some(error);
        error
    }

    fn program(&mut self, word: usize, data: &[u8]) -> Result<(), FlashError> {
        let cut = self.operation()?;
        // The page markers of the map are zeros, and a half-written one is written again.
        if self.programmed[word] && data.iter().any(|byte| *byte != 0) {
            return Err(self.refuse(FlashError::ProgrammedTwice));
        }
        if cut == Some(Cut::Clean) {
            return Err(FlashError::PowerLost);
        }
        self.programmed[word] = true;
        let target = &mut self.bytes[word * WORD..(word + 1) * WORD];
        match cut {
            None => target.copy_from_slice(data),
            Some(Cut::Ragged(bits)) => {
                for ((to, from), keep) in target.iter_mut().zip(data).zip(bits.to_le_bytes()) {
                    *to = from | keep;
                }
            }
            Some(_) => target[..WORD / 2].copy_from_slice(&data[..WORD / 2]),
        }
        if cut.is_some() { Err(FlashError::PowerLost) } else { Ok(()) }
    }

    fn erase_page(&mut self, page: usize) -> Result<(), FlashError> {
        let cut = self.operation()?;
        if cut == Some(Cut::Clean) {
            return Err(FlashError::PowerLost);
        }
        for word in 0..PAGE / WORD {
            let erased = match cut {
                None => true,
                Some(Cut::Ragged(bits)) => bits.rotate_left(word as u32 % 64) & 1 == 1,
                Some(_) => word % 2 == 0,
            };
            if erased {
                let at = page * PAGE + word * WORD;
                self.bytes[at..at + WORD].fill(ERASED);
                // Only a whole erase makes a page programmable again.
                if cut.is_none() {
                    self.programmed[at / WORD] = false;
                }
            }
        }
        if cut.is_some() { Err(FlashError::PowerLost) } else { Ok(()) }
    }
}

impl ErrorType for Flash {
    type Error = FlashError;
}

impl ReadNorFlash for Flash {
    const READ_SIZE: usize = 1;

    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), FlashError> {
        let start = offset as usize;
        let source = self.bytes.get(start..start + bytes.len()).ok_or(FlashError::OutOfBounds)?;
        bytes.copy_from_slice(source);
        Ok(())
    }

    fn capacity(&self) -> usize {
        self.bytes.len()
    }
}

impl NorFlash for Flash {
    const WRITE_SIZE: usize = WORD;
    const ERASE_SIZE: usize = PAGE;

    async fn erase(&mut self, from: u32, to: u32) -> Result<(), FlashError> {
        let (from, to) = (from as usize, to as usize);
        if !from.is_multiple_of(PAGE) || !to.is_multiple_of(PAGE) {
            return Err(self.refuse(FlashError::NotAligned));
        }
        if to > self.bytes.len() {
            return Err(self.refuse(FlashError::OutOfBounds));
        }
        (from / PAGE..to / PAGE).try_for_each(|page| self.erase_page(page))
    }

    async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), FlashError> {
        let offset = offset as usize;
        if !offset.is_multiple_of(WORD) || !bytes.len().is_multiple_of(WORD) {
            return Err(self.refuse(FlashError::NotAligned));
        }
        if offset + bytes.len() > self.bytes.len() {
            return Err(self.refuse(FlashError::OutOfBounds));
        }
        bytes.chunks(WORD).enumerate().try_for_each(|(index, data)| self.program(offset / WORD + index, data))
    }
}
