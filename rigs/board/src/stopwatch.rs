//! CMSDK APB timer 0, free running: how long things take, in board clocks.

use core::sync::atomic::{AtomicU32, Ordering};

use crate::raw::Register;

const BASE: usize = 0x4000_0000;
const CONTROL: Register = Register::at(BASE, 0x00);
const VALUE: Register = Register::at(BASE, 0x04);
const RELOAD: Register = Register::at(BASE, 0x08);
const CONTROL_ENABLE: u32 = 1 << 0;

/// A moment, in board clocks.
#[derive(Clone, Copy)]
pub struct Moment(u32);

/// Lets the timer run.
pub fn start() {
    RELOAD.write(u32::MAX);
    VALUE.write(u32::MAX);
    CONTROL.write(CONTROL_ENABLE);
}

/// Now.
pub fn now() -> Moment {
    // The timer counts down.
    Moment(u32::MAX - VALUE.read())
}

impl Moment {
    /// Board clocks since the stopwatch began, wrapping.
    pub fn clocks(self) -> u32 {
        self.0
    }

    /// Board clocks from this moment to now.
    pub fn clocks_since(self) -> u32 {
        now().0.wrapping_sub(self.0)
    }
}

/// The longest of many spans.
pub struct Longest(AtomicU32);

impl Longest {
    /// None so far.
    pub const fn new() -> Self {
        Self(AtomicU32::new(0))
    }

    /// Takes another span into account.
    pub fn note(&self, clocks: u32) {
        // No read-modify-write needed: all writers run at one priority.
        if clocks > self.get() {
            self.0.store(clocks, Ordering::Relaxed);
        }
    }

    /// The longest so far, board clocks.
    pub fn get(&self) -> u32 {
        self.0.load(Ordering::Relaxed)
    }
}

/// Longest time with interrupts off.
pub static INTERRUPTS_OFF: Longest = Longest::new();
/// Longest interrupt handler.
pub static HANDLER: Longest = Longest::new();
