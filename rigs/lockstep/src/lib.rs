//! What crosses between the controller on an emulated board and the host's world: samples in, outputs out.
//!
//! The two share a window of memory, as a processor and a DMA engine would, and ring a bell over a serial
//! port: the host writes an [`Ask`] and its samples, rings; the board answers behind [`ANSWER_AT`] and
//! rings back with the same letter. A bell costs one byte each way however much the window holds, which is
//! what makes lockstep fast: the emulated port hands over one byte at a time.
//!
//! Nothing here decides anything: which bytes and samples cross, and in what order, is the host's choice, so
//! that a run is repeatable to the byte.
#![no_std]
#![forbid(unsafe_code)]

mod window;

pub use window::{ITEM_BYTES, LENGTH_BYTES, WindowError, decode, encode};

use firmware_core::controller::TickOutput;
use firmware_core::link::state::StartReason;
use serde::{Deserialize, Serialize};

/// Where the board sees the window: the board's large RAM, which the image uses for nothing else.
pub const WINDOW_ADDRESS: u32 = 0x2100_0000;
/// Bytes of the board's large RAM.
pub const WINDOW_BYTES: u32 = 16 << 20;
/// Offset of what the host asks: a length (4 bytes, little-endian), then that many bytes.
pub const ASK_AT: u32 = 0;
/// Offset of what the board answers, laid out alike.
pub const ANSWER_AT: u32 = 0x1_0000;
/// Most bytes of an ask or an answer, its length included.
pub const MESSAGE_BYTES: u32 = 0x1_0000;
/// Offset of the bridge's registers, which the host may look at whenever it likes.
pub const BRIDGE_AT: u32 = 0x2_0000;

/// The bell that a board rings once after it has started; the letters of asks are never this one.
pub const STARTED_BELL: u8 = 0;

/// What the host wants of the board.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Ask {
    /// Takes the link's bytes, runs one tick for each sample that follows, then sends over the link.
    Step {
        /// Bytes that the host has put on the link since the last ask; the board waits for all of them.
        heard: u32,
        /// Samples that follow.
        samples: u16,
        /// Most bytes that may go out over the link.
        room: u16,
    },
    /// Asks what the board has used of its resources.
    Usage,
    /// Breaks the board on purpose, in the middle of its next tick.
    Drill(Drill),
}

/// Ways to break the board on purpose.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Drill {
    /// A panic.
    Panic,
    /// A loop without an end.
    Hang,
    /// A reset, as after a dip of the supply: RAM keeps its contents, nothing is recorded.
    Reset,
    /// A load from an address where nothing is.
    BusFault,
}

/// What the board says once it has started.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Started {
    /// Why it started.
    pub reason: StartReason,
}

/// One tick as the board ran it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct TickDone {
    /// What the controller decided.
    pub output: TickOutput,
    /// Time the tick took, in ticks of the board's [`BOARD_CLOCK_HZ`].
    pub clocks: u32,
}

/// What follows the ticks of an [`Ask::Step`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stepped {
    /// True when the next tick may run.
    pub next_may_run: bool,
    /// Bytes that went out over the link; the host waits for all of them.
    pub sent: u16,
    /// Calibrations written to the store since the start.
    pub stored: u16,
}

/// Answer to [`Ask::Usage`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Usage {
    /// Most stack that was ever in use, bytes.
    pub stack_bytes: u32,
    /// Longest time with interrupts off, board clocks.
    pub interrupts_off_clocks: u32,
    /// Longest interrupt handler, board clocks.
    pub handler_clocks: u32,
}

/// The board's processor and timer clock, Hz.
pub const BOARD_CLOCK_HZ: u32 = 25_000_000;

/// Board time of one emulated instruction is two to the power of this, ns (the emulator's `-icount shift=`): near
/// the 15 million instructions a second of a Cortex-M4 at 25 MHz. Board time then follows instructions, not the
/// host's load.
pub const INSTRUCTION_SHIFT: u32 = 6;

/// Instructions that took so many board clocks. A clock is 40 ns, an instruction 64 ns.
#[must_use]
pub fn instructions(clocks: u32) -> u32 {
    let clock_ns = 1_000_000_000 / u64::from(BOARD_CLOCK_HZ);
    u32::try_from((u64::from(clocks) * clock_ns) >> INSTRUCTION_SHIFT).unwrap_or(u32::MAX)
}
