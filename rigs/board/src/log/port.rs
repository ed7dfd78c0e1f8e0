//! defmt's way out: whole frames into a ring, from there to the third serial port.
//!
//! Only the main loop and the panic handler log, never an interrupt handler, so a frame needs no lock while
//! it grows; a panic inside a frame finds the logger busy and that one frame is lost.
#![allow(unsafe_code, reason = "defmt's logger trait is unsafe to implement; each item says why it is sound")]

use core::cell::RefCell;
use core::sync::atomic::{AtomicBool, AtomicU32, Ordering};

use board_kit::Ring;
use critical_section::Mutex;
use defmt::{Encoder, Logger};

use crate::uart::{send, switch_on_sending};

/// The third serial port.
const BASE: usize = 0x4000_6000;
/// Bytes that one turn of the main loop sends.
pub const BYTES_PER_PUMP: usize = 64;
/// Longest frame.
const FRAME_BYTES: usize = 128;
const MICROSECONDS_PER_TICK: u32 = 1000;

static TICK: AtomicU32 = AtomicU32::new(0);
static BUSY: AtomicBool = AtomicBool::new(false);
static LOST: AtomicU32 = AtomicU32::new(0);
static WAITING: Ring = Ring::new();
static FRAME: Mutex<RefCell<Frame>> = Mutex::new(RefCell::new(Frame::new()));

defmt::timestamp!("{=u32:us}", TICK.load(Ordering::Relaxed).wrapping_mul(MICROSECONDS_PER_TICK));

/// Time of what is logged from now on.
pub fn note_tick(tick: u32) {
    TICK.store(tick, Ordering::Relaxed);
}

/// Switches the port on.
pub fn start() {
    switch_on_sending(BASE);
}

/// Sends at most `most` bytes of what waits, and owns up to what was lost.
pub fn pump(most: usize) {
    for byte in core::iter::from_fn(|| WAITING.pop()).take(most) {
        send(BASE, byte);
    }
    if WAITING.is_empty() {
        let lost = LOST.swap(0, Ordering::Relaxed);
        if lost > 0 {
            defmt::warn!("lost {=u32} frames", lost);
        }
    }
}

/// A frame while it grows.
struct Frame {
    encoder: Encoder,
    bytes: heapless::Vec<u8, FRAME_BYTES>,
    fits: bool,
}

impl Frame {
    const fn new() -> Self {
        Self { encoder: Encoder::new(), bytes: heapless::Vec::new(), fits: true }
    }

    fn begin(&mut self) {
        self.bytes.clear();
        self.fits = true;
        let Self { encoder, bytes, fits } = self;
        encoder.start_frame(|part| *fits &= bytes.extend_from_slice(part).is_ok());
    }

    fn grow(&mut self, more: &[u8]) {
        let Self { encoder, bytes, fits } = self;
        encoder.write(more, |part| *fits &= bytes.extend_from_slice(part).is_ok());
    }

    /// Ends the frame; gives it to the ring whole or not at all.
    fn end(&mut self) {
        let Self { encoder, bytes, fits } = self;
        encoder.end_frame(|part| *fits &= bytes.extend_from_slice(part).is_ok());
        if self.fits && WAITING.room() >= self.bytes.len() {
            for byte in &self.bytes {
                WAITING.push(*byte);
            }
        } else {
            LOST.fetch_add(1, Ordering::Relaxed);
        }
    }
}

fn with_frame(act: impl FnOnce(&mut Frame)) {
    critical_section::with(|token| act(&mut FRAME.borrow_ref_mut(token)));
}

#[defmt::global_logger]
struct SerialLogger;

// SAFETY: `acquire` … `release` pairs do not nest (nobody logs inside a format), and only one context logs; the
// frame itself is behind a critical section.
unsafe impl Logger for SerialLogger {
    fn acquire() {
        if BUSY.swap(true, Ordering::Relaxed) {
            LOST.fetch_add(1, Ordering::Relaxed);
        }
        with_frame(Frame::begin);
    }

    unsafe fn flush() {}

    unsafe fn release() {
        with_frame(Frame::end);
        BUSY.store(false, Ordering::Relaxed);
    }

    unsafe fn write(bytes: &[u8]) {
        with_frame(|frame| frame.grow(bytes));
    }
}
