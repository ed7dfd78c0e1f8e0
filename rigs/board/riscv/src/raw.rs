//! Every place that is reached by address; all other `unsafe` stands in `entry.rs`.
//!
//! In: addresses of QEMU's machine `virt` and from the linker. Out: the memory of session, store and replay, each to one
//! owner; words that survive a reset; the machine's end.
#![allow(unsafe_code, reason = "devices are reached by address; each block says why it is sound")]

use core::cell::UnsafeCell;
use core::mem::MaybeUninit;
use core::sync::atomic::{AtomicBool, Ordering};

use board_kit::{LastWords, SECTOR_BYTES};
use firmware_core::session::Session;

use crate::window::{ANSWERS_AT, ASKS_AT, PART_BYTES};

/// Where RAM begins (QEMU's `virt`, its documentation).
const RAM_ADDRESS: u64 = 0x8000_0000;
/// Bytes of the store.
pub const STORE_BYTES: usize = 2 * SECTOR_BYTES;

/// Where the image leaves word of how it ended.
// SAFETY: `.uninit` is reserved by the linker script and not touched at start; any bits are valid words.
#[unsafe(link_section = ".uninit.last_words")]
pub static LAST_WORDS: LastWords = LastWords::new();

/// Memory that has one owner.
struct Owned<T>(UnsafeCell<MaybeUninit<T>>);

// SAFETY: reached only through `Memory::take`, which hands it out once.
unsafe impl<T> Sync for Owned<T> {}

static SESSION: Owned<Session> = Owned(UnsafeCell::new(MaybeUninit::uninit()));
static STORE: Owned<[u8; STORE_BYTES]> = Owned(UnsafeCell::new(MaybeUninit::zeroed()));

/// All memory that is not on the stack.
pub struct Memory {
    pub session: &'static mut MaybeUninit<Session>,
    /// Stands for flash; lost with power.
    pub store: &'static mut [u8],
    /// What was recorded.
    pub asks: &'static [u8],
    /// Room for what comes of it.
    pub answers: &'static mut [u8],
}

impl Memory {
    /// For the one owner that takes it; `None` for everyone after.
    pub fn take() -> Option<Self> {
        static TAKEN: AtomicBool = AtomicBool::new(false);
        if TAKEN.swap(true, Ordering::AcqRel) {
            return None;
        }
        // SAFETY: the swap lets one caller through, so these are the only references ever made. The store is zeroed. The
        // host's parts are mapped RAM that the linker gives to nobody, and the host touches them only while the machine
        // does not run.
        unsafe {
            Some(Self {
                session: &mut *SESSION.0.get(),
                store: (*STORE.0.get()).assume_init_mut(),
                asks: core::slice::from_raw_parts((RAM_ADDRESS + ASKS_AT) as *const u8, PART_BYTES as usize),
                answers: core::slice::from_raw_parts_mut(
                    (RAM_ADDRESS + ANSWERS_AT) as *mut u8,
                    PART_BYTES as usize,
                ),
            })
        }
    }
}

/// How the machine ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum End {
    /// All was replayed.
    Whole,
    /// It was not.
    Broken,
}

/// Switches the machine off; the emulator's exit code is 0 for a whole replay.
pub fn switch_off(end: End) -> ! {
    /// The test finisher of `virt`.
    const FINISHER: *mut u32 = 0x0010_0000 as *mut u32;
    const PASS: u32 = 0x5555;
    const FAIL_WITH_1: u32 = 0x0001_3333;
    let word = match end {
        End::Whole => PASS,
        End::Broken => FAIL_WITH_1,
    };
    loop {
        // SAFETY: a device of the machine; a write to it does nothing but end the machine.
        unsafe { FINISHER.write_volatile(word) }
    }
}
