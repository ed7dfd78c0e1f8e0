//! One slot of a sector: what is kept from its start on, and at its end the foot that makes it a record.
//!
//! The foot is programmed last and its check covers everything before it, so a slot that power left half
//! written is no record. In: pieces that postcard encodes. Out: the same pieces. Refused: a slot whose check
//! does not fit.

use embedded_storage::nor_flash::{NorFlash, ReadNorFlash};
use heapless::Vec;
use serde::Serialize;
use serde::de::DeserializeOwned;

use super::block::{BLOCK_BYTES, BLOCK_STEP, Block};
use super::crc32::Crc32;
use super::result::StoreFault;
use crate::settings::MAX_SECTION_BYTES;

/// Bytes of a slot: the largest record (a test encodes it), its foot, and some 200 bytes for settings to come; ten fit
/// 16 KB.
pub(super) const SLOT_STEP: u32 = 1632;
/// Blocks for what is kept; the last one of the slot is the foot's.
const PAYLOAD_STEP: u32 = SLOT_STEP.saturating_sub(BLOCK_STEP);

/// The foot's place in the slot's last block.
const FOOT_AT: usize = 20;
const LENGTH_AT: usize = FOOT_AT + 4;
const CHECK_AT: usize = BLOCK_BYTES - 4;
/// Any constant but all zeros or ones.
const FOOT_MARK: u8 = 0xA7;

/// What makes a slot a record.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Foot {
    /// Number of the save; the highest is the newest.
    pub(super) number: u32,
    /// Bytes kept.
    length: u16,
    /// Version of their layout.
    pub(super) layout: u8,
    check: u32,
}

impl Foot {
    /// The foot over a payload's check so far.
    fn new(number: u32, length: u16, layout: u8, payload: Crc32) -> Self {
        let mut foot = Self { number, length, layout, check: 0 };
        let mut crc = payload;
        crc.add(foot.block().before(CHECK_AT));
        foot.check = crc.value();
        foot
    }

    fn block(&self) -> Block {
        let [low, high] = self.length.to_le_bytes();
        let mut block = Block::ERASED;
        block.put(FOOT_AT, &self.number.to_le_bytes());
        block.put(LENGTH_AT, &[low, high, self.layout, FOOT_MARK]);
        block.put(CHECK_AT, &self.check.to_le_bytes());
        block
    }

    /// A foot whose length fits its slot; whether its check does is still open.
    fn in_block(block: &Block) -> Option<Self> {
        let [low, high, layout, mark] = block.word(LENGTH_AT)?.to_le_bytes();
        let length = u16::from_le_bytes([low, high]);
        let foot = Self { number: block.word(FOOT_AT)?, length, layout, check: block.word(CHECK_AT)? };
        (mark == FOOT_MARK && u32::from(length) <= PAYLOAD_STEP).then_some(foot)
    }
}

/// What lies in a slot.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum SlotContent {
    /// Nothing since the last erase.
    Blank,
    /// A record with the right check.
    Whole(Foot),
    /// Something else: a save that was cut short, or memory that has changed or cannot be read.
    Damaged,
}

/// Looks at the slot that starts at `start`.
pub(super) fn look<F: ReadNorFlash>(flash: &mut F, start: u32) -> SlotContent {
    let mut foot = Block::ERASED;
    if flash.read(start.saturating_add(PAYLOAD_STEP), &mut foot.0).is_err() {
        return SlotContent::Damaged;
    }
    let found = Foot::in_block(&foot);
    let wanted = found.map_or(PAYLOAD_STEP, |found| u32::from(found.length));
    let Some((check, is_blank)) = read_over(flash, start, wanted) else { return SlotContent::Damaged };
    match found {
        Some(found) if Foot::new(found.number, found.length, found.layout, check) == found => {
            SlotContent::Whole(found)
        }
        None if is_blank && foot.is_erased() => SlotContent::Blank,
        Some(_) | None => SlotContent::Damaged,
    }
}

/// The check over the first bytes of a slot, and whether their blocks are all erased.
fn read_over<F: ReadNorFlash>(flash: &mut F, start: u32, bytes: u32) -> Option<(Crc32, bool)> {
    let mut check = Crc32::START;
    let mut is_blank = true;
    let mut block = Block::ERASED;
    let mut left = bytes as usize;
    for offset in (0..bytes).step_by(BLOCK_BYTES) {
        flash.read(start.saturating_add(offset), &mut block.0).ok()?;
        is_blank &= block.is_erased();
        check.add(block.before(left.min(BLOCK_BYTES)));
        left = left.saturating_sub(BLOCK_BYTES);
    }
    Some((check, is_blank))
}

/// Programs a slot piece by piece, with one block in RAM.
pub(super) struct Writer<'a, F> {
    flash: &'a mut F,
    start: u32,
    block: Block,
    length: u16,
    check: Crc32,
}

impl<'a, F: NorFlash> Writer<'a, F> {
    /// A writer into the blank slot that starts at `start`.
    pub(super) fn new(flash: &'a mut F, start: u32) -> Self {
        Self { flash, start, block: Block::ERASED, length: 0, check: Crc32::START }
    }

    /// Adds a piece.
    pub(super) fn put<T: Serialize>(&mut self, piece: &T) -> Result<(), StoreFault> {
        let mut room = [0; MAX_SECTION_BYTES];
        // No piece is larger, and all together fit a slot: a test encodes the largest.
        let bytes = postcard::to_slice(piece, &mut room).map_err(|_| StoreFault::Flash)?;
        self.check.add(bytes);
        for byte in bytes {
            if let Some(place) = self.block.0.get_mut(usize::from(self.length) % BLOCK_BYTES) {
                *place = *byte;
            }
            self.length = self.length.checked_add(1).ok_or(StoreFault::Flash)?;
            if usize::from(self.length).is_multiple_of(BLOCK_BYTES) {
                self.flush()?;
            }
        }
        Ok(())
    }

    /// Programs what is left and then the foot.
    pub(super) fn finish(mut self, number: u32, layout: u8) -> Result<Foot, StoreFault> {
        if !usize::from(self.length).is_multiple_of(BLOCK_BYTES) {
            self.flush()?;
        }
        let foot = Foot::new(number, self.length, layout, self.check);
        self.program(PAYLOAD_STEP, foot.block())?;
        Ok(foot)
    }

    fn flush(&mut self) -> Result<(), StoreFault> {
        let last = u32::from(self.length.saturating_sub(1));
        let block = core::mem::replace(&mut self.block, Block::ERASED);
        self.program(last.saturating_sub(last % BLOCK_STEP), block)
    }

    fn program(&mut self, offset: u32, block: Block) -> Result<(), StoreFault> {
        self.flash.write(self.start.saturating_add(offset), &block.0).map_err(|_| StoreFault::Flash)
    }
}

/// Room for the largest piece and for what comes with it in its last block.
const WINDOW_BYTES: usize = MAX_SECTION_BYTES.next_multiple_of(BLOCK_BYTES) + BLOCK_BYTES;

/// Reads a slot piece by piece.
pub(super) struct SlotReader<'a, F> {
    flash: &'a mut F,
    at: u32,
    left: usize,
    window: Vec<u8, WINDOW_BYTES>,
}

impl<'a, F: ReadNorFlash> SlotReader<'a, F> {
    /// A reader of the whole record that starts at `start`.
    pub(super) fn new(flash: &'a mut F, start: u32, foot: &Foot) -> Self {
        Self { flash, at: start, left: usize::from(foot.length), window: Vec::new() }
    }

    /// The next piece; `None` when it does not decode.
    pub(super) fn take<T: DeserializeOwned>(&mut self) -> Option<T> {
        self.fill()?;
        let (piece, rest) = postcard::take_from_bytes(&self.window).ok()?;
        let unread = rest.len();
        let used = self.window.len().checked_sub(unread)?;
        self.window.rotate_left(used);
        self.window.truncate(unread);
        Some(piece)
    }

    /// True when nothing is left.
    pub(super) fn is_done(&self) -> bool {
        self.left == 0 && self.window.is_empty()
    }

    fn fill(&mut self) -> Option<()> {
        while self.left > 0 && WINDOW_BYTES.saturating_sub(self.window.len()) >= BLOCK_BYTES {
            let mut block = Block::ERASED;
            self.flash.read(self.at, &mut block.0).ok()?;
            let taken = self.left.min(BLOCK_BYTES);
            self.window.extend_from_slice(block.before(taken)).ok()?;
            self.at = self.at.saturating_add(BLOCK_STEP);
            self.left = self.left.saturating_sub(taken);
        }
        Some(())
    }
}
