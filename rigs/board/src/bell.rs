//! The board's end of the lockstep: waits for the host's bell, reads what it asks, answers, rings back.

use core::sync::atomic::{AtomicU32, Ordering};

use board_kit::Ring;
use firmware_core::link::state::StartReason;
use lockstep::{
    ANSWER_AT, ASK_AT, ITEM_BYTES, LENGTH_BYTES, MESSAGE_BYTES, STARTED_BELL, Started, WindowError, decode,
    encode,
};
use serde::Serialize;
use serde::de::DeserializeOwned;

use crate::raw::SharedWindow;
use crate::uart::send;
use crate::wait_until;

/// The second serial port: the bell.
pub const BASE: usize = 0x4000_5000;

const ASK: SharedWindow = SharedWindow::at(ASK_AT, MESSAGE_BYTES);
const ANSWER: SharedWindow = SharedWindow::at(ANSWER_AT, MESSAGE_BYTES);

/// The letter that was rung last.
static LETTER: AtomicU32 = AtomicU32::new(0);

/// Waits for a bell; gives what the host asks.
pub fn wait(bells: &Ring) -> Incoming {
    let letter = wait_until(|| bells.pop());
    LETTER.store(u32::from(letter), Ordering::Relaxed);
    Incoming { at: LENGTH_BYTES }
}

/// Rings back with the letter of the ask.
pub fn answer(answer: &Outgoing) {
    // An offset in the window, far below 2^32.
    ANSWER.write(0, &(answer.at as u32).to_le_bytes());
    send(BASE, LETTER.load(Ordering::Relaxed) as u8);
}

/// Items of the ask, one after the other.
pub struct Incoming {
    at: usize,
}

impl Incoming {
    /// Takes the next item.
    pub fn take<T: DeserializeOwned>(&mut self) -> Result<T, WindowError> {
        let mut bytes = [0; ITEM_BYTES];
        ASK.read(self.at, &mut bytes);
        let (item, used) = decode(&bytes)?;
        self.at += used;
        Ok(item)
    }
}

/// Items of the answer, one after the other.
pub struct Outgoing {
    at: usize,
}

impl Outgoing {
    /// An answer without items.
    pub fn new() -> Self {
        Self { at: LENGTH_BYTES }
    }

    /// Appends an item.
    pub fn put<T: Serialize>(&mut self, item: &T) -> Result<(), WindowError> {
        let mut bytes = [0; ITEM_BYTES];
        let used = encode(item, &mut bytes)?;
        ANSWER.write(self.at, bytes.get(..used).unwrap_or_default());
        self.at += used;
        Ok(())
    }
}

/// Tells the host, unasked, that the image has started.
pub fn tell_started(reason: StartReason) {
    let mut started = Outgoing::new();
    if started.put(&Started { reason }).is_ok() {
        LETTER.store(u32::from(STARTED_BELL), Ordering::Relaxed);
        answer(&started);
    }
}
