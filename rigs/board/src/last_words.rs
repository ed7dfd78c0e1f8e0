//! Word of how the last run ended, kept over the reset.
//!
//! In: a reason, from a handler that knows that it is the last to run. Out: the start reason, once, after the
//! reset. Words that do not add up count as power-on.

use firmware_core::link::state::StartReason;
use firmware_core::units::Tick;

use crate::raw::LAST_WORDS_CELL as WORDS;

/// "vane" in ASCII: RAM after power-on holds anything but hardly this and a right sum.
const RUNNING: u32 = 0x7661_6E65;

const MAGIC_AT: usize = 0;
const KIND_AT: usize = 1;
const TICK_AT: usize = 2;
const DETAIL_AT: usize = 3;
const SUM_AT: usize = 4;

const KIND_NONE: u32 = 0;
const KIND_PANIC: u32 = 1;
const KIND_HUNG_TICK: u32 = 2;
const KIND_CPU_FAULT: u32 = 3;

/// How a run ends.
#[derive(Clone, Copy)]
pub enum End {
    /// Panic at a line of source.
    Panic {
        /// The line.
        line: u32,
    },
    /// The watchdog barked while the processor was at this address.
    HungTick {
        /// Program counter.
        at: u32,
    },
    /// A fault at this address.
    CpuFault {
        /// Program counter.
        at: u32,
    },
}

/// Notes that a tick has run; what ends the run afterwards is told with its number.
pub fn note_tick(tick: Tick) {
    WORDS.write(TICK_AT, tick.0);
}

/// Leaves word.
pub fn leave(end: End) {
    let (kind, detail) = match end {
        End::Panic { line } => (KIND_PANIC, line),
        End::HungTick { at } => (KIND_HUNG_TICK, at),
        End::CpuFault { at } => (KIND_CPU_FAULT, at),
    };
    write(kind, detail);
}

/// Why this run started; word is kept from now on for this run.
pub fn take() -> StartReason {
    let tick = Tick(WORDS.read(TICK_AT));
    let detail = WORDS.read(DETAIL_AT);
    let kind = WORDS.read(KIND_AT);
    let known = WORDS.read(MAGIC_AT) == RUNNING && WORDS.read(SUM_AT) == sum(kind, detail);
    let reason = match (known, kind) {
        (false, _) => StartReason::PowerOn,
        (true, KIND_PANIC) => StartReason::Panic { tick, line: detail },
        (true, KIND_HUNG_TICK) => StartReason::HungTick { tick, at: detail },
        (true, KIND_CPU_FAULT) => StartReason::CpuFault { tick, at: detail },
        (true, _) => StartReason::Reset,
    };
    WORDS.write(TICK_AT, 0);
    write(KIND_NONE, 0);
    reason
}

fn write(kind: u32, detail: u32) {
    WORDS.write(MAGIC_AT, RUNNING);
    WORDS.write(KIND_AT, kind);
    WORDS.write(DETAIL_AT, detail);
    WORDS.write(SUM_AT, sum(kind, detail));
}

fn sum(kind: u32, detail: u32) -> u32 {
    // The number of one bits would not do: 0 and 0 must not sum to what blank RAM holds.
    RUNNING ^ kind.rotate_left(8) ^ detail.rotate_left(16)
}
