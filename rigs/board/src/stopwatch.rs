//! CMSDK APB timer 0, free running: how long things take, in board clocks.

use board_kit::{Clock, Longest};

use crate::raw::Register;

const BASE: usize = 0x4000_0000;
const CONTROL: Register = Register::at(BASE, 0x00);
const VALUE: Register = Register::at(BASE, 0x04);
const RELOAD: Register = Register::at(BASE, 0x08);
const CONTROL_ENABLE: u32 = 1 << 0;

/// The timer, for whoever counts its clocks.
pub struct Stopwatch;

/// Lets the timer run.
pub fn start() {
    RELOAD.write(u32::MAX);
    VALUE.write(u32::MAX);
    CONTROL.write(CONTROL_ENABLE);
}

impl Clock for Stopwatch {
    fn now(&self) -> u32 {
        // The timer counts down.
        u32::MAX - VALUE.read()
    }
}

/// Board clocks from a moment to now.
pub fn clocks_since(began: u32) -> u32 {
    Stopwatch.now().wrapping_sub(began)
}

/// Longest time with interrupts off.
pub static INTERRUPTS_OFF: Longest = Longest::new();
/// Longest interrupt handler.
pub static HANDLER: Longest = Longest::new();
