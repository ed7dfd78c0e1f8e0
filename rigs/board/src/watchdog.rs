//! CMSDK APB watchdog: barks (an interrupt that cannot be masked) when a tick is late, bites (reset) when
//! even the bark is not handled.
//!
//! Only a healthy tick feeds it: one that came to its end and whose duty reached the bridge. Where the
//! host's world makes time pass, time stands still between two ticks, and so does the watchdog.

use crate::raw::Register;

const BASE: usize = 0x4000_8000;
const LOAD: Register = Register::at(BASE, 0x000);
const CONTROL: Register = Register::at(BASE, 0x008);
const CLEAR: Register = Register::at(BASE, 0x00C);
const LOCK: Register = Register::at(BASE, 0xC00);

const CONTROL_COUNT: u32 = 1 << 0;
const CONTROL_RESET: u32 = 1 << 1;
const UNLOCK: u32 = 0x1ACC_E551;

/// Time that a tick, and the store's write after it, may take at most: 10 ms.
pub const PATIENCE_CLOCKS: u32 = lockstep::BOARD_CLOCK_HZ / 100;

/// A tick begins: from here on the watchdog counts.
pub fn start() {
    LOCK.write(UNLOCK);
    LOAD.write(PATIENCE_CLOCKS);
    CONTROL.write(CONTROL_COUNT | CONTROL_RESET);
}

/// A healthy tick ended.
pub fn feed() {
    CLEAR.write(1);
}

/// The host's world holds time still until the next sample.
pub fn stand_still() {
    CONTROL.write(CONTROL_RESET);
}
