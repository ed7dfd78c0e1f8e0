//! The controller on STM32F405, F411 and F401: drivers on the register crate, and no logic of its own.
//!
//! ```text
//! SysTick, 1 kHz:  converter ─ sample ─▶ tick ─ duty ─▶ timer 1, bridge      ─ fed ─▶ watchdog
//!                                         ║ queues
//! main loop:       USART 1 ─ bytes ─▶ link end ─ bytes ─▶ USART 1            what is kept ─▶ flash
//! ```
//!
//! One image: the feature `emulated` swaps `world`, where samples come from and where settings and calibrations are kept. The image
//! that is flashed also starts in an emulator: every wait is bounded.
#![no_std]
#![no_main]
#![cfg_attr(
    feature = "emulated",
    allow(dead_code, reason = "what the emulated world does not read stays as it is")
)]

mod bridge;
mod clock;
mod control;
mod converters;
mod entry;
mod inputs;
mod journal;
mod log;
mod raw;
mod self_test;
mod serial;
mod watchdog;
#[cfg_attr(feature = "emulated", path = "world/emulated.rs")]
#[cfg_attr(not(feature = "emulated"), path = "world/real.rs")]
mod world;

use core::mem::MaybeUninit;

use board_kit::{FillingHand, Keep, SheetWays, Talker, Ticker, short};
use cortex_m_rt::entry;
use firmware_core::link::self_test::SelfTest;
use firmware_core::link::state::{Identity, Pacing, StartReason};
use firmware_core::session::Session;
use firmware_core::store::{Kept, LAYOUT_VERSION, StoreResult};
use firmware_core::units::Duty;

use bridge::BreakBridge;
use clock::{ClockSource, CoreClock};
use control::{Control, Cycles, Pace, Watched};
use serial::UsartLine;
use world::Pages;

const SOFTWARE: &str = concat!("vanebench-stm32f4 ", env!("CARGO_PKG_VERSION"));
/// See `build.rs`.
const CHIP: &str = env!("VANEBENCH_CHIP");
const BUILD: u32 = include!(concat!(env!("OUT_DIR"), "/build"));

#[entry]
fn main() -> ! {
    // In place, not by way of the stack: the session alone is larger than the stack.
    static mut SESSION: MaybeUninit<Session> = MaybeUninit::uninit();
    static mut WAYS: SheetWays = SheetWays::new();
    static mut SHEET: Option<Kept> = None;

    // The bridge off first.
    bridge::hold_off();
    let (filling, mut saving) = WAYS.split(SHEET);
    // In one piece where it is made: taken apart it would stand on the stack twice.
    let mut running = start(SESSION, filling);
    loop {
        world::turn();
        control::note_turn();
        let (talker, keep) = &mut running;
        talker.turn();
        talker.save(&mut saving, |kept| save(keep, kept));
        world::rest();
    }
}

/// Everything up and ticking. On its own, so that the main loop's stack does not hold what only the start needs.
#[inline(never)]
fn start(session: &'static mut MaybeUninit<Session>, saves: FillingHand) -> (Talker<UsartLine>, Keep<Pages>) {
    let started = start_reason();
    let clock = clock::start();
    log::started(started, origin(&clock));
    // The store may erase for longer than the watchdog's patience.
    let mut keep = Keep::prepare(world::pages(), 0..raw::JOURNAL_BYTES as u32);
    log::store(keep.condition());
    let bridge = BreakBridge::start(&clock);
    self_test::start();
    let (inputs, self_test) = world::start();
    log::self_test(&self_test);
    let session = begin_session(session, identity(&clock, started), self_test, &mut keep);
    let (link_end, control) = session.split();
    // From here on ticks are due.
    let watchdog = watchdog::start();
    let ticker = Ticker::new(control, bridge, watchdog, Cycles, &raw::LAST_WORDS);
    let (pace, watched) = (Pace::new(&clock), Watched::default());
    start_ticks(Control { ticker, inputs, saves, pace, driven: Duty::ZERO, watched }, &clock);
    (Talker::new(link_end, UsartLine::start(&clock)), keep)
}

/// A watchdog's reset leaves no word but its flag; an emulator shows neither flag nor reset.
fn start_reason() -> StartReason {
    let tick = raw::LAST_WORDS.last_tick();
    let words = raw::LAST_WORDS.take();
    let is_watchdog = raw::rcc().csr().read().wdgrstf().bit_is_set();
    raw::rcc().csr().modify(|_, w| w.rmvf().clear());
    match words {
        StartReason::Reset if is_watchdog => StartReason::HungTick { tick, at: 0 },
        other => other,
    }
}

/// Where the clock comes from, in words.
fn origin(clock: &CoreClock) -> &'static str {
    match clock.source {
        ClockSource::Crystal => "crystal",
        ClockSource::Internal => "no crystal",
        ClockSource::InternalSlow => "slow clock",
        ClockSource::Missing => "emulated",
    }
}

fn identity(clock: &CoreClock, started: StartReason) -> Identity {
    let mut board = short(CHIP);
    // A name that does not fit is cut.
    let _fits = board.push_str(", ").and_then(|()| board.push_str(origin(clock)));
    let mut serial = heapless::String::new();
    if clock.source != ClockSource::Missing {
        for nibble in
            raw::own_number().iter().flat_map(|word| (0..8).rev().map(move |at| word >> (4 * at) & 0xF))
        {
            let _fits = serial.push(char::from_digit(nibble, 16).unwrap_or('?'));
        }
    }
    Identity {
        model: short(world::MODEL),
        software: short(SOFTWARE),
        build: BUILD,
        layout: LAYOUT_VERSION,
        board,
        serial,
        pacing: Pacing::Paced,
        started,
    }
}

/// A session that nobody has greeted, with what the store held.
#[inline(never)]
fn begin_session(
    place: &'static mut MaybeUninit<Session>,
    identity: Identity,
    self_test: SelfTest,
    keep: &mut Keep<Pages>,
) -> &'static mut Session {
    let session = place.write(Session::new(identity, self_test));
    restore(session, keep);
    session
}

/// On its own, so that what is read stands on the stack while nothing else does.
#[inline(never)]
fn restore(session: &mut Session, keep: &mut Keep<Pages>) {
    let mut kept = Kept::NOTHING;
    log::loaded(keep.load(&mut kept));
    session.restore(&kept);
}

fn save(keep: &mut Keep<Pages>, kept: &Kept) -> StoreResult {
    let result = keep.save(kept);
    log::stored(result);
    result
}

fn start_ticks(control: Control, clock: &CoreClock) {
    if let Some(mut core) = cortex_m::Peripherals::take() {
        raw::put_tick_last(&mut core.SCB);
        control::start(control, clock, core.SYST, &mut core.DCB, &mut core.DWT);
    }
}
