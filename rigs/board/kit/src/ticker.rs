//! One tick: from a sample to the duty at the bridge, under the watchdog's eye.

use firmware_core::controller::TickOutput;
use firmware_core::drive::{Bridge, Gate};
use firmware_core::sample::Sample;
use firmware_core::session::ControlEnd;
use firmware_core::store::{Kept, StoreResult};
use firmware_core::units::Tick;

use crate::last_words::LastWords;

/// What resets the board when a tick does not come to its end.
pub trait Watchdog {
    /// A tick begins: from here on its time counts.
    fn expect_tick(&mut self);
    /// The tick came to its end and its duty reached the bridge.
    fn feed(&mut self);
    /// Nothing is expected before the next tick.
    fn rest(&mut self);
}

/// A counter of the processor's or a timer's clocks.
pub trait Clock {
    /// Clocks so far, wrapping.
    fn now(&self) -> u32;
}

/// A tick and what it took.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Timed {
    /// What the controller decided.
    pub output: TickOutput,
    /// Clocks from the sample to the duty.
    pub clocks: u32,
}

/// The control end and all that a tick touches. For a timer's interrupt, or wherever samples come.
pub struct Ticker<B, W, C> {
    control: ControlEnd<'static>,
    gate: Gate<B>,
    watchdog: W,
    clock: C,
    words: &'static LastWords,
}

impl<B: Bridge, W: Watchdog, C: Clock> Ticker<B, W, C> {
    /// Ready for the first tick; the bridge is off.
    pub fn new(
        control: ControlEnd<'static>,
        bridge: B,
        watchdog: W,
        clock: C,
        words: &'static LastWords,
    ) -> Self {
        Self { control, gate: Gate::new(bridge), watchdog, clock, words }
    }

    /// Runs a tick. `before` runs first, within the time that the watchdog grants.
    #[inline]
    pub fn tick(&mut self, sample: &Sample, before: impl FnOnce()) -> Timed {
        self.watchdog.expect_tick();
        before();
        let began = self.clock.now();
        let output = self.control.tick(sample);
        let clocks = self.clock.now().wrapping_sub(began);
        if self.gate.drive(self.control.arming(), output.duty).is_ok() {
            self.watchdog.feed();
        }
        self.words.note_tick(sample.tick);
        self.watchdog.rest();
        Timed { output, clocks }
    }

    /// As [`ControlEnd::attend`].
    #[inline]
    pub fn attend(&mut self) {
        self.control.attend();
    }

    /// As [`ControlEnd::may_advance`].
    pub fn may_advance(&self, next: Tick) -> bool {
        self.control.may_advance(next)
    }

    /// As [`ControlEnd::take_save`].
    #[inline]
    pub fn take_save(&mut self) -> Option<Kept> {
        self.control.take_save()
    }

    /// As [`ControlEnd::saved`].
    #[inline]
    pub fn saved(&mut self, result: StoreResult) {
        self.control.saved(result);
    }
}
