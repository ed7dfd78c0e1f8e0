//! A serial line's capacity and its troubles, for links that have none of their own.
//!
//! A pseudo-terminal has no baud: it takes bytes as fast as they come. The rig therefore sends no more
//! in a tick than a real line could carry, and garbles what it sends and hears when the two ends are
//! set to different speeds.

use std::io;
use std::time::Duration;

/// The rig's end of whatever joins it to a client.
pub trait LineEnd: Send {
    /// True when the client has set the link's speed.
    fn has_link_speed(&self) -> bool;

    /// Waits until the client has sent something, at most `patience`.
    fn wait_for_bytes(&self, patience: Duration);

    /// Takes what the client has sent; 0 when there is nothing.
    ///
    /// # Errors
    /// When the line is gone.
    fn receive(&self, into: &mut [u8]) -> io::Result<usize>;

    /// Sends as much of `bytes` as fits; gives back how many went.
    ///
    /// # Errors
    /// When the line is gone.
    fn send(&self, bytes: &[u8]) -> io::Result<usize>;
}

/// The link's speed, baud.
pub const BAUD: u32 = 115_200;

/// Bits on the wire for one byte: start, eight data, stop.
pub(crate) const BITS_PER_BYTE: u32 = 10;

/// Lets through what a line of the given speed can carry, tick by tick.
#[derive(Debug, Clone)]
pub struct LineBudget {
    bits_per_tick_milli: u32,
    saved_milli: u32,
}

/// A thousandth of a bit, so that 115.2 bits in a millisecond stay exact.
const MILLI: u32 = 1000;

impl LineBudget {
    /// A line of `baud` for ticks of a millisecond.
    #[must_use]
    pub fn new(baud: u32) -> Self {
        Self { bits_per_tick_milli: baud, saved_milli: 0 }
    }

    /// Bytes that may be sent in this tick; what is not a whole byte is carried over.
    pub fn bytes_this_tick(&mut self) -> usize {
        self.saved_milli = self.saved_milli.saturating_add(self.bits_per_tick_milli);
        let bytes = self.saved_milli / (BITS_PER_BYTE * MILLI);
        self.saved_milli %= BITS_PER_BYTE * MILLI;
        bytes as usize
    }
}

/// What a receiver at another speed makes of the bytes: wrong, and not the same number of them.
pub(crate) fn garble(bytes: &mut Vec<u8>) {
    let mut position = 0_u8;
    bytes.retain_mut(|byte| {
        position = position.wrapping_add(1);
        *byte = byte.rotate_left(u32::from(position % 7)) ^ 0xA5 | 0x81;
        !position.is_multiple_of(3)
    });
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_second_of_ticks_carries_baud_over_ten_bytes() {
        let mut line = LineBudget::new(BAUD);
        let sent: usize = (0..1000).map(|_| line.bytes_this_tick()).sum();
        assert_eq!(sent, 11_520);
    }

    #[test]
    fn garbling_never_leaves_a_frame_delimiter() {
        let mut bytes: Vec<u8> = (0..=255).collect();
        garble(&mut bytes);
        assert!(bytes.len() < 256 && !bytes.contains(&0));
    }
}
