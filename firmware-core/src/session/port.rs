//! The board's mouth and ear: frames in with their counts, replies and events out.

use crate::link::codec::{Content, Decoder, encode};
use crate::link::message::ToHost;
use crate::link::queue::{Priority, QueueFull, TransmitQueue};
use crate::link::refusal::Outcome;
use crate::link::sequence::{Arrival, LinkCounters, SequenceCheck};

/// How a host message stands against the ones before it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Order {
    /// Not seen before: carry it out.
    New,
    /// The last one again: its reply was lost.
    Again,
    /// Older than the last one.
    Stale {
        /// Last sequence number taken.
        last: u16,
    },
}

/// Decoder, counters, queue and the last reply.
#[derive(Debug)]
pub(super) struct Port {
    decoder: Decoder,
    check: SequenceCheck,
    counters: LinkCounters,
    queue: TransmitQueue,
    sequence: u16,
    last_reply: Option<(u16, Outcome)>,
    greeted: bool,
    dropped: u32,
}

impl Port {
    pub(super) const fn new() -> Self {
        Self {
            decoder: Decoder::new(),
            check: SequenceCheck::new(),
            counters: LinkCounters::NONE,
            queue: TransmitQueue::new(),
            sequence: 0,
            last_reply: None,
            greeted: false,
            dropped: 0,
        }
    }

    /// Takes one byte; gives a sound frame when it ends one.
    pub(super) fn hear(&mut self, byte: u8) -> Option<Content> {
        match self.decoder.push(byte)? {
            Ok(content) => Some(content),
            Err(error) => {
                self.counters.count_error(error);
                None
            }
        }
    }

    /// Starts the talk anew: counters, sequence numbers and queue as if just switched on.
    pub(super) fn greet(&mut self) {
        self.check = SequenceCheck::new();
        self.counters = LinkCounters::NONE;
        self.queue.clear();
        self.sequence = 0;
        self.last_reply = None;
        self.greeted = true;
        self.dropped = 0;
    }

    pub(super) fn is_greeted(&self) -> bool {
        self.greeted
    }

    pub(super) fn order(&mut self, sequence: u16) -> Order {
        let arrival = self.check.see(sequence);
        self.counters.count_arrival(arrival);
        match (arrival, &self.last_reply) {
            (Arrival::Expected | Arrival::After { .. }, _) | (Arrival::Repeated, None) => Order::New,
            (Arrival::Repeated, Some((last, _))) if *last == sequence => Order::Again,
            (Arrival::Repeated, Some((last, _))) => Order::Stale { last: *last },
        }
    }

    pub(super) fn count_not_understood(&mut self) {
        self.counters.count_not_understood();
    }

    pub(super) fn counters(&self) -> LinkCounters {
        self.counters
    }

    pub(super) fn dropped(&self) -> u32 {
        self.dropped
    }

    /// Answers a message and remembers the answer, in case it is lost.
    pub(super) fn reply(&mut self, to: u16, outcome: Outcome) {
        self.send(&ToHost::Reply { to, outcome: outcome.clone() }, Priority::Reply);
        self.last_reply = Some((to, outcome));
    }

    /// Answers a message that changes nothing, so that the last answer is still there to repeat.
    pub(super) fn reply_in_passing(&mut self, to: u16, outcome: Outcome) {
        self.send(&ToHost::Reply { to, outcome }, Priority::Reply);
    }

    /// Answers the last message again.
    pub(super) fn repeat_reply(&mut self) {
        if let Some((to, outcome)) = self.last_reply.clone() {
            self.send(&ToHost::Reply { to, outcome }, Priority::Reply);
        }
    }

    /// Tells the host of an event, once it has greeted.
    pub(super) fn tell(&mut self, message: &ToHost) {
        if self.greeted {
            self.send(message, Priority::Reply);
        }
    }

    /// Queues a message; one that finds no room is counted and dropped.
    fn send(&mut self, message: &ToHost, priority: Priority) {
        if self.try_send(message, priority).is_err() {
            self.dropped = self.dropped.saturating_add(1);
        }
    }

    /// Queues a message; the sequence number is only used up when it fits.
    pub(super) fn try_send(&mut self, message: &ToHost, priority: Priority) -> Result<(), QueueFull> {
        let frame = encode(self.sequence, message).map_err(|_| QueueFull)?;
        self.queue.push(&frame, priority)?;
        self.sequence = self.sequence.wrapping_add(1);
        Ok(())
    }

    pub(super) fn transmit(&mut self, out: &mut [u8]) -> usize {
        self.queue.take(out)
    }
}
