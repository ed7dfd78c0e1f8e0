//! Where the processor comes in by itself when something is wrong: bridge off first, then word of why, then a reset.
#![allow(unsafe_code, reason = "the processor's own conventions")]

use core::panic::PanicInfo;

use board_kit::LastEnd;
use cortex_m::peripheral::SCB;
use cortex_m_rt::exception;

use crate::bridge::force_off;
use crate::raw::{LAST_WORDS, stacked_pc};

// A stack that has left RAM cannot be pushed to: the handler begins at the top of a fresh one. What the processor pushed,
// if it could, lies at the stack pointer on entry.
core::arch::global_asm!(
    ".section .text.HardFault",
    ".global HardFault",
    ".type HardFault,%function",
    ".thumb_func",
    "HardFault:",
    "mrs r0, MSP",
    "ldr r1, =_stack_start",
    "msr MSP, r1",
    "b {fault}",
    ".ltorg",
    fault = sym on_fault,
);

extern "C" fn on_fault(frame: usize) -> ! {
    force_off();
    LAST_WORDS.leave(LastEnd::CpuFault { at: stacked_pc(frame) });
    SCB::sys_reset()
}

#[panic_handler]
fn on_panic(info: &PanicInfo) -> ! {
    cortex_m::interrupt::disable();
    force_off();
    // The place alone: the message would bring all of formatting into the image.
    LAST_WORDS.leave(LastEnd::Panic { line: info.location().map_or(0, core::panic::Location::line) });
    SCB::sys_reset()
}

/// Nothing else may come: a crystal that stops (the NMI), or an interrupt that nobody switched on.
#[exception]
unsafe fn DefaultHandler(_line: i16) -> ! {
    force_off();
    LAST_WORDS.leave(LastEnd::CpuFault { at: 0 });
    SCB::sys_reset()
}
