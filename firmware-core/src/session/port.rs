//! The board's mouth and ear: frames in with their counts, replies and events out.

use heapless::Vec;

use crate::link::PROTOCOL_VERSION;
use crate::link::batch::BatchBuilder;
use crate::link::codec::{Content, Decoder, MAX_MESSAGE, MAX_WIRE, TooLong, body, frame};
use crate::link::message::ToHost;
use crate::link::note::{LearnNote, Note};
use crate::link::queue::{Next, Priority, QueueFull, TransmitQueue};
use crate::link::refusal::Outcome;
use crate::link::sequence::{Arrival, LinkCounters, SequenceCheck};
use crate::link::talk::{End, Head, Talk};

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
    wire: Vec<u8, MAX_WIRE>,
    sent: usize,
    sequence: u16,
    last_reply: Option<(u16, Outcome)>,
    /// The talk that a hello has opened.
    talk: Option<Talk>,
    /// The talk that an answer without a hello belongs to.
    asked_in: Option<Talk>,
    dropped: u32,
}

impl Port {
    pub(super) const fn new() -> Self {
        Self {
            decoder: Decoder::new(),
            check: SequenceCheck::new(),
            counters: LinkCounters::NONE,
            queue: TransmitQueue::new(),
            wire: Vec::new(),
            sent: 0,
            sequence: 0,
            last_reply: None,
            talk: None,
            asked_in: None,
            dropped: 0,
        }
    }

    /// Takes one byte; gives a sound frame when it ends one.
    #[inline]
    pub(super) fn hear(&mut self, byte: u8) -> Option<Content> {
        match self.decoder.push(byte)? {
            Ok(content) => Some(content),
            Err(error) => {
                self.counters.count_error(error);
                None
            }
        }
    }

    /// Starts a talk: counters, sequence numbers and queue as if just switched on.
    #[inline]
    pub(super) fn greet(&mut self, talk: Talk) {
        self.check = SequenceCheck::new();
        self.counters = LinkCounters::NONE;
        self.queue.clear();
        self.wire.clear();
        self.sent = 0;
        self.sequence = 0;
        self.last_reply = None;
        self.talk = Some(talk);
        self.dropped = 0;
    }

    pub(super) fn is_greeted(&self) -> bool {
        self.talk.is_some()
    }

    pub(super) fn talk(&self) -> Option<Talk> {
        self.talk
    }

    /// Before a hello: answers go to whoever asked.
    pub(super) fn be_asked_in(&mut self, talk: Option<Talk>) {
        self.asked_in = talk;
    }

    #[inline]
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

    pub(super) fn count_foreign(&mut self) {
        self.counters.count_foreign();
    }

    pub(super) fn count_echoed(&mut self) {
        self.counters.count_echoed();
    }

    pub(super) fn counters(&self) -> LinkCounters {
        self.counters
    }

    pub(super) fn dropped(&self) -> u32 {
        self.dropped
    }

    /// Answers a message and remembers the answer, in case it is lost.
    #[inline]
    pub(super) fn reply(&mut self, to: u16, outcome: Outcome) {
        self.tell(&ToHost::Reply { to, outcome: outcome.clone() });
        self.last_reply = Some((to, outcome));
    }

    /// Answers a message that changes nothing, so that the last answer is still there to repeat.
    #[inline]
    pub(super) fn reply_in_passing(&mut self, to: u16, outcome: Outcome) {
        self.tell(&ToHost::Reply { to, outcome });
    }

    /// Answers the last message again.
    #[inline]
    pub(super) fn repeat_reply(&mut self) {
        if let Some((to, outcome)) = self.last_reply.clone() {
            self.tell(&ToHost::Reply { to, outcome });
        }
    }

    /// Tells the host what it asked for.
    #[inline]
    pub(super) fn tell(&mut self, message: &ToHost) {
        let mut room = [0; MAX_MESSAGE];
        let queued = body(message, &mut room)
            .map_err(|_| QueueFull)
            .and_then(|message| self.queue.push(message, Priority::Reply));
        self.count_dropped(queued);
    }

    /// Notes an event for the host, once it has greeted; one that finds no room is counted and dropped.
    pub(super) fn note(&mut self, note: Note) {
        if self.is_greeted() {
            let queued = self.queue.note(note, Priority::Reply);
            self.count_dropped(queued);
        }
    }

    /// As [`Port::note`], for the learner.
    pub(super) fn note_learn(&mut self, note: LearnNote) {
        if self.is_greeted() {
            let queued = self.queue.note_learn(note);
            self.count_dropped(queued);
        }
    }

    /// Notes what goes with the stream and can be told later.
    pub(super) fn try_note(&mut self, note: Note) -> Result<(), QueueFull> {
        self.queue.note(note, Priority::Stream)
    }

    fn count_dropped(&mut self, queued: Result<(), QueueFull>) {
        self.dropped = self.dropped.saturating_add(u32::from(queued.is_err()));
    }

    /// Queues the place of a batch.
    pub(super) fn mark_batch(&mut self) -> Result<(), QueueFull> {
        self.queue.mark_batch()
    }

    /// Fills `out` with what waits. A frame is made only once the one before it is out, so that the work follows
    /// from the bytes asked for, and the bytes do not depend on how many are asked for at once.
    #[inline]
    pub(super) fn transmit(&mut self, out: &mut [u8], batches: &mut BatchBuilder) -> usize {
        let mut filled = 0usize;
        loop {
            let rest = self.wire.get(self.sent..).unwrap_or_default();
            let room = out.get_mut(filled..).unwrap_or_default();
            let count = rest.len().min(room.len());
            for (to, from) in room.iter_mut().zip(rest) {
                *to = *from;
            }
            self.sent = self.sent.saturating_add(count);
            filled = filled.saturating_add(count);
            if filled >= out.len() || !self.next_frame(batches) {
                return filled;
            }
        }
    }

    /// Makes the next frame; false when nothing waits.
    #[inline]
    fn next_frame(&mut self, batches: &mut BatchBuilder) -> bool {
        while let Some(next) = self.queue.pull() {
            let made = match next {
                Next::Message(body) => frame(self.head(), &body),
                Next::Note(note) => self.encode(&ToHost::from(note)),
                Next::Learn(note) => self.encode(&ToHost::from(note)),
                Next::Batch => self.frame_batch(batches),
            };
            if let Ok(made) = made {
                self.sequence = self.sequence.wrapping_add(1);
                self.wire = made;
                self.sent = 0;
                return true;
            }
        }
        false
    }

    /// A batch whose noise fills the frame goes out in two; its mark stays until the second.
    #[inline]
    fn frame_batch(&mut self, batches: &mut BatchBuilder) -> Result<Vec<u8, MAX_WIRE>, TooLong> {
        let before = batches.waiting();
        let batch = batches.take();
        if batches.waiting() < before || batch.is_none() {
            self.queue.batch_is_out();
        }
        self.encode(&ToHost::Samples(batch.ok_or(TooLong)?))
    }

    #[inline]
    fn encode(&self, message: &ToHost) -> Result<Vec<u8, MAX_WIRE>, TooLong> {
        let mut room = [0; MAX_MESSAGE];
        frame(self.head(), body(message, &mut room)?)
    }

    #[inline]
    fn head(&self) -> Head {
        Head {
            version: PROTOCOL_VERSION,
            talk: self.talk.or(self.asked_in),
            sender: End::Board,
            sequence: self.sequence,
        }
    }
}
