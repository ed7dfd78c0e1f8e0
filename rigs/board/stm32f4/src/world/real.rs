//! The world that the image is flashed for: converter and flash.

use firmware_core::link::self_test::SelfTest;

use crate::converters::Converters;
use crate::inputs::BoardSensors;
use crate::journal::Journal;
use crate::self_test;

/// What the hello calls this board.
pub const MODEL: &str = "STM32F4 board";

/// Where samples come from.
pub type BoardInputs = BoardSensors;
/// Where is kept what is kept.
pub type Pages = Journal;

/// The journal, once.
pub fn pages() -> Option<Pages> {
    Journal::take()
}

/// The sensors, and what the self-test found, the bridge off.
pub fn start() -> (BoardInputs, SelfTest) {
    self_test::run(Converters::start())
}

/// Nothing breaks this board on purpose.
pub fn break_on_purpose() {}

/// One turn of the main loop.
pub fn turn() {}

/// The main loop has no more to do. It does not sleep: the processor's cycle counter, by which ticks are numbered, stands
/// still asleep.
pub fn rest() {
    cortex_m::asm::nop();
}
