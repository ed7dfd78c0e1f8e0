//! Every address that the image touches; all other `unsafe` stands in `entry.rs`.
//!
//! In: addresses from the board's manual (Arm application note 386) and from the linker. Out: safe
//! types for one register, one window of shared memory, memory that survives a reset. Refused: offsets
//! outside a window.
#![allow(unsafe_code, reason = "registers are reached by address; each block says why it is sound")]

use core::cell::UnsafeCell;
use core::sync::atomic::{AtomicU32, Ordering};

use board_kit::{LastWords, SECTOR_BYTES};
use cortex_m::interrupt::InterruptNumber;
use cortex_m::peripheral::NVIC;

/// One 32-bit device register.
#[derive(Clone, Copy)]
pub struct Register(usize);

impl Register {
    /// Register at `base + offset`; both come from the manual's tables.
    pub const fn at(base: usize, offset: usize) -> Self {
        Self(base + offset)
    }

    /// Reads it.
    pub fn read(self) -> u32 {
        // SAFETY: only device addresses of AN386 are passed to `at`; they are mapped, aligned, and no Rust object
        // lives there.
        unsafe { (self.0 as *const u32).read_volatile() }
    }

    /// Writes it.
    pub fn write(self, value: u32) {
        // SAFETY: as in `read`; no register used here makes the device write into memory by itself.
        unsafe { (self.0 as *mut u32).write_volatile(value) }
    }
}

/// A part of the memory that is shared with the host.
#[derive(Clone, Copy)]
pub struct SharedWindow {
    start: usize,
    bytes: usize,
}

impl SharedWindow {
    /// The part at `offset` of the shared memory.
    pub const fn at(offset: u32, bytes: u32) -> Self {
        assert!(offset + bytes <= lockstep::WINDOW_BYTES);
        Self { start: (lockstep::WINDOW_ADDRESS + offset) as usize, bytes: bytes as usize }
    }

    /// Copies out of the window from `from` on; bytes beyond its end read as 0.
    pub fn read(self, from: usize, into: &mut [u8]) {
        for (place, byte) in (from..).zip(into) {
            *byte = self.byte(place);
        }
    }

    fn byte(self, place: usize) -> u8 {
        if place >= self.bytes {
            return 0;
        }
        // SAFETY: below `bytes`, inside mapped RAM that the linker gives to nobody; the host may write at the same
        // time, so every access is volatile and no reference to the memory exists.
        unsafe { ((self.start + place) as *const u8).read_volatile() }
    }

    /// Copies into the window from `from` on; bytes beyond its end are dropped.
    pub fn write(self, from: usize, bytes: &[u8]) {
        for (place, byte) in (from..self.bytes).zip(bytes) {
            // SAFETY: as in `byte`.
            unsafe { ((self.start + place) as *mut u8).write_volatile(*byte) }
        }
    }
}

/// Where the image leaves word of how it ended.
// SAFETY: `.uninit` is reserved by the linker script and not touched at start; any bits are valid words.
#[unsafe(link_section = ".uninit.last_words")]
pub static LAST_WORDS: LastWords = LastWords::new();

/// Bytes of the store.
pub const STORE_BYTES: usize = 2 * SECTOR_BYTES;

/// The RAM that stands for flash.
pub struct StoreMemory(UnsafeCell<[u8; STORE_BYTES]>);

// SAFETY: reached only through `store_memory`, which hands it out once.
unsafe impl Sync for StoreMemory {}

// SAFETY: its own region in the linker script, not loaded and not cleared; any bits are valid bytes.
#[unsafe(link_section = ".store")]
static STORE: StoreMemory = StoreMemory(UnsafeCell::new([0; STORE_BYTES]));

/// The store's memory, for the one owner that takes it; `None` for everyone after.
pub fn take_store_memory() -> Option<&'static mut [u8; STORE_BYTES]> {
    static TAKEN: AtomicU32 = AtomicU32::new(0);
    if TAKEN.swap(1, Ordering::AcqRel) != 0 {
        return None;
    }
    // SAFETY: the swap lets one caller through, so this is the only reference ever made.
    Some(unsafe { &mut *STORE.0.get() })
}

/// An interrupt line by its number.
#[derive(Clone, Copy)]
struct InterruptLine(u16);

// SAFETY: the number is the line's own and does not change.
unsafe impl InterruptNumber for InterruptLine {
    fn number(self) -> u16 {
        self.0
    }
}

/// Lets an interrupt line through.
pub fn enable_interrupt(number: u16) {
    // SAFETY: handlers share data with the main loop only through atomics, so no critical section relies on the
    // line being masked.
    unsafe { NVIC::unmask(InterruptLine(number)) }
}

/// Bytes of stack that have been in use since the start: up to the deepest word that lost its paint.
pub fn stack_high_water() -> u32 {
    unsafe extern "C" {
        static _stack_start: u32;
        static _stack_end: u32;
    }
    let (top, bottom) = (&raw const _stack_start as usize, &raw const _stack_end as usize);
    let mut place = bottom;
    // SAFETY: the linker script puts mapped RAM between the two symbols; reads only, volatile, because the live
    // part of the stack changes under way.
    while place < top && unsafe { (place as *const u32).read_volatile() } == cortex_m_rt::STACK_PAINT_VALUE {
        place += size_of::<u32>();
    }
    (top - place) as u32
}

/// Loads from an address where nothing is, for the drill.
pub fn load_from_nowhere() -> u32 {
    Register::at(0xA000_0000, 0).read()
}
