//! The independent watchdog: resets the chip when a tick does not come to its end, and with the reset the pull-down takes
//! the bridge off. It runs from an oscillator of its own and cannot be stopped.
//!
//! Numbers: RM0090 rev 19, 21.3 and 21.4; 32 kHz nominal, 17 to 47 kHz (data sheet, from memory): 10 ms nominal are 7 to
//! 19 ms.

use board_kit::Watchdog;

use crate::clock::comes_true;
use crate::raw::iwdg;

/// Counts of 4 / 32 kHz: 10 ms.
const PATIENCE: u16 = 80;

/// The watchdog, for whoever runs the ticks.
pub struct OwnWatchdog;

/// Switches the watchdog on: from here on a tick must come every 7 ms.
pub fn start() -> OwnWatchdog {
    iwdg().kr().write(|w| w.key().start());
    iwdg().kr().write(|w| w.key().unlock());
    iwdg().pr().write(|w| w.pr().divide_by4());
    iwdg().rlr().write(|w| w.rl().set(PATIENCE));
    // Until both have reached the other oscillator's side; should they never, the patience is 512 ms, not none.
    let _is_taken = comes_true(|| iwdg().sr().read().bits() == 0);
    iwdg().kr().write(|w| w.key().feed());
    OwnWatchdog
}

impl Watchdog for OwnWatchdog {
    // It counts from one healthy tick to the next; there is no rest.
    fn expect_tick(&mut self) {}

    fn feed(&mut self) {
        iwdg().kr().write(|w| w.key().feed());
    }

    fn rest(&mut self) {}
}
