//! What happens when the software can no longer be trusted: drive off first, then word of why, then a reset.
//!
//! In: a panic, a processor fault, the watchdog's bark. Out: duty 0 within the handler's first
//! instructions, and a start reason that the host is told after the reset.

use core::panic::PanicInfo;

use board_kit::LastEnd;
use cortex_m::peripheral::SCB;
use cortex_m_rt::{ExceptionFrame, exception};
use firmware_core::drive::SafeOff;

use crate::bridge::WindowCutoff;
use crate::log;
use crate::raw::LAST_WORDS;

#[panic_handler]
fn on_panic(info: &PanicInfo) -> ! {
    cortex_m::interrupt::disable();
    WindowCutoff::force_off();
    // The place alone: the message would bring all of formatting into the image.
    let place = info.location();
    log::panicked(place);
    LAST_WORDS.leave(LastEnd::Panic { line: place.map_or(0, core::panic::Location::line) });
    SCB::sys_reset()
}

/// The watchdog's bark: a tick, or the write to the store behind it, did not come to its end.
pub fn on_bark(frame: &ExceptionFrame) -> ! {
    WindowCutoff::force_off();
    LAST_WORDS.leave(LastEnd::HungTick { at: frame.pc() });
    SCB::sys_reset()
}

#[exception]
#[allow(unsafe_code, reason = "the runtime asks for this signature; the body needs no unsafe")]
unsafe fn HardFault(frame: &ExceptionFrame) -> ! {
    WindowCutoff::force_off();
    LAST_WORDS.leave(LastEnd::CpuFault { at: frame.pc() });
    SCB::sys_reset()
}
