//! The processor's clock: 84 MHz from the crystal, else 84 MHz from the chip's own oscillator, else that as it is.
//!
//! 84 MHz on every chip named, so that they differ in memory alone; every wait is bounded, and what came of it is told.
//! Numbers: RM0090 rev 19, 7.2 and 7.3; F401 and F411 alike, and their
//! voltage scale at reset serves 84 MHz (RM0368, RM0383, from memory).

use crate::raw::{flash, pll_factors, rcc};

/// Where the clock comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ClockSource {
    /// The crystal, multiplied.
    Crystal,
    /// The crystal did not start: the chip's own oscillator, multiplied. Some percent off when hot or cold.
    Internal,
    /// Nothing could be multiplied: the chip's own oscillator.
    InternalSlow,
    /// No clock unit answers, as in an emulator.
    Missing,
}

/// The processor's clock as it came up.
#[derive(Debug, Clone, Copy)]
pub struct CoreClock {
    /// Where it comes from.
    pub source: ClockSource,
    /// Hz; peripherals of the fast bus and timer 1 run at the same.
    pub hz: u32,
}

/// The crystal's MHz; see `build.rs`.
pub const CRYSTAL_MHZ: u8 = include!(concat!(env!("OUT_DIR"), "/crystal"));
const INTERNAL_MHZ: u8 = 16;
const INTERNAL_HZ: u32 = 16_000_000;
const FAST_HZ: u32 = 84_000_000;
/// What QEMU gives its STM32F405.
const EMULATED_HZ: u32 = 168_000_000;

/// Looks at a flag before it counts as dead: some 100 ms at 16 MHz and 8 clocks a look. A crystal takes 2 ms (data sheet,
/// from memory).
const PATIENCE: u32 = 200_000;

/// Brings the clock up.
pub fn start() -> CoreClock {
    // The oscillator that the processor starts on shows here on every chip.
    if rcc().cr().read().bits() == 0 {
        return CoreClock { source: ClockSource::Missing, hz: EMULATED_HZ };
    }
    // 2 wait states up to 90 MHz at 2.7 to 3.6 V (RM0090 3.5.1, table 10).
    flash().acr().write(|w| w.latency().ws2().icen().enabled().dcen().enabled());
    rcc().cr().modify(|_, w| w.hseon().on());
    let is_crystal_up = comes_true(|| rcc().cr().read().hserdy().is_ready());
    let (source, reference) = if is_crystal_up {
        (ClockSource::Crystal, CRYSTAL_MHZ)
    } else {
        rcc().cr().modify(|_, w| w.hseon().off());
        (ClockSource::Internal, INTERNAL_MHZ)
    };
    // 1 MHz in, 336 MHz inside, 84 MHz out.
    rcc().pllcfgr().write(|w| pll_factors(w, reference).pllp().div4().pllsrc().bit(is_crystal_up));
    rcc().cr().modify(|_, w| w.pllon().on());
    if !comes_true(|| rcc().cr().read().pllrdy().is_ready()) {
        return CoreClock { source: ClockSource::InternalSlow, hz: INTERNAL_HZ };
    }
    // The slow bus takes 42 MHz at most.
    rcc().cfgr().write(|w| w.ppre1().div2().sw().pll());
    if !comes_true(|| rcc().cfgr().read().sws().is_pll()) {
        return CoreClock { source: ClockSource::InternalSlow, hz: INTERNAL_HZ };
    }
    if is_crystal_up {
        // A crystal that stops later breaks timer 1's outputs and raises the NMI (RM0090 7.2.7).
        rcc().cr().modify(|_, w| w.csson().on());
    }
    CoreClock { source, hz: FAST_HZ }
}

/// Waits for a flag, but not for ever.
pub fn comes_true(flag: impl Fn() -> bool) -> bool {
    (0..PATIENCE).any(|_| flag())
}
