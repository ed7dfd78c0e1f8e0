//! CMSDK APB UART: bytes in by interrupt, bytes out when there is room.
//!
//! In: a base address. Out: a port after `embedded-io`. A byte that finds the ring full is dropped and
//! counted: the link's frames carry a check, so a lost byte costs a frame and never a wrong one.

use core::convert::Infallible;

use board_kit::Ring;
use embedded_io::{ErrorType, Read, ReadReady, Write};

use crate::raw::{Register, enable_interrupt};

const DATA: usize = 0x00;
const STATE: usize = 0x04;
const CONTROL: usize = 0x08;
const INTERRUPT_CLEAR: usize = 0x0C;
const BAUD_DIVISOR: usize = 0x10;

const STATE_TX_FULL: u32 = 1 << 0;
const STATE_RX_FULL: u32 = 1 << 1;
const CONTROL_TX_ON: u32 = 1 << 0;
const CONTROL_RX_ON: u32 = 1 << 1;
const CONTROL_RX_INTERRUPT: u32 = 1 << 3;
const CLEAR_RX: u32 = 1 << 1;

/// 25 MHz over 115 200 baud, rounded.
const DIVISOR: u32 = 217;

/// One UART.
pub struct Uart {
    base: usize,
    received: &'static Ring,
}

impl Uart {
    /// Switches the UART at `base` on; `line` is its receive interrupt.
    pub fn start(base: usize, line: u16, received: &'static Ring) -> Self {
        Register::at(base, BAUD_DIVISOR).write(DIVISOR);
        Register::at(base, CONTROL).write(CONTROL_TX_ON | CONTROL_RX_ON | CONTROL_RX_INTERRUPT);
        enable_interrupt(line);
        Self { base, received }
    }

    /// Bytes that have arrived and wait.
    pub fn waiting(&self) -> usize {
        self.received.len()
    }
}

/// The receive interrupt: moves what has arrived into the ring.
pub fn on_receive(base: usize, ring: &Ring) {
    Register::at(base, INTERRUPT_CLEAR).write(CLEAR_RX);
    while Register::at(base, STATE).read() & STATE_RX_FULL != 0 {
        // The upper bits of DATA read as zero.
        ring.push(Register::at(base, DATA).read() as u8);
    }
}

/// Switches a UART on that only sends.
#[cfg(feature = "log")]
pub fn switch_on_sending(base: usize) {
    Register::at(base, BAUD_DIVISOR).write(DIVISOR);
    Register::at(base, CONTROL).write(CONTROL_TX_ON);
}

/// Sends one byte on a UART that is switched on.
pub fn send(base: usize, byte: u8) {
    while Register::at(base, STATE).read() & STATE_TX_FULL != 0 {}
    Register::at(base, DATA).write(u32::from(byte));
}

impl ErrorType for Uart {
    type Error = Infallible;
}

impl Read for Uart {
    fn read(&mut self, buffer: &mut [u8]) -> Result<usize, Infallible> {
        let mut count = 0;
        while count == 0 && !buffer.is_empty() {
            for (place, byte) in buffer.iter_mut().zip(core::iter::from_fn(|| self.received.pop())) {
                *place = byte;
                count += 1;
            }
        }
        Ok(count)
    }
}

impl ReadReady for Uart {
    fn read_ready(&mut self) -> Result<bool, Infallible> {
        Ok(self.waiting() > 0)
    }
}

impl Write for Uart {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, Infallible> {
        for byte in bytes {
            send(self.base, *byte);
        }
        Ok(bytes.len())
    }

    fn flush(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}
