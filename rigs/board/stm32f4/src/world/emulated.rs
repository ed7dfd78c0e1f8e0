//! The world of the emulated board: a lever made of arithmetic, and RAM that obeys the rules of flash.
//!
//! A byte on the second serial port breaks the board on purpose: `p` panic, `f` a load from nowhere, `o` a stack that
//! outgrows RAM, `r` a reset, all in the middle of the next tick; `h` hangs the main loop.

use core::hint::black_box;
use core::sync::atomic::{AtomicBool, Ordering};

use board_kit::{Flash, Lever};
use cortex_m::peripheral::SCB;
use firmware_core::link::self_test::SelfTest;
use firmware_core::sample::Sample;
use firmware_core::units::{Duty, Tick};

use crate::converters::Converters;
use crate::inputs::Inputs;
use crate::raw;

/// What the hello calls this board.
pub const MODEL: &str = "emulated STM32F4 board";

/// Where samples come from.
pub type BoardInputs = Lever;
/// Where is kept what is kept.
pub type Pages = Flash;

/// The main loop is to hang.
static IS_HUNG: AtomicBool = AtomicBool::new(false);

/// The RAM that stands for flash, once.
pub fn pages() -> Option<Pages> {
    raw::take_store_memory().map(|memory| Flash::on(memory))
}

/// The lever; the converter is set up as on the board that is flashed, and not read. Nothing to check.
pub fn start() -> (BoardInputs, SelfTest) {
    let _unread = Converters::start();
    raw::usart2().cr1().write(|w| w.ue().enabled().re().enabled());
    (Lever::new(), SelfTest::NOT_FITTED)
}

impl Inputs for Lever {
    fn take(&mut self, tick: Tick, driven: Duty) -> Sample {
        self.step(tick, driven)
    }
}

/// Breaks what a byte on the second serial port asks for.
pub fn break_on_purpose() {
    if raw::usart2().sr().read().rxne().bit_is_clear() {
        return;
    }
    match raw::usart2().dr().read().dr().bits() as u8 {
        #[allow(clippy::panic, reason = "the drill is a panic")]
        b'p' => panic!("a drill"),
        b'f' => raw::load_from_nowhere(),
        b'o' => outgrow(0),
        b'r' => SCB::sys_reset(),
        b'h' => IS_HUNG.store(true, Ordering::Relaxed),
        _ => {}
    }
}

/// Needs more stack with every call.
#[inline(never)]
fn outgrow(depth: u32) {
    let block = black_box([depth; 32]);
    if black_box(true) {
        outgrow(depth.wrapping_add(1));
    }
    black_box(&block);
}

/// One turn of the main loop, or the last.
pub fn turn() {
    while IS_HUNG.load(Ordering::Relaxed) {
        cortex_m::asm::nop();
    }
}

/// The main loop has no more to do. The emulator keeps real time only asleep.
pub fn rest() {
    cortex_m::asm::wfi();
}
