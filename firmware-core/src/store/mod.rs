//! Keeps settings and calibrations over power loss: a journal of whole records in two erase sectors.
//!
//! In: everything that is to be kept, as one record, and a NOR flash. Out: the newest whole record. Power lost at any
//! write or erase leaves the old record or the new one, never a mixture. Refused: a range that is no two sectors, a
//! save when no slot is blank.
//!
//! ```text
//! sector: head │ slot │ … │ slot │ tail        slot: settings, calibrations … │ foot: number, length, layout, check
//! ```
//!
//! A save programs the next blank slot, never erases, and ends with the foot, whose check covers the record. When a
//! sector is full, saves go on in the other. Erasing is [`Store::prepare`]'s alone, at start: the sector that does not
//! hold the newest record is erased unless it already is, so nothing has to be copied and no cut can reach the newest
//! record. An erase that power cut short is known by the sector's head, which is written after it.
//!
//! A sector may look blank and take no writes (disturbed cells, an erase cut short). A save that it refuses, and keeps
//! nothing of, is noted in the other sector's tail: the next start erases the one that refused, or, where it holds the
//! newest record, writes no more to it. So a failed save and a restart make room again, as long as one sector at a time
//! refuses; where both do, every save says so.
//!
//! An erase stalls a processor that runs from the same flash for up to half a second, a save for [`SAVE_BYTES_MAX`] of
//! programming: `prepare` comes before bridge and watchdog, a save only at duty 0.

mod block;
mod crc32;
mod kept;
mod result;
mod sector;
mod slot;

pub use kept::{FoundRecord, Kept, LAYOUT_VERSION};
pub use result::{StoreFault, StoreResult};

use core::ops::Range;

use embedded_storage::nor_flash::NorFlash;

use block::BLOCK_BYTES;
use sector::{FRAME_STEP, Placed, Sector, SectorHead};
use slot::{SLOT_STEP, SlotContent, Writer, look};

/// Most bytes that one save programs, and again reads back.
pub const SAVE_BYTES_MAX: u32 = SLOT_STEP;
/// Least bytes of a sector: its head, two slots and its tail.
pub const SECTOR_BYTES_MIN: u32 = FRAME_STEP + 2 * SLOT_STEP;

/// Why a range of flash cannot be a store.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum RangeError {
    /// It does not lie within the flash.
    OutOfFlash,
    /// Its halves are not whole erasable pages.
    NotWholePages,
    /// Its halves are smaller than [`SECTOR_BYTES_MIN`].
    TooSmall {
        /// Bytes of a half.
        half: u32,
    },
}

/// What a save did.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SaveReceipt {
    /// Number of the save, counted over the life of the flash.
    pub number: u32,
    /// Saves that still find room before a restart.
    pub room: u16,
}

/// How the store stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Condition {
    /// Saves that find room before a restart.
    pub room: u16,
    /// How often the sector with the newest record and the other one have been erased; `None` where the count is lost.
    pub erases: [Option<u32>; 2],
    /// Slots that were neither blank nor a whole record when the store was prepared.
    pub damaged: u16,
    /// What went wrong when the store was prepared.
    pub fault: Option<StoreFault>,
}

/// What was found in the store.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Loaded {
    /// What the newest whole record says.
    pub found: FoundRecord,
    /// As in [`Condition::damaged`]: each was a save that was cut short, or a record that is lost.
    pub damaged: u16,
}

/// The store, prepared: saves only program.
pub struct Store<F: NorFlash> {
    flash: F,
    sector_bytes: u32,
    /// Where saves go.
    current: Sector,
    /// Where they go once that is full.
    other: Sector,
    newest: Option<Placed>,
    /// Number of the last save, whatever became of it.
    last: u32,
    damaged: u16,
    fault: Option<StoreFault>,
}

impl<F: NorFlash> Store<F> {
    /// Looks at both halves of a range of flash and erases what later saves need erased: at most one half. For the
    /// start, before bridge and watchdog are enabled. Where the flash refuses, what is kept can still be loaded, and
    /// [`Store::condition`] says so.
    ///
    /// # Errors
    /// [`RangeError`] when the range is no store; nothing has been touched then.
    pub fn prepare(mut flash: F, range: Range<u32>) -> Result<Self, RangeError> {
        const { assert!(BLOCK_BYTES.is_multiple_of(F::WRITE_SIZE) && BLOCK_BYTES.is_multiple_of(F::READ_SIZE)) }
        let sector_bytes = half_of::<F>(&flash, &range)?;
        let first = Sector::survey(&mut flash, range.start, sector_bytes);
        let second = Sector::survey(&mut flash, range.start.saturating_add(sector_bytes), sector_bytes);
        let (current, other) = in_order(first, second);
        let last = current.newest_number();
        let newest = current.newest;
        let damaged = first.damaged.saturating_add(second.damaged);
        let mut store = Self { flash, sector_bytes, current, other, newest, last, damaged, fault: None };
        store.fault = store.make_room().err();
        Ok(store)
    }

    /// Reads the newest whole record into place; unless [`FoundRecord::Kept`] says so, that holds nothing.
    pub fn load(&mut self, into: &mut Kept) -> Loaded {
        *into = Kept::NOTHING;
        let found = match &self.newest {
            Some(record) => FoundRecord::read(&mut self.flash, record, into),
            None => FoundRecord::Nothing,
        };
        Loaded { found, damaged: self.damaged }
    }

    /// Programs a record into the next blank slot and reads it back: at most [`SAVE_BYTES_MAX`], no erase.
    ///
    /// # Errors
    /// [`StoreFault`]; the record before is then still there. After `Flash` and `ReadBack` the next save takes another
    /// slot, and the next start another sector where this one kept nothing.
    pub fn save(&mut self, kept: &Kept) -> Result<SaveReceipt, StoreFault> {
        let start = self.blank_slot().ok_or(StoreFault::Full)?;
        self.last = self.last.saturating_add(1);
        let written = kept.write(Writer::new(&mut self.flash, start), self.last);
        let content = look(&mut self.flash, start);
        if content == SlotContent::Blank {
            self.other.note_refusal(&mut self.flash, &self.current);
        }
        let foot = written?;
        if content != SlotContent::Whole(foot) {
            return Err(StoreFault::ReadBack);
        }
        self.newest = Some(Placed { start, foot });
        Ok(SaveReceipt { number: foot.number, room: self.room() })
    }

    /// How the store stands.
    #[must_use]
    pub fn condition(&self) -> Condition {
        let erases = [self.current, self.other].map(|sector| sector.head.map(|head| head.erases));
        Condition { room: self.room(), erases, damaged: self.damaged, fault: self.fault }
    }

    /// The flash.
    pub fn flash(&self) -> &F {
        &self.flash
    }

    /// Gives the flash back.
    #[must_use]
    pub fn into_flash(self) -> F {
        self.flash
    }

    fn make_room(&mut self) -> Result<(), StoreFault> {
        let is_current_fit = self.current.is_fit(&self.other);
        if self.newest.is_some() {
            if !is_current_fit {
                self.current.close();
            }
            let is_other_ready = self.other.is_ready_after(&self.current) && self.other.is_fit(&self.current);
            return if is_other_ready { Ok(()) } else { self.erase_other() };
        }
        // Without a record nothing tells a whole erase from one that was cut short after a head: one half is enough.
        self.other.close();
        if self.current.is_ready() && is_current_fit {
            return Ok(());
        }
        core::mem::swap(&mut self.current, &mut self.other);
        self.erase_other()?;
        core::mem::swap(&mut self.current, &mut self.other);
        Ok(())
    }

    fn erase_other(&mut self) -> Result<(), StoreFault> {
        // Both halves are erased in turn, so the other's count stands in for one that is lost.
        let erased = self.other.head.or(self.current.head).map_or(0, |head| head.erases);
        let head = SectorHead { since: self.last, erases: erased.saturating_add(1) };
        self.other.erase(&mut self.flash, self.sector_bytes, head).map_err(|_| StoreFault::Flash)?;
        if self.other.is_ready() { Ok(()) } else { Err(StoreFault::ReadBack) }
    }

    fn blank_slot(&mut self) -> Option<u32> {
        if self.current.free() == 0 && self.other.free() > 0 {
            core::mem::swap(&mut self.current, &mut self.other);
        }
        self.current.take_slot()
    }

    fn room(&self) -> u16 {
        self.current.free().saturating_add(self.other.free())
    }
}

/// First the half with the newest record; without one, the half that is ready.
fn in_order(first: Sector, second: Sector) -> (Sector, Sector) {
    let is_second = match (first.newest, second.newest) {
        (None, None) => !first.is_ready() && second.is_ready(),
        (_, _) => second.newest_number() > first.newest_number(),
    };
    if is_second { (second, first) } else { (first, second) }
}

/// Bytes of half a range.
fn half_of<F: NorFlash>(flash: &F, range: &Range<u32>) -> Result<u32, RangeError> {
    if range.end as usize > flash.capacity() || range.start > range.end {
        return Err(RangeError::OutOfFlash);
    }
    let bytes = range.end.saturating_sub(range.start);
    let half = bytes / 2;
    let is_whole = |bytes: u32| (bytes as usize).is_multiple_of(F::ERASE_SIZE);
    if !is_whole(range.start) || !is_whole(half) || !bytes.is_multiple_of(2) {
        return Err(RangeError::NotWholePages);
    }
    if half < SECTOR_BYTES_MIN { Err(RangeError::TooSmall { half }) } else { Ok(half) }
}
