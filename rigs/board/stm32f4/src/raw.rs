//! Every place that is reached by address; all other `unsafe` stands in `entry.rs`.
//!
//! In: addresses from the register crate, the reference manual and the linker. Out: register blocks, the journal's flash,
//! words that survive a reset. Refused: flash outside the journal.
#![allow(unsafe_code, reason = "devices are reached by address; each block says why it is sound")]

use core::sync::atomic::{AtomicBool, Ordering};

use board_kit::LastWords;
use cortex_m::peripheral::scb::SystemHandler;
use stm32f4::stm32f405 as device;

/// Gives a device's registers.
macro_rules! registers {
    ($($(#[$doc:meta])* $name:ident: $module:ident, $type:ident;)*) => {$(
        $(#[$doc])*
        pub fn $name() -> &'static device::$module::RegisterBlock {
            // SAFETY: the register crate's own address; the block is made of cells that are read and written whole and
            // volatile, and no driver changes a register part by part in two contexts.
            unsafe { &*device::$type::ptr() }
        }
    )*};
}

registers! {
    /// Reset and clocks.
    rcc: rcc, RCC;
    /// Port A.
    gpioa: gpioa, GPIOA;
    /// Port B.
    gpiob: gpiob, GPIOB;
    /// The bridge's timer.
    tim1: tim1, TIM1;
    /// The converter.
    adc1: adc1, ADC1;
    /// What the converters share.
    adc_common: adc_common, ADC_COMMON;
    /// The link.
    usart1: usart1, USART1;
    /// Breaks the emulated board on purpose.
    #[cfg(feature = "emulated")]
    usart2: usart1, USART2;
    /// Flash control.
    flash: flash, FLASH;
    /// The independent watchdog.
    iwdg: iwdg, IWDG;
}

/// Factors of the clock that the register crate does not check: `reference` MHz to 1 MHz, times 336; 48 MHz beside it.
pub fn pll_factors(w: &mut device::rcc::pllcfgr::W, reference: u8) -> &mut device::rcc::pllcfgr::W {
    // SAFETY: 4 to 26, 336 and 7 lie in what RM0090 7.3.2 allows for M, N and Q.
    unsafe { w.pllm().bits(reference).plln().bits(336).pllq().bits(7) }
}

/// The four channels that are converted in step with the PWM, in this order.
pub fn convert_in_step(channels: [u8; 4]) {
    let [first, second, third, fourth] = channels;
    // SAFETY: channel numbers below 19 fit their fields (RM0090 13.13.12).
    adc1().jsqr().write(|w| unsafe {
        w.jl().set(3).jsq1().bits(first).jsq2().bits(second).jsq3().bits(third).jsq4().bits(fourth)
    });
}

/// The channel that the next start by software converts.
pub fn convert_next(channel: u8) {
    // SAFETY: as in `convert_in_step`.
    adc1().sqr3().write(|w| unsafe { w.sq1().bits(channel) });
}

/// Names the sector that the next erase erases.
pub fn name_sector(w: &mut device::flash::cr::W, sector: u8) -> &mut device::flash::cr::W {
    // SAFETY: sectors 1 and 2 exist on every chip named.
    unsafe { w.snb().bits(sector) }
}

/// Where the journal lies: sectors 1 and 2 (RM0090 3.3, table 5).
const JOURNAL_ADDRESS: usize = 0x0800_4000;
/// Bytes of the journal.
pub const JOURNAL_BYTES: usize = 2 * board_kit::SECTOR_BYTES;

/// A byte of the journal; as erased beyond its end.
pub fn journal_byte(at: usize) -> u8 {
    if at >= JOURNAL_BYTES {
        return 0xFF;
    }
    // SAFETY: mapped flash in which the linker places nothing; volatile, since flash control changes it.
    unsafe { ((JOURNAL_ADDRESS + at) as *const u8).read_volatile() }
}

/// Programs a word of the journal, with programming switched on; nothing off a word's border or beyond the end.
pub fn program_word(at: usize, word: u32) {
    if at + size_of::<u32>() <= JOURNAL_BYTES && at.is_multiple_of(size_of::<u32>()) {
        // SAFETY: as in `journal_byte`, aligned; flash control takes the write, or refuses it in its own status.
        unsafe { ((JOURNAL_ADDRESS + at) as *mut u32).write_volatile(word) }
    }
}

/// Check and length of the image's parts, written into the image after linking (`build-stm32f4.sh`).
// SAFETY: a section of its own with an address in the linker script.
#[used]
#[unsafe(link_section = ".image_check")]
static IMAGE_CHECK: [u32; 2] = [0; 2];

/// Check and length that the image was built with.
pub fn image_check() -> [u32; 2] {
    // SAFETY: a static; volatile, since the compiler does not know what stands there in the end.
    unsafe { (&raw const IMAGE_CHECK).read_volatile() }
}

/// The image's parts in flash: vectors, code, constants, first values of variables.
pub fn image_parts() -> [&'static [u8]; 4] {
    unsafe extern "C" {
        static __vector_table: u8;
        static _vectors_end: u8;
        static __stext: u8;
        static __etext: u8;
        static __srodata: u8;
        static __erodata: u8;
        static __sidata: u8;
        static _data_load_end: u8;
    }
    let part = |from: *const u8, to: *const u8| {
        // SAFETY: the linker script puts flash that nothing writes between the two symbols.
        unsafe { core::slice::from_raw_parts(from, to as usize - from as usize) }
    };
    [
        part(&raw const __vector_table, &raw const _vectors_end),
        part(&raw const __stext, &raw const __etext),
        part(&raw const __srodata, &raw const __erodata),
        part(&raw const __sidata, &raw const _data_load_end),
    ]
}

/// Words of the chip's own number (RM0090 39.1).
const OWN_NUMBER_ADDRESS: usize = 0x1FFF_7A10;

/// The chip's own number. Only where there is a clock unit: an emulator may have nothing there.
pub fn own_number() -> [u32; 3] {
    // SAFETY: the manual's address, readable on every chip of the family.
    [0, 4, 8].map(|at| unsafe { ((OWN_NUMBER_ADDRESS + at) as *const u32).read_volatile() })
}

/// The RAM that stands for the journal's flash on the emulated board.
#[cfg(feature = "emulated")]
struct StoreMemory(core::cell::UnsafeCell<[u8; JOURNAL_BYTES]>);

// SAFETY: reached only through `take_store_memory`, which hands it out once.
#[cfg(feature = "emulated")]
unsafe impl Sync for StoreMemory {}

// SAFETY: a section of its own, not loaded and not cleared; any bits are valid bytes.
#[cfg(feature = "emulated")]
#[unsafe(link_section = ".store")]
static STORE: StoreMemory = StoreMemory(core::cell::UnsafeCell::new([0; JOURNAL_BYTES]));

/// The store's memory, for the one owner that takes it; `None` for everyone after.
#[cfg(feature = "emulated")]
pub fn take_store_memory() -> Option<&'static mut [u8; JOURNAL_BYTES]> {
    static TAKEN: AtomicBool = AtomicBool::new(false);
    // SAFETY: one caller is the first, so this is the only reference ever made.
    is_first(&TAKEN).then(|| unsafe { &mut *STORE.0.get() })
}

/// Loads from an address where nothing is, for the drill.
#[cfg(feature = "emulated")]
pub fn load_from_nowhere() {
    // SAFETY: the load itself faults; nothing is read.
    let _never = unsafe { (0xA000_0000 as *const u32).read_volatile() };
}

/// Where the image leaves word of how it ended.
// SAFETY: `.uninit` is reserved by the linker script and not touched at start; any bits are valid words.
#[unsafe(link_section = ".uninit.last_words")]
pub static LAST_WORDS: LastWords = LastWords::new();

/// Puts the tick below every device's interrupt, so that the link loses no byte to it.
pub fn put_tick_last(scb: &mut cortex_m::peripheral::SCB) {
    const LOWEST: u8 = 0xF0;
    // SAFETY: before any interrupt is on; no critical section relies on priorities.
    unsafe { scb.set_priority(SystemHandler::SysTick, LOWEST) }
}

/// Lets the link's interrupt through.
pub fn enable_link_interrupt() {
    // SAFETY: handlers share data with the main loop only through atomics and queues, so no critical section relies on
    // the line being masked.
    unsafe { cortex_m::peripheral::NVIC::unmask(device::Interrupt::USART1) }
}

/// Program counter that the processor pushed at this stack pointer; 0 where the stack had left RAM.
pub fn stacked_pc(frame: usize) -> u32 {
    const PC_AT: usize = 24;
    let (top, bottom) = stack();
    if frame < bottom || frame + PC_AT + size_of::<u32>() > top || !frame.is_multiple_of(size_of::<u32>()) {
        return 0;
    }
    // SAFETY: inside the stack's RAM and aligned.
    unsafe { ((frame + PC_AT) as *const u32).read_volatile() }
}

/// Top and bottom of the stack.
fn stack() -> (usize, usize) {
    unsafe extern "C" {
        static _stack_start: u32;
        static _stack_end: u32;
    }
    (&raw const _stack_start as usize, &raw const _stack_end as usize)
}

/// True for the first caller.
pub fn is_first(taken: &AtomicBool) -> bool {
    !taken.swap(true, Ordering::AcqRel)
}
