//! One ask after the other: bytes to the session, samples through its tick, duty to the bridge, bytes back.

use core::mem::MaybeUninit;

use board_kit::{Flash, Keep, Ticker, short};
use embedded_io::{Read, Write};
use firmware_core::link::SelfTest;
use firmware_core::link::state::{Identity, Pacing, StartReason};
use firmware_core::sample::Sample;
use firmware_core::session::{LinkEnd, Session};
use firmware_core::store::{Kept, LAYOUT_VERSION, StoreResult};
use firmware_core::units::Tick;
use lockstep::{Ask, Drill, Stepped, TickDone, Usage, WindowError};

use crate::bell::{Incoming, Outgoing, answer};
use crate::bridge::HBridge;
use crate::log::{self, LogWatch};
use crate::stopwatch::Stopwatch;
use crate::uart::Uart;
use crate::watchdog::ApbWatchdog;
use crate::{raw, stopwatch, wait_until};

const MODEL: &str = "emulated Cortex-M4F board";
const BOARD: &str = "MPS2 AN386";
const SOFTWARE: &str = concat!("vanebench-board ", env!("CARGO_PKG_VERSION"));
/// See `build.rs`.
const BUILD: u32 = include!(concat!(env!("OUT_DIR"), "/build"));

/// Bytes moved between link and session at once.
const CHUNK_BYTES: usize = 64;

/// The session's two ends, drivers, and what they share.
pub struct Work {
    link_end: LinkEnd<'static>,
    ticker: Ticker<HBridge, ApbWatchdog, Stopwatch>,
    link: Uart,
    keep: Keep<Flash>,
    watch: LogWatch,
    next: Tick,
    stored: u16,
    drill: Option<Drill>,
}

/// A session that nobody has greeted, with what the store held.
#[inline(never)]
pub fn begin_session(
    place: &'static mut MaybeUninit<Session>,
    started: StartReason,
    keep: &mut Keep<Flash>,
) -> &'static mut Session {
    let identity = Identity {
        model: short(MODEL),
        software: short(SOFTWARE),
        build: BUILD,
        layout: LAYOUT_VERSION,
        board: short(BOARD),
        serial: short(""),
        pacing: Pacing::Stepped,
        started,
    };
    let session = place.write(Session::new(identity, SelfTest::NOT_FITTED));
    restore(session, keep);
    session
}

/// On its own, so that what is read stands on the stack while nothing else does.
#[inline(never)]
fn restore(session: &mut Session, keep: &mut Keep<Flash>) {
    let mut kept = Kept::NOTHING;
    log::loaded(keep.load(&mut kept));
    session.restore(&kept);
}

impl Work {
    /// Everything at rest.
    pub fn new(
        link_end: LinkEnd<'static>,
        ticker: Ticker<HBridge, ApbWatchdog, Stopwatch>,
        link: Uart,
        keep: Keep<Flash>,
    ) -> Self {
        Self { link_end, ticker, link, keep, watch: LogWatch::new(), next: Tick(0), stored: 0, drill: None }
    }

    /// Does what the host asks and rings back. An ask that does not decode gets an empty answer.
    #[inline(never)]
    pub fn answer(&mut self, mut ask: Incoming) {
        let mut out = Outgoing::new();
        let done = match ask.take() {
            Ok(Ask::Step { heard, samples, room }) => self.step(&mut ask, &mut out, heard, samples, room),
            Ok(Ask::Usage) => out.put(&usage()),
            Ok(Ask::Drill(drill)) => {
                self.drill = Some(drill);
                Ok(())
            }
            Err(error) => Err(error),
        };
        answer(&if done.is_ok() { out } else { Outgoing::new() });
    }

    fn step(
        &mut self,
        ask: &mut Incoming,
        out: &mut Outgoing,
        heard: u32,
        samples: u16,
        room: u16,
    ) -> Result<(), WindowError> {
        self.hear(heard);
        for _ in 0..samples {
            let sample = ask.take()?;
            out.put(&self.tick(&sample))?;
        }
        let sent = self.send(room);
        let next_may_run = self.ticker.may_advance(self.next);
        out.put(&Stepped { next_may_run, sent, stored: self.stored })
    }

    #[inline(never)]
    fn hear(&mut self, heard: u32) {
        self.ticker.attend();
        let mut chunk = [0; CHUNK_BYTES];
        let mut missing = heard as usize;
        while missing > 0 {
            wait_until(|| (self.link.waiting() > 0).then_some(()));
            let most = missing.min(CHUNK_BYTES);
            let Ok(count) = self.link.read(chunk.get_mut(..most).unwrap_or_default());
            for byte in chunk.get(..count).unwrap_or_default() {
                if self.link_end.hear(*byte) {
                    self.ticker.attend();
                }
            }
            missing = missing.saturating_sub(count);
        }
    }

    /// One tick under the watchdog's eye.
    #[inline(never)]
    fn tick(&mut self, sample: &Sample) -> TickDone {
        self.save_what_is_due();
        let drill = self.drill.take();
        let timed = self.ticker.tick(sample, || drill.into_iter().for_each(break_on_purpose));
        self.watch.see(&timed.output);
        self.next = sample.tick.after(1);
        TickDone { output: timed.output, clocks: timed.clocks }
    }

    /// While the bridge is off and before the tick is due; on its own, so that a tick's stack does not hold what is
    /// kept.
    #[inline(never)]
    fn save_what_is_due(&mut self) {
        let Some(kept) = self.ticker.take_save() else { return };
        let result = self.keep.save(&kept);
        self.ticker.saved(result);
        let done = result == StoreResult::Written;
        self.stored = self.stored.wrapping_add(u16::from(done));
        log::stored(done);
    }

    #[inline(never)]
    fn send(&mut self, room: u16) -> u16 {
        self.ticker.attend();
        let mut chunk = [0; CHUNK_BYTES];
        let mut sent: u16 = 0;
        loop {
            let most = usize::from(room.saturating_sub(sent)).min(CHUNK_BYTES);
            let count = self.link_end.transmit(chunk.get_mut(..most).unwrap_or_default());
            let Ok(()) = self.link.write_all(chunk.get(..count).unwrap_or_default());
            if count == 0 {
                return sent;
            }
            sent = sent.saturating_add(count as u16);
        }
    }
}

fn usage() -> Usage {
    Usage {
        stack_bytes: raw::stack_high_water(),
        interrupts_off_clocks: stopwatch::INTERRUPTS_OFF.get(),
        handler_clocks: stopwatch::HANDLER.get(),
    }
}

/// Inside a tick, with the bridge at the last tick's duty.
fn break_on_purpose(drill: Drill) {
    match drill {
        #[allow(clippy::panic, reason = "the drill is a panic")]
        Drill::Panic => panic!("a drill"),
        Drill::Hang => loop {
            cortex_m::asm::nop();
        },
        Drill::Reset => cortex_m::peripheral::SCB::sys_reset(),
        Drill::BusFault => {
            raw::load_from_nowhere();
        }
    }
}
