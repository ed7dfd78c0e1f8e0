//! The controller on a Cortex-M4F: drivers, a tick, a watchdog, and no logic of its own.
//!
//! ```text
//! UART 0 ─ link bytes ─▶ Session ─ duty ─▶ bridge        shared window: samples in, outputs out
//!    ◀──── link bytes ──┘   └─ what is kept ─▶ flash      UART 1: the bell       UART 2: the log
//! ```
//!
//! Time is the host's: a sample is a tick. On a board of your own a timer makes the ticks and converters make the
//! samples; `PORTING.md` says what each part must do.
#![no_std]
#![no_main]

mod bell;
mod bridge;
mod entry;
mod log;
mod raw;
mod safe_state;
mod stopwatch;
mod uart;
mod watchdog;
mod work;

use core::mem::MaybeUninit;

use board_kit::{Clock, Flash, Keep, Ring, Ticker};
use cortex_m_rt::{entry, exception};
use firmware_core::session::Session;

use stopwatch::Stopwatch;
use uart::Uart;
use work::Work;

/// The first serial port: the link.
const LINK_BASE: usize = 0x4000_4000;
/// Receive interrupts of the first two serial ports.
const LINK_LINE: u16 = 0;
const BELL_LINE: u16 = 2;

static LINK_BYTES: Ring = Ring::new();
static BELLS: Ring = Ring::new();

#[entry]
fn main() -> ! {
    // In place, not by way of the stack: the session alone is larger than the stack.
    static mut SESSION: MaybeUninit<Session> = MaybeUninit::uninit();

    // Duty 0 first. Then the store, which may erase for longer than the watchdog's patience.
    let bridge = bridge::start();
    let reason = raw::LAST_WORDS.take();
    let mut keep =
        Keep::prepare(raw::take_store_memory().map(|memory| Flash::on(memory)), 0..raw::STORE_BYTES as u32);
    stopwatch::start();
    let watchdog = watchdog::start();
    log::start();
    log::started(reason);
    log::store(keep.condition());
    let link = Uart::start(LINK_BASE, LINK_LINE, &LINK_BYTES);
    let _bell = Uart::start(bell::BASE, BELL_LINE, &BELLS);
    let session = work::begin_session(SESSION, reason, &mut keep);
    let (link_end, control) = session.split();
    let ticker = Ticker::new(control, bridge, watchdog, Stopwatch, &raw::LAST_WORDS);
    let mut work = Work::new(link_end, ticker, link, keep);
    bell::tell_started(reason);
    loop {
        log::pump();
        let ask = bell::wait(&BELLS);
        work.answer(ask);
    }
}

/// Sleeps between interrupts until `ready` gives something.
fn wait_until<T>(mut ready: impl FnMut() -> Option<T>) -> T {
    loop {
        // An interrupt between the look and the sleep stays pending and ends the sleep at once.
        let seen = cortex_m::interrupt::free(|_| {
            let seen = ready();
            if seen.is_none() {
                cortex_m::asm::wfi();
            }
            seen
        });
        if let Some(seen) = seen {
            return seen;
        }
    }
}

#[exception]
#[allow(unsafe_code, reason = "the runtime asks for this signature; the body needs no unsafe")]
unsafe fn DefaultHandler(line: i16) {
    let began = Stopwatch.now();
    if line == LINK_LINE as i16 {
        uart::on_receive(LINK_BASE, &LINK_BYTES);
    } else if line == BELL_LINE as i16 {
        uart::on_receive(bell::BASE, &BELLS);
    } else if line == watchdog::TIMER_LINE as i16 {
        watchdog::on_slow_timer();
    }
    stopwatch::HANDLER.note(stopwatch::clocks_since(began));
}
