//! One of the two sectors: a head that says when and how often it was erased, slots, and at the end a tail that says
//! whether the other sector has refused a save.

use embedded_storage::nor_flash::{NorFlash, ReadNorFlash};

use super::block::{BLOCK_STEP, Block};
use super::crc32::Crc32;
use super::slot::{Foot, SLOT_STEP, SlotContent, look};

/// Bytes of head and tail.
pub(super) const FRAME_STEP: u32 = 2 * BLOCK_STEP;

/// "vane" in ASCII.
const HEAD_MARK: u32 = 0x656E_6176;
const SINCE_AT: usize = 4;
const ERASES_AT: usize = 8;
const CHECK_AT: usize = 12;

/// "no, " in ASCII.
const REFUSAL_MARK: u32 = 0x202C_6F6E;
const REFUSED_AT: usize = 4;
const REFUSAL_CHECK_AT: usize = 8;

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
        block.put(CHECK_AT, &check(&block, CHECK_AT).to_le_bytes());
        block
    }

    fn in_block(block: &Block) -> Option<Self> {
        let is_right = block.word(0)? == HEAD_MARK && block.word(CHECK_AT)? == check(block, CHECK_AT);
        is_right.then_some(Self { since: block.word(SINCE_AT)?, erases: block.word(ERASES_AT)? })
    }
}

/// What stands last in a sector.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Tail {
    /// Nothing since the last erase.
    Blank,
    /// The other sector, erased so often, refused a save and kept nothing of it: to the eye it still has room.
    Refused { erases: u32 },
    /// Something else.
    Damaged,
}

impl Tail {
    fn refused(erases: u32) -> Block {
        let mut block = Block::ERASED;
        block.put(0, &REFUSAL_MARK.to_le_bytes());
        block.put(REFUSED_AT, &erases.to_le_bytes());
        block.put(REFUSAL_CHECK_AT, &check(&block, REFUSAL_CHECK_AT).to_le_bytes());
        block
    }

    fn in_block(block: &Block) -> Self {
        match block.word(REFUSED_AT) {
            _ if block.is_erased() => Self::Blank,
            Some(erases) if *block == Self::refused(erases) => Self::Refused { erases },
            Some(_) | None => Self::Damaged,
        }
    }
}

/// The check over the bytes before `at`.
fn check(block: &Block, at: usize) -> u32 {
    let mut crc = Crc32::START;
    crc.add(block.before(at));
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
    tail_at: u32,
    tail: Tail,
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
        let between = bytes.saturating_sub(FRAME_STEP);
        let slots = u16::try_from(between.checked_div(SLOT_STEP).unwrap_or_default()).unwrap_or(u16::MAX);
        let tail_at = start.saturating_add(bytes).saturating_sub(BLOCK_STEP);
        let mut sector = Self {
            start,
            slots,
            head: read(flash, start).and_then(|block| SectorHead::in_block(&block)),
            tail_at,
            tail: read(flash, tail_at).map_or(Tail::Damaged, |block| Tail::in_block(&block)),
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
        self.head.is_some() && self.used == 0 && self.tail != Tail::Damaged
    }

    /// True when it may be written to, as far as its head and the tail of `other` can tell.
    pub(super) fn is_fit(&self, other: &Self) -> bool {
        self.head.is_some_and(|head| match other.tail {
            Tail::Blank => true,
            Tail::Refused { erases } => erases != head.erases,
            // Power may have gone while a refusal was noted. One erase for each record that lies there, not one a start.
            Tail::Damaged => head.since >= other.newest_number(),
        })
    }

    /// Notes here that `other` has refused, for the next start. Does nothing where something is noted already.
    pub(super) fn note_refusal<F: NorFlash>(&mut self, flash: &mut F, other: &Self) {
        let Some(head) = other.head.filter(|_| self.tail == Tail::Blank) else { return };
        // What this sector refuses in its turn, the host hears of as the save's own failure.
        let _is_noted = flash.write(self.tail_at, &Tail::refused(head.erases).0);
        self.tail = Tail::Refused { erases: head.erases };
    }

    /// True when it was erased while the oldest record of `other`, or a later one, was the newest. A head from before
    /// that has outlived an erase that power cut short: every slot may look blank and none be fit to write.
    pub(super) fn is_ready_after(&self, other: &Self) -> bool {
        let is_later = self.head.zip(other.oldest).is_some_and(|(head, oldest)| head.since >= oldest);
        self.is_ready() && is_later
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

fn read<F: ReadNorFlash>(flash: &mut F, at: u32) -> Option<Block> {
    let mut block = Block::ERASED;
    flash.read(at, &mut block.0).ok()?;
    Some(block)
}
