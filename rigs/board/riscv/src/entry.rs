//! Where the processor comes in by itself when something is wrong: bridge off first, then word of why, then the end.
#![allow(unsafe_code, reason = "the runtime finds its handlers by name")]

use core::panic::PanicInfo;

use board_kit::LastEnd;
use firmware_core::drive::SafeOff;

use crate::bridge::MemoryBridge;
use crate::raw::{End, LAST_WORDS, switch_off};

#[panic_handler]
fn on_panic(info: &PanicInfo) -> ! {
    MemoryBridge::force_off();
    LAST_WORDS.leave(LastEnd::Panic { line: info.location().map_or(0, core::panic::Location::line) });
    switch_off(End::Broken)
}

// SAFETY: the name that the runtime calls on an exception, with what it hands over; it never comes back.
#[unsafe(export_name = "ExceptionHandler")]
fn on_fault(_frame: &riscv_rt::TrapFrame) -> ! {
    MemoryBridge::force_off();
    // The address fits: the processor has 32 bits.
    LAST_WORDS.leave(LastEnd::CpuFault { at: riscv::register::mepc::read() as u32 });
    switch_off(End::Broken)
}
