//! One of the two sectors: a head that says when and how often it was erased, then slots.

use embedded_storage::nor_flash::{NorFlash, ReadNorFlash};

use super::block::{BLOCK_STEP, Block};
use super::crc32::Crc32;
use super::slot::{Foot, SLOT_STEP, SlotContent, look};

/// "vane" in ASCII.
const HEAD_MARK: u32 = 0x656E_6176;
const SINCE_AT: usize = 4;
const ERASES_AT: usize = 8;
const CHECK_AT: usize = 12;

/// What stands first in a sector, programmed after its erase has come to its end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct SectorHead {
    /// Number of the newest record when the sector was erased; 0 when there was none.
    pub(super) since: u32,
    /// How often this sector has been erased.
    pub(super) erases: u32,
}

impl SectorHead {
    fn block(&self) -> Block {
        let mut block = Block::ERASED;
        block.put(0, &HEAD_MARK.to_le_bytes());
        block.put(SINCE_AT, &self.since.to_le_bytes());
        block.put(ERASES_AT, &self.erases.to_le_bytes());
        block.put(CHECK_AT, &check(&block).to_le_bytes());
        block
    }

    fn in_block(block: &Block) -> Option<Self> {
        let is_right = block.word(0)? == HEAD_MARK && block.word(CHECK_AT)? == check(block);
        is_right.then_some(Self { since: block.word(SINCE_AT)?, erases: block.word(ERASES_AT)? })
    }
}

fn check(block: &Block) -> u32 {
    let mut crc = Crc32::START;
    crc.add(block.before(CHECK_AT));
    crc.value()
}

/// A record and where it lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Placed {
    /// Where its slot starts.
    pub(super) start: u32,
    /// Its foot.
    pub(super) foot: Foot,
}

/// A sector as it was last seen.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sector {
    start: u32,
    slots: u16,
    /// Its head, if that is whole.
    pub(super) head: Option<SectorHead>,
    /// Slots before the blank ones at the end.
    used: u16,
    /// Slots that are neither blank nor a record.
    pub(super) damaged: u16,
    /// Number of the oldest record.
    oldest: Option<u32>,
    /// The newest record.
    pub(super) newest: Option<Placed>,
}

impl Sector {
    /// Looks at a sector of so many bytes.
    pub(super) fn survey<F: ReadNorFlash>(flash: &mut F, start: u32, bytes: u32) -> Self {
        let slots = bytes.saturating_sub(BLOCK_STEP).checked_div(SLOT_STEP).unwrap_or_default();
        let slots = u16::try_from(slots).unwrap_or(u16::MAX);
        let mut head = Block::ERASED;
        let is_read = flash.read(start, &mut head.0).is_ok();
        let mut sector = Self {
            start,
            slots,
            head: SectorHead::in_block(&head).filter(|_| is_read),
            used: 0,
            damaged: 0,
            oldest: None,
            newest: None,
        };
        for index in 0..slots {
            let content = look(flash, sector.slot(index));
            sector.note(index, content);
        }
        sector
    }

    fn note(&mut self, index: u16, content: SlotContent) {
        match content {
            SlotContent::Blank => return,
            SlotContent::Damaged => self.damaged = self.damaged.saturating_add(1),
            SlotContent::Whole(foot) => {
                let placed = Placed { start: self.slot(index), foot };
                self.oldest = Some(self.oldest.map_or(foot.number, |oldest| oldest.min(foot.number)));
                if self.newest.is_none_or(|newest| newest.foot.number <= foot.number) {
                    self.newest = Some(placed);
                }
            }
        }
        self.used = index.saturating_add(1);
    }

    /// Erases the sector, writes its head and looks at what came of it.
    pub(super) fn erase<F: NorFlash>(
        &mut self,
        flash: &mut F,
        bytes: u32,
        head: SectorHead,
    ) -> Result<(), F::Error> {
        self.close();
        flash.erase(self.start, self.start.saturating_add(bytes))?;
        flash.write(self.start, &head.block().0)?;
        *self = Self::survey(flash, self.start, bytes);
        Ok(())
    }

    /// True when nothing lies here and the last erase came to its end.
    pub(super) fn is_ready(&self) -> bool {
        self.head.is_some() && self.used == 0
    }

    /// True when it was erased while the oldest record of `other`, or a later one, was the newest. A head from before
    /// that has outlived an erase that power cut short: every slot may look blank and none be fit to write.
    pub(super) fn is_ready_after(&self, other: &Self) -> bool {
        let is_later = self.head.zip(other.oldest).is_some_and(|(head, oldest)| head.since >= oldest);
        self.is_ready() && is_later
    }

    /// True when the record lies here.
    pub(super) fn holds(&self, record: &Placed) -> bool {
        (0..self.slots).any(|index| self.slot(index) == record.start)
    }

    /// Lets nobody write here any more.
    pub(super) fn close(&mut self) {
        self.used = self.slots;
    }

    /// The first blank slot, which is blank no longer.
    pub(super) fn take_slot(&mut self) -> Option<u32> {
        let index = (self.used < self.slots).then_some(self.used)?;
        self.used = index.saturating_add(1);
        Some(self.slot(index))
    }

    /// Blank slots.
    pub(super) fn free(&self) -> u16 {
        self.slots.saturating_sub(self.used)
    }

    /// Number of the newest record, 0 for none.
    pub(super) fn newest_number(&self) -> u32 {
        self.newest.map_or(0, |newest| newest.foot.number)
    }

    fn slot(&self, index: u16) -> u32 {
        let before = u32::from(index).saturating_mul(SLOT_STEP).saturating_add(BLOCK_STEP);
        self.start.saturating_add(before)
    }
}
