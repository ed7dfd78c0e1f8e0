//! Word of how the last run ended, kept over the reset.
//!
//! In: a reason, from a handler that knows that it is the last to run. Out: the start reason, once, after the
//! reset. Words that do not add up count as power-on.

use core::sync::atomic::{AtomicU32, Ordering};

use firmware_core::link::state::StartReason;
use firmware_core::units::Tick;

/// "vane" in ASCII: RAM after power-on holds anything but hardly this and a right sum.
const RUNNING: u32 = 0x7661_6E65;

const MAGIC_AT: usize = 0;
const KIND_AT: usize = 1;
const TICK_AT: usize = 2;
const DETAIL_AT: usize = 3;
const SUM_AT: usize = 4;

/// Words that a board must keep over a reset.
pub const WORDS: usize = 5;

const KIND_NONE: u32 = 0;
const KIND_PANIC: u32 = 1;
const KIND_HUNG_TICK: u32 = 2;
const KIND_CPU_FAULT: u32 = 3;

/// How a run ends.
#[derive(Clone, Copy)]
pub enum LastEnd {
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

/// Words that a reset leaves alone; after power-on they hold anything.
#[repr(transparent)]
pub struct LastWords([AtomicU32; WORDS]);

impl LastWords {
    /// Words for a place that is neither loaded nor cleared at the start.
    #[must_use]
    #[allow(
        clippy::new_without_default,
        reason = "for a static that the start leaves alone, and nothing else"
    )]
    pub const fn new() -> Self {
        Self([const { AtomicU32::new(0) }; WORDS])
    }

    /// Notes that a tick has run; what ends the run afterwards is told with its number.
    pub fn note_tick(&self, tick: Tick) {
        self.put(TICK_AT, tick.0);
    }

    /// The last tick of the run before; to be asked before [`LastWords::take`].
    pub fn last_tick(&self) -> Tick {
        Tick(self.get(TICK_AT))
    }

    /// Leaves word.
    pub fn leave(&self, end: LastEnd) {
        let (kind, detail) = match end {
            LastEnd::Panic { line } => (KIND_PANIC, line),
            LastEnd::HungTick { at } => (KIND_HUNG_TICK, at),
            LastEnd::CpuFault { at } => (KIND_CPU_FAULT, at),
        };
        self.write(kind, detail);
    }

    /// Why this run started; word is kept from now on for this run.
    pub fn take(&self) -> StartReason {
        let tick = self.last_tick();
        let detail = self.get(DETAIL_AT);
        let kind = self.get(KIND_AT);
        let known = self.get(MAGIC_AT) == RUNNING && self.get(SUM_AT) == sum(kind, detail);
        let reason = match (known, kind) {
            (false, _) => StartReason::PowerOn,
            (true, KIND_PANIC) => StartReason::Panic { tick, line: detail },
            (true, KIND_HUNG_TICK) => StartReason::HungTick { tick, at: detail },
            (true, KIND_CPU_FAULT) => StartReason::CpuFault { tick, at: detail },
            (true, _) => StartReason::Reset,
        };
        self.put(TICK_AT, 0);
        self.write(KIND_NONE, 0);
        reason
    }

    fn write(&self, kind: u32, detail: u32) {
        self.put(MAGIC_AT, RUNNING);
        self.put(KIND_AT, kind);
        self.put(DETAIL_AT, detail);
        self.put(SUM_AT, sum(kind, detail));
    }

    fn get(&self, at: usize) -> u32 {
        self.0.get(at).map_or(0, |word| word.load(Ordering::Relaxed))
    }

    fn put(&self, at: usize, value: u32) {
        if let Some(word) = self.0.get(at) {
            word.store(value, Ordering::Relaxed);
        }
    }
}

fn sum(kind: u32, detail: u32) -> u32 {
    // The number of one bits would not do: 0 and 0 must not sum to what blank RAM holds.
    RUNNING ^ kind.rotate_left(8) ^ detail.rotate_left(16)
}
