//! Where the processor comes in by itself: the watchdog's bark, and critical sections with the longest one noted.
#![allow(unsafe_code, reason = "the processor's own conventions; each block says why it is sound")]

use core::sync::atomic::{AtomicU32, Ordering};

use board_kit::Clock;
use cortex_m::register::primask;
use cortex_m_rt::ExceptionFrame;

use crate::stopwatch::{INTERRUPTS_OFF, Stopwatch, clocks_since};

// The runtime gives handlers of the watchdog's interrupt (not maskable, hence this name) no stack frame. This one
// takes it along: what the processor pushed lies at the stack pointer on entry.
core::arch::global_asm!(
    ".section .text.NonMaskableInt",
    ".global NonMaskableInt",
    ".type NonMaskableInt,%function",
    ".thumb_func",
    "NonMaskableInt:",
    "mrs r0, MSP",
    "b {bark}",
    bark = sym bark,
);

extern "C" fn bark(frame: &ExceptionFrame) -> ! {
    crate::safe_state::on_bark(frame)
}

/// Critical sections by masking interrupts, with the longest one noted.
struct MaskInterrupts;

critical_section::set_impl!(MaskInterrupts);

/// When the outermost section began, in clocks of the stopwatch.
static MASKED_AT: AtomicU32 = AtomicU32::new(0);

// SAFETY: one core; with PRIMASK set nothing preempts but the watchdog's bark and faults, and those never return.
unsafe impl critical_section::Impl for MaskInterrupts {
    unsafe fn acquire() -> critical_section::RawRestoreState {
        let was_active = primask::read().is_active();
        cortex_m::interrupt::disable();
        if was_active {
            MASKED_AT.store(Stopwatch.now(), Ordering::Relaxed);
        }
        was_active
    }

    unsafe fn release(was_active: critical_section::RawRestoreState) {
        if was_active {
            INTERRUPTS_OFF.note(clocks_since(MASKED_AT.load(Ordering::Relaxed)));
            // SAFETY: interrupts were on before the outermost section.
            unsafe { cortex_m::interrupt::enable() }
        }
    }
}
