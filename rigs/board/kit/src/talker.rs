//! The link's turn between two ticks: bytes in, bytes out, and the save that the control end has handed over.

use firmware_core::session::LinkEnd;
use firmware_core::store::{Kept, StoreResult};

use crate::sheet::SavingHand;

/// Bytes that are made for the line at once.
const CHUNK_BYTES: usize = 32;

/// A line whose bytes come and go by interrupt.
pub trait LinkPort {
    /// The oldest byte that has come.
    fn take(&mut self) -> Option<u8>;
    /// Bytes that still fit on the way out.
    fn room(&self) -> usize;
    /// Sends bytes, no more than [`LinkPort::room`].
    fn put(&mut self, bytes: &[u8]);
}

/// The link end and its line. For the main loop of a board whose ticks a timer's interrupt runs.
pub struct Talker<P> {
    link_end: LinkEnd<'static>,
    port: P,
    /// A save's result that found no room on its way to the control end.
    untold: Option<StoreResult>,
}

impl<P: LinkPort> Talker<P> {
    /// A line that nobody has spoken on.
    pub fn new(link_end: LinkEnd<'static>, port: P) -> Self {
        Self { link_end, port, untold: None }
    }

    /// Hears what has come and sends what waits, as far as the line has room; never waits.
    pub fn turn(&mut self) {
        self.hear();
        self.send();
        self.tell();
    }

    // Each of these on its own, so that one's stack is not the other's too.
    #[inline(never)]
    fn hear(&mut self) {
        while let Some(byte) = self.port.take() {
            // A whole message is the control end's at its next tick.
            let _is_message = self.link_end.hear(byte);
        }
    }

    #[inline(never)]
    fn send(&mut self) {
        let mut chunk = [0; CHUNK_BYTES];
        while self.port.room() >= CHUNK_BYTES {
            let count = self.link_end.transmit(&mut chunk);
            self.port.put(chunk.get(..count).unwrap_or_default());
            if count == 0 {
                break;
            }
        }
    }

    /// Saves what the control end has handed over, unless the last result still waits to be told; gives the sheet back.
    #[inline(never)]
    pub fn save(&mut self, hand: &mut SavingHand, save: impl FnOnce(&Kept) -> StoreResult) {
        if self.untold.is_some() {
            return;
        }
        if let Some(sheet) = hand.take() {
            if let Some(kept) = sheet.as_ref() {
                self.untold = Some(save(kept));
            }
            hand.give_back(sheet);
            self.tell();
        }
    }

    #[inline(never)]
    fn tell(&mut self) {
        self.untold = self.untold.take().and_then(|result| self.link_end.saved(result).err());
    }
}
