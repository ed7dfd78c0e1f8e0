//! The timer's interrupt: a sample, a tick, a duty, once a millisecond.

use core::cell::RefCell;
use core::sync::atomic::{AtomicU32, Ordering};

use board_kit::{Clock, FillingHand, LastEnd, Ticker};
use cortex_m::peripheral::{DCB, DWT, SCB, SYST, syst::SystClkSource};
use cortex_m_rt::exception;
use critical_section::Mutex;
use firmware_core::sample::Sample;
use firmware_core::units::{Duty, TICKS_PER_SECOND, Tick};

use crate::bridge::{BreakBridge, force_off};
use crate::clock::CoreClock;
use crate::inputs::Inputs;
use crate::raw::LAST_WORDS;
use crate::watchdog::OwnWatchdog;
use crate::world::{self, BoardInputs};

/// Ticks without a turn of the main loop after which it counts as hung: no save takes a tenth of that.
const HUNG_AFTER: u32 = 1000;

/// The processor's own counter of clocks.
pub struct Cycles;

impl Clock for Cycles {
    fn now(&self) -> u32 {
        DWT::cycle_count()
    }
}

/// Everything that a tick touches.
pub struct Control {
    pub ticker: Ticker<BreakBridge, OwnWatchdog, Cycles>,
    pub inputs: BoardInputs,
    pub saves: FillingHand,
    pub pace: Pace,
    pub driven: Duty,
    pub watched: Watched,
}

/// Numbers ticks by the time that has passed: a tick that was missed is a number left out.
pub struct Pace {
    clocks_per_tick: u32,
    last: u32,
    next: Tick,
}

impl Pace {
    /// The first tick is one tick from now.
    pub fn new(clock: &CoreClock) -> Self {
        Self { clocks_per_tick: clock.hz / TICKS_PER_SECOND, last: Cycles.now(), next: Tick(0) }
    }

    /// The number of the tick that begins now.
    fn begin(&mut self) -> Tick {
        // A counter that lags behind the timer lies before the last tick: negative, and no time has passed.
        let since = Cycles.now().wrapping_sub(self.last).cast_signed().max(0).cast_unsigned();
        let passed = since.saturating_add(self.clocks_per_tick / 2);
        let steps = passed / self.clocks_per_tick;
        self.last = self.last.wrapping_add(steps.wrapping_mul(self.clocks_per_tick));
        // Where the counter stands still, as in an emulator, every tick follows the last.
        self.next = self.next.after(steps.max(1));
        self.next
    }
}

/// Turns of the main loop.
static TURNS: AtomicU32 = AtomicU32::new(0);

/// The main loop has come round.
pub fn note_turn() {
    TURNS.store(TURNS.load(Ordering::Relaxed).wrapping_add(1), Ordering::Relaxed);
}

/// Whether the main loop still comes round.
#[derive(Default)]
pub struct Watched {
    turns: u32,
    still: u32,
}

impl Watched {
    /// Ends the run when it does not.
    fn look(&mut self) {
        let turns = TURNS.load(Ordering::Relaxed);
        self.still = if turns == self.turns { self.still + 1 } else { 0 };
        self.turns = turns;
        if self.still > HUNG_AFTER {
            force_off();
            LAST_WORDS.leave(LastEnd::HungTick { at: 0 });
            SCB::sys_reset();
        }
    }
}

impl Control {
    fn tick(&mut self) {
        let sample = self.inputs.take(self.pace.begin(), self.driven);
        self.driven = self.drive(&sample);
        self.attend();
        self.hand_over_save();
        self.watched.look();
    }

    #[inline(never)]
    fn drive(&mut self, sample: &Sample) -> Duty {
        self.ticker.tick(sample, world::break_on_purpose).output.duty
    }

    // Each on its own, so that none of their stacks is the tick's too.
    #[inline(never)]
    fn attend(&mut self) {
        self.ticker.attend();
    }

    #[inline(never)]
    fn hand_over_save(&mut self) {
        self.saves.hand_over(|| self.ticker.take_save());
    }
}

/// On its way from the main loop into the interrupt.
static HANDED: Mutex<RefCell<Option<Control>>> = Mutex::new(RefCell::new(None));

/// Starts the ticks.
pub fn start(control: Control, clock: &CoreClock, mut timer: SYST, dcb: &mut DCB, dwt: &mut DWT) {
    critical_section::with(|token| HANDED.borrow_ref_mut(token).replace(control));
    dcb.enable_trace();
    dwt.enable_cycle_counter();
    timer.set_clock_source(SystClkSource::Core);
    timer.set_reload(clock.hz / TICKS_PER_SECOND - 1);
    timer.clear_current();
    timer.enable_interrupt();
    timer.enable_counter();
}

#[exception]
fn SysTick() {
    static mut CONTROL: Option<Control> = None;
    if CONTROL.is_none() {
        *CONTROL = critical_section::with(|token| HANDED.borrow_ref_mut(token).take());
    }
    if let Some(control) = CONTROL {
        control.tick();
    }
}
