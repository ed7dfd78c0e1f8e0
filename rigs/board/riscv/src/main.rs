//! The controller on another processor: QEMU's RISC-V machine `virt`, without a floating-point unit. It replays link bytes
//! and samples that were recorded with the controller on the host, and leaves what came of them for comparison.
//!
//! ```text
//! memory ─ link bytes, samples ─▶ Session ─ duty ─▶ bridge (memory)
//!    ◀──── outputs, link bytes ──┘   └─ what is kept ─▶ RAM that obeys flash's rules
//! ```
//!
//! Nobody flashes it: it has no pins and no watchdog, and its build number is 0.
#![no_std]
#![no_main]

mod bridge;
mod entry;
mod raw;
mod replay;
mod window;

use board_kit::{Flash, Keep, Ticker, short};
use firmware_core::link::SelfTest;
use firmware_core::link::state::{Identity, Pacing, StartReason};
use firmware_core::session::Session;
use firmware_core::store::{Kept, LAYOUT_VERSION};

use bridge::MemoryBridge;
use raw::{End, LAST_WORDS, Memory, STORE_BYTES, switch_off};
use replay::{NoWatchdog, Replay, Retired};

#[riscv_rt::entry]
#[allow(missing_docs, reason = "the runtime's own name for it is public")]
fn main() -> ! {
    // Duty 0 first.
    let bridge = MemoryBridge::start();
    let started = LAST_WORDS.take();
    let Some(Memory { session, store, asks, answers }) = Memory::take() else { switch_off(End::Broken) };
    let mut keep = Keep::prepare(Some(Flash::on(store)), 0..STORE_BYTES as u32);
    let session = session.write(Session::new(identity(started), SelfTest::NOT_FITTED));
    let mut kept = Kept::NOTHING;
    let _loaded = keep.load(&mut kept);
    session.restore(&kept);
    let (link_end, control) = session.split();
    let ticker = Ticker::new(control, bridge, NoWatchdog, Retired, &LAST_WORDS);
    let done = Replay::new(link_end, ticker, keep).run(asks, answers);
    switch_off(if done.is_ok() { End::Whole } else { End::Broken })
}

fn identity(started: StartReason) -> Identity {
    Identity {
        model: short("emulated RISC-V board"),
        software: short(concat!("vanebench-riscv ", env!("CARGO_PKG_VERSION"))),
        build: 0,
        layout: LAYOUT_VERSION,
        board: short("QEMU virt"),
        serial: short(""),
        pacing: Pacing::Stepped,
        started,
    }
}
