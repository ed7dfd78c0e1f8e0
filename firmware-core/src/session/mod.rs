//! The board's end of the talk, in two ends. In: any bytes at any time, and one sample per tick. Out: what the drive
//! does in that tick, what is to be stored, and bytes for the line.
//!
//! Board image and virtual rig only move bytes and samples; every decision is here.
//!
//! ```text
//!         link end                        control end
//! bytes ─ hear ─▶ commands ── queue ──▶ attend ─▶ activity ┐
//!                                                          ├─ tick ─▶ duty
//! bytes ◀─ transmit ◀── queues ◀─ notes, points, answers ──┘ ◀─ sample
//! ```
//!
//! A timer's interrupt can run the control end while a main loop runs the link end: [`Session::split`] gives the two, and
//! neither waits for the other. Where one thread does both, [`Session`] itself carries out each command as it is heard.

mod activity;
mod bank;
mod commands;
mod control_end;
mod exchange;
mod given;
mod keep;
mod keeping;
mod lease;
mod link_end;
mod link_memory;
mod moving;
mod probing;
mod starting;
mod stream;

pub use control_end::ControlEnd;
pub use exchange::{WAITING_COMMANDS, WAITING_POINTS};
pub use link_end::LinkEnd;

use crate::controller::TickOutput;
use crate::link::self_test::SelfTest;
use crate::link::state::Identity;
use crate::sample::Sample;
use crate::store::{Kept, StoreResult};
use crate::units::Tick;

use control_end::ControlMemory;
use exchange::Exchange;
use link_memory::LinkMemory;

/// One board's talk with one host, and the controller that it talks about.
#[derive(Debug)]
pub struct Session {
    link: LinkMemory,
    control: ControlMemory,
    exchange: Exchange,
}

impl Session {
    /// A session that nobody has greeted yet: disarmed, released, silent, without settings of its own. One expression,
    /// so that a board can build it in place: it is larger than a small stack.
    #[must_use]
    #[inline]
    pub fn new(identity: Identity, self_test: SelfTest) -> Self {
        Self {
            control: ControlMemory::new(identity.pacing, self_test),
            link: LinkMemory::new(identity, self_test),
            exchange: Exchange::new(),
        }
    }

    /// The two ends. Each may be moved to where it runs; what they share are bounded queues.
    #[must_use]
    pub fn split(&mut self) -> (LinkEnd<'_>, ControlEnd<'_>) {
        let (link, control) = self.exchange.split();
        (LinkEnd::new(&mut self.link, link), ControlEnd::new(&mut self.control, control))
    }

    /// Takes bytes from the line and does what they say: any bytes, at any time between ticks.
    #[inline]
    pub fn receive(&mut self, bytes: &[u8]) {
        let (mut link, mut control) = self.split();
        control.attend();
        for byte in bytes {
            if link.hear(*byte) {
                control.obey();
            }
        }
    }

    /// As [`ControlEnd::may_advance`].
    #[must_use]
    pub fn may_advance(&self, next: Tick) -> bool {
        self.control.may_advance(next)
    }

    /// As [`ControlEnd::tick`].
    pub fn tick(&mut self, sample: &Sample) -> TickOutput {
        self.split().1.tick(sample)
    }

    /// Fills `out` with bytes for the line; gives how many. For the time between ticks, at least once in
    /// [`WAITING_POINTS`] ticks; its cost grows with the bytes asked for.
    #[inline]
    pub fn transmit(&mut self, out: &mut [u8]) -> usize {
        let (mut link, mut control) = self.split();
        control.attend();
        link.transmit(out)
    }

    /// As [`ControlEnd::restore`].
    #[inline]
    pub fn restore(&mut self, kept: &Kept) {
        self.split().1.restore(kept);
    }

    /// As [`ControlEnd::take_save`].
    #[inline]
    pub fn take_save(&mut self) -> Option<Kept> {
        self.split().1.take_save()
    }

    /// As [`ControlEnd::saved`].
    #[inline]
    pub fn saved(&mut self, result: StoreResult) {
        self.split().1.saved(result);
    }
}

#[cfg(test)]
#[allow(clippy::indexing_slicing, clippy::arithmetic_side_effects)]
mod tests;
