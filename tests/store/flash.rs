//! A flash that keeps a device's rules, takes a device's time and loses power when told to.
//!
//! Rules (those of microcontrollers with ECC-protected words): erase by whole pages only, program whole aligned words
//! only, and each word once between erases (from memory of such devices' reference manuals, to be confirmed for each
//! board). A word that was touched, even by a cut or by damage that left it blank to the eye, cannot be programmed.
//! Breaking a rule is an error that the store must not run into on a flash that nothing damaged.

use embedded_storage::nor_flash::{ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash};

const ERASED: u8 = 0xFF;
/// What [`Cut::AllButFirst`] keeps of a page: the widest word.
const FIRST: usize = 32;

/// Time to program a word of 4 bytes, typical, µs (data sheet value from memory; the same sheet allows 100).
pub const PROGRAM_US_PER_WORD: u64 = 16;
/// Time to erase a sector of 16 KB at most, µs (data sheet value from memory; typical is 250 000).
pub const ERASE_US_PER_SECTOR: u64 = 500_000;

/// What is left of the operation in which power went.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cut {
    /// It did not begin.
    Clean,
    /// A word has its first half; a page has every second word erased.
    Half,
    /// A word has its first byte; a page keeps its first 32 bytes and looks blank from there on.
    AllButFirst,
    /// A word has single bits; a page keeps a ragged rest.
    Ragged(u64),
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FlashError {
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

/// A flash of `SIZE` bytes in pages of `PAGE` and words of `WORD`.
#[derive(Debug, Clone)]
pub struct Flash<const WORD: usize, const PAGE: usize, const SIZE: usize> {
    pub bytes: Vec<u8>,
    /// Words that cannot be programmed before their page is erased.
    touched: Vec<bool>,
    power: Option<(u64, Cut)>,
    /// Word writes and page erases so far.
    pub operations: u64,
    pub erases: u64,
    pub busy_us: u64,
    pub rule_broken: Option<FlashError>,
}

impl<const WORD: usize, const PAGE: usize, const SIZE: usize> Flash<WORD, PAGE, SIZE> {
    pub fn erased() -> Self {
        Self {
            bytes: vec![ERASED; SIZE],
            touched: vec![false; SIZE / WORD],
            power: None,
            operations: 0,
            erases: 0,
            busy_us: 0,
            rule_broken: None,
        }
    }

    /// Power goes in the `after`-th operation from now.
    pub fn cut_after(&mut self, after: u64, cut: Cut) {
        self.power = Some((self.operations + after, cut));
    }

    /// Power is back.
    pub fn power_up(&mut self) {
        self.power = None;
    }

    /// Changes bytes by no operation of its own; words that hold anything count as touched.
    pub fn damage(&mut self, at: usize, bytes: &[u8]) {
        self.bytes[at..at + bytes.len()].copy_from_slice(bytes);
        for word in at / WORD..(at + bytes.len()).div_ceil(WORD) {
            self.touched[word] |=
                self.bytes[word * WORD..(word + 1) * WORD].iter().any(|byte| *byte != ERASED);
        }
    }

    /// The page has every word erased whose bit is set, and no word can be programmed.
    pub fn half_erase(&mut self, page: usize, bits: u64) {
        for word in 0..PAGE / WORD {
            let at = page * PAGE + word * WORD;
            self.touched[at / WORD] = true;
            if bits.rotate_left(word as u32 % 64) & 1 == 1 {
                self.bytes[at..at + WORD].fill(ERASED);
            }
        }
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
        self.busy_us += PROGRAM_US_PER_WORD * (WORD as u64).div_ceil(4);
        if self.touched[word] {
            return Err(self.refuse(FlashError::ProgrammedTwice));
        }
        if cut == Some(Cut::Clean) {
            return Err(FlashError::PowerLost);
        }
        self.touched[word] = true;
        let target = &mut self.bytes[word * WORD..(word + 1) * WORD];
        match cut {
            None => target.copy_from_slice(data),
            Some(Cut::Ragged(bits)) => {
                for ((to, from), keep) in target.iter_mut().zip(data).zip(bits.to_le_bytes().iter().cycle()) {
                    *to = from | keep;
                }
            }
            Some(Cut::AllButFirst) => target[0] = data[0],
            Some(Cut::Half | Cut::Clean) => target[..WORD / 2].copy_from_slice(&data[..WORD / 2]),
        }
        if cut.is_some() { Err(FlashError::PowerLost) } else { Ok(()) }
    }

    fn erase_page(&mut self, page: usize) -> Result<(), FlashError> {
        let cut = self.operation()?;
        self.erases += 1;
        self.busy_us += ERASE_US_PER_SECTOR * PAGE as u64 / 16_384;
        match cut {
            None => {
                self.bytes[page * PAGE..(page + 1) * PAGE].fill(ERASED);
                self.touched[page * PAGE / WORD..(page + 1) * PAGE / WORD].fill(false);
                return Ok(());
            }
            Some(Cut::Clean) => {}
            Some(Cut::Half) => self.half_erase(page, 0x5555_5555_5555_5555),
            Some(Cut::AllButFirst) => {
                let first = self.bytes[page * PAGE..page * PAGE + FIRST].to_vec();
                self.half_erase(page, u64::MAX);
                self.bytes[page * PAGE..page * PAGE + FIRST].copy_from_slice(&first);
            }
            Some(Cut::Ragged(bits)) => self.half_erase(page, bits),
        }
        Err(FlashError::PowerLost)
    }
}

impl<const WORD: usize, const PAGE: usize, const SIZE: usize> ErrorType for Flash<WORD, PAGE, SIZE> {
    type Error = FlashError;
}

impl<const WORD: usize, const PAGE: usize, const SIZE: usize> ReadNorFlash for Flash<WORD, PAGE, SIZE> {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), FlashError> {
        let start = offset as usize;
        let source = self.bytes.get(start..start + bytes.len()).ok_or(FlashError::OutOfBounds)?;
        bytes.copy_from_slice(source);
        Ok(())
    }

    fn capacity(&self) -> usize {
        SIZE
    }
}

impl<const WORD: usize, const PAGE: usize, const SIZE: usize> NorFlash for Flash<WORD, PAGE, SIZE> {
    const WRITE_SIZE: usize = WORD;
    const ERASE_SIZE: usize = PAGE;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), FlashError> {
        let (from, to) = (from as usize, to as usize);
        if !from.is_multiple_of(PAGE) || !to.is_multiple_of(PAGE) {
            return Err(self.refuse(FlashError::NotAligned));
        }
        if to > SIZE {
            return Err(self.refuse(FlashError::OutOfBounds));
        }
        (from / PAGE..to / PAGE).try_for_each(|page| self.erase_page(page))
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), FlashError> {
        let offset = offset as usize;
        if !offset.is_multiple_of(WORD) || !bytes.len().is_multiple_of(WORD) {
            return Err(self.refuse(FlashError::NotAligned));
        }
        if offset + bytes.len() > SIZE {
            return Err(self.refuse(FlashError::OutOfBounds));
        }
        bytes.chunks(WORD).enumerate().try_for_each(|(index, data)| self.program(offset / WORD + index, data))
    }
}
