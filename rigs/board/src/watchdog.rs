//! CMSDK APB watchdog: barks (an interrupt that cannot be masked) when a tick is late, bites (reset) when
//! even the bark is not handled.
//!
//! Only a healthy tick feeds it: one that came to its end and whose duty reached the bridge. Where the
//! host's world makes time pass, time stands still between two ticks: the watchdog is then given the longest
//! patience it has, and a slow timer feeds it on.

use board_kit::Watchdog;

use crate::raw::{Register, enable_interrupt};

const BASE: usize = 0x4000_8000;
const LOAD: Register = Register::at(BASE, 0x000);
const CONTROL: Register = Register::at(BASE, 0x008);
const CLEAR: Register = Register::at(BASE, 0x00C);
const LOCK: Register = Register::at(BASE, 0xC00);
const COUNT_AND_RESET: u32 = 0b11;
const UNLOCK: u32 = 0x1ACC_E551;

/// CMSDK APB timer 1: feeds the watchdog while time stands still.
const TIMER_BASE: usize = 0x4000_1000;
const TIMER_CONTROL: Register = Register::at(TIMER_BASE, 0x00);
const TIMER_VALUE: Register = Register::at(TIMER_BASE, 0x04);
const TIMER_RELOAD: Register = Register::at(TIMER_BASE, 0x08);
const TIMER_CLEAR: Register = Register::at(TIMER_BASE, 0x0C);
const TIMER_ON_WITH_INTERRUPT: u32 = 0b1001;
/// Interrupt line of timer 1.
pub const TIMER_LINE: u16 = 9;

/// Time that a tick, and the store's write after it, may take at most: 10 ms.
const PATIENCE_CLOCKS: u32 = lockstep::BOARD_CLOCK_HZ / 100;
/// While time stands still: 171 s, fed every 60 s.
const REST_CLOCKS: u32 = u32::MAX;
const FEED_AT_REST_CLOCKS: u32 = lockstep::BOARD_CLOCK_HZ * 60;

/// The watchdog, for whoever runs the ticks.
pub struct ApbWatchdog;

/// Switches the watchdog on, at rest.
pub fn start() -> ApbWatchdog {
    LOCK.write(UNLOCK);
    let mut watchdog = ApbWatchdog;
    watchdog.rest();
    CONTROL.write(COUNT_AND_RESET);
    TIMER_RELOAD.write(FEED_AT_REST_CLOCKS);
    TIMER_VALUE.write(FEED_AT_REST_CLOCKS);
    TIMER_CONTROL.write(TIMER_ON_WITH_INTERRUPT);
    enable_interrupt(TIMER_LINE);
    watchdog
}

impl Watchdog for ApbWatchdog {
    fn expect_tick(&mut self) {
        LOAD.write(PATIENCE_CLOCKS);
        CLEAR.write(1);
    }

    fn feed(&mut self) {
        CLEAR.write(1);
    }

    fn rest(&mut self) {
        LOAD.write(REST_CLOCKS);
        CLEAR.write(1);
    }
}

/// The slow timer. During a tick it feeds nobody: the load stays the tick's, and 60 s cannot pass in it.
pub fn on_slow_timer() {
    TIMER_CLEAR.write(1);
    CLEAR.write(1);
}
