//! USART 1 on PB6 (out) and PB7 (in), 115 200 baud, 8N1: bytes come and go by interrupt.
//!
//! The interrupt handler alone touches the registers; it moves a few bytes each way and never waits. Registers: RM0090
//! rev 19, 30.6. A byte that finds the ring full is dropped: the check of its frame shows it.

use board_kit::{LinkPort, Ring};
use cortex_m::peripheral::NVIC;
use stm32f4::stm32f405::{Interrupt, interrupt};

use crate::clock::CoreClock;
use crate::raw::{enable_link_interrupt, gpiob, rcc, usart1};

const BAUD: u32 = 115_200;
/// Bytes that one interrupt moves each way. The chip has one to give; an emulator gives as many as are asked for.
const BYTES_AT_ONCE: usize = 16;

static RECEIVED: Ring = Ring::new();
static SENDING: Ring = Ring::new();

/// The link's line.
pub struct UsartLine;

impl UsartLine {
    /// Switches the port on.
    pub fn start(clock: &CoreClock) -> Self {
        rcc().apb2enr().modify(|_, w| w.usart1en().enabled());
        gpiob().afrl().modify(|_, w| w.afrl6().af7().afrl7().af7());
        gpiob().pupdr().modify(|_, w| w.pupdr7().pull_up());
        gpiob().moder().modify(|_, w| w.moder6().alternate().moder7().alternate());
        // Sixteenths of a clock count: mantissa and fraction together are the clocks of a bit. Below 2^16.
        let clocks = ((clock.hz + BAUD / 2) / BAUD) as u16;
        usart1().brr().write(|w| w.div_mantissa().set(clocks >> 4).div_fraction().set((clocks & 0xF) as u8));
        usart1().cr1().write(|w| w.ue().enabled().te().enabled().re().enabled().rxneie().enabled());
        enable_link_interrupt();
        Self
    }
}

impl LinkPort for UsartLine {
    fn take(&mut self) -> Option<u8> {
        RECEIVED.pop()
    }

    fn room(&self) -> usize {
        SENDING.room()
    }

    fn put(&mut self, bytes: &[u8]) {
        bytes.iter().for_each(|byte| SENDING.push(*byte));
        if !SENDING.is_empty() {
            // The handler finds the port ready; where it does not, the port's own interrupt follows.
            NVIC::pend(Interrupt::USART1);
        }
    }
}

#[interrupt]
fn USART1() {
    for _ in 0..BYTES_AT_ONCE {
        let state = usart1().sr().read();
        let has_byte = state.rxne().bit_is_set();
        if !has_byte && state.ore().bit_is_clear() {
            break;
        }
        // Reading takes the byte, and an overrun that is left over, off the port.
        let byte = usart1().dr().read().dr().bits();
        if has_byte {
            // 8 bits a frame.
            RECEIVED.push(byte as u8);
        }
    }
    for _ in 0..BYTES_AT_ONCE {
        if usart1().sr().read().txe().bit_is_clear() {
            break;
        }
        let Some(byte) = SENDING.pop() else { break };
        usart1().dr().write(|w| w.dr().set(u16::from(byte)));
    }
    usart1().cr1().modify(|_, w| w.txeie().bit(!SENDING.is_empty()));
}
