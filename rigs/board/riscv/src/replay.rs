//! Ask after ask: recorded bytes to the session, recorded samples through its tick, duty to the bridge, everything that
//! comes of it into memory.

use board_kit::{Clock, Flash, Keep, Ticker, Watchdog};
use firmware_core::sample::Sample;
use firmware_core::session::LinkEnd;
use firmware_core::store::StoreResult;
use firmware_core::units::Tick;
use lockstep::{Ask, Stepped, TickDone, WindowError, decode, encode};

use crate::bridge::MemoryBridge;

/// Instructions that the processor has run.
pub struct Retired;

impl Clock for Retired {
    fn now(&self) -> u32 {
        // Wraps as it is meant to.
        riscv::register::minstret::read() as u32
    }
}

/// The machine has none, and drives nothing.
pub struct NoWatchdog;

impl Watchdog for NoWatchdog {
    fn expect_tick(&mut self) {}
    fn feed(&mut self) {}
    fn rest(&mut self) {}
}

/// The session's two ends, and what they share.
pub struct Replay {
    link_end: LinkEnd<'static>,
    ticker: Ticker<MemoryBridge, NoWatchdog, Retired>,
    keep: Keep<Flash>,
    next: Tick,
    stored: u16,
}

impl Replay {
    /// Everything at rest.
    pub fn new(
        link_end: LinkEnd<'static>,
        ticker: Ticker<MemoryBridge, NoWatchdog, Retired>,
        keep: Keep<Flash>,
    ) -> Self {
        Self { link_end, ticker, keep, next: Tick(0), stored: 0 }
    }

    /// Replays asks up to one that is no step.
    pub fn run(&mut self, asks: &[u8], answers: &mut [u8]) -> Result<(), WindowError> {
        let (mut asks, mut answers) = (Reading(asks), Writing(answers));
        while let Ask::Step { heard, samples, room } = asks.take()? {
            self.hear(asks.bytes(heard as usize)?);
            for _ in 0..samples {
                answers.put(&self.tick(&asks.take()?))?;
            }
            // At most what was asked for; how much is known only afterwards.
            self.ticker.attend();
            let (now, later) = answers.split(lockstep::ITEM_BYTES)?;
            let most = later.len().min(usize::from(room));
            let sent = self.link_end.transmit(later.get_mut(..most).unwrap_or_default());
            let next_may_run = self.ticker.may_advance(self.next);
            let stepped = Stepped { next_may_run, sent: sent as u16, stored: self.stored };
            encode(&stepped, now)?;
            answers.skip(lockstep::ITEM_BYTES + sent)?;
        }
        Ok(())
    }

    fn hear(&mut self, bytes: &[u8]) {
        self.ticker.attend();
        for byte in bytes {
            if self.link_end.hear(*byte) {
                self.ticker.attend();
            }
        }
    }

    fn tick(&mut self, sample: &Sample) -> TickDone {
        if let Some(kept) = self.ticker.take_save() {
            let result = self.keep.save(&kept);
            self.ticker.saved(result);
            self.stored = self.stored.wrapping_add(u16::from(result == StoreResult::Written));
        }
        let timed = self.ticker.tick(sample, || {});
        self.next = sample.tick.after(1);
        TickDone { output: timed.output, clocks: timed.clocks }
    }
}

/// What is still to be read.
struct Reading<'a>(&'a [u8]);

impl<'a> Reading<'a> {
    fn take<T: serde::Deserialize<'a>>(&mut self) -> Result<T, WindowError> {
        let (item, used) = decode(self.0)?;
        self.bytes(used)?;
        Ok(item)
    }

    fn bytes(&mut self, count: usize) -> Result<&'a [u8], WindowError> {
        let (bytes, rest) = self.0.split_at_checked(count).ok_or(WindowError::Garbled)?;
        self.0 = rest;
        Ok(bytes)
    }
}

/// What is still free.
struct Writing<'a>(&'a mut [u8]);

impl Writing<'_> {
    fn put<T: serde::Serialize>(&mut self, item: &T) -> Result<(), WindowError> {
        let used = encode(item, self.0)?;
        self.skip(used)
    }

    /// The next bytes, and those behind them.
    fn split(&mut self, count: usize) -> Result<(&mut [u8], &mut [u8]), WindowError> {
        self.0.split_at_mut_checked(count).ok_or(WindowError::Full)
    }

    fn skip(&mut self, count: usize) -> Result<(), WindowError> {
        let free = core::mem::take(&mut self.0);
        self.0 = free.get_mut(count..).ok_or(WindowError::Full)?;
        Ok(())
    }
}
