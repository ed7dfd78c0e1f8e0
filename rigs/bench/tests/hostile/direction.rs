//! One direction of a line: frames that wait for their time, and those that are remembered to come again.

use std::collections::VecDeque;
use std::time::{Duration, Instant};

use firmware_core::link::Content;

use super::frames::{Framer, Way};

/// Frames that are remembered to come again.
const REMEMBERED: usize = 8;

/// One direction of the line.
pub(super) struct Direction {
    way: Way,
    pub(super) framer: Framer,
    pub(super) remembered: VecDeque<Content>,
    /// Added to later sequence numbers where a disguise has put a frame in between.
    pub(super) shift: u16,
    /// Bytes still to be swallowed.
    pub(super) swallow: usize,
    due: Instant,
    pub(super) waiting: VecDeque<(Instant, Vec<u8>)>,
}

impl Direction {
    pub(super) fn new(way: Way) -> Self {
        Self {
            way,
            framer: Framer::default(),
            remembered: VecDeque::new(),
            shift: 0,
            swallow: 0,
            due: Instant::now(),
            waiting: VecDeque::new(),
        }
    }

    /// Puts bytes in line behind what waits already.
    pub(super) fn put(&mut self, mut bytes: Vec<u8>) {
        let swallowed = self.swallow.min(bytes.len());
        bytes.drain(..swallowed);
        self.swallow -= swallowed;
        self.waiting.push_back((self.due, bytes));
    }

    pub(super) fn hold_for(&mut self, span: Duration) {
        self.due = self.due.max(Instant::now() + span);
    }

    /// Takes what is due.
    pub(super) fn due_bytes(&mut self) -> Vec<u8> {
        let now = Instant::now();
        let mut bytes = Vec::new();
        while let Some((_, frame)) = self.waiting.pop_front_if(|(due, _)| *due <= now) {
            bytes.extend(frame);
        }
        bytes
    }

    pub(super) fn put_back(&mut self, rest: &[u8]) {
        if !rest.is_empty() {
            self.waiting.push_front((Instant::now(), rest.to_vec()));
        }
    }

    pub(super) fn remember(&mut self, content: &Content) {
        self.remembered.push_back(content.clone());
        if self.remembered.len() > REMEMBERED {
            self.remembered.pop_front();
        }
    }
}
