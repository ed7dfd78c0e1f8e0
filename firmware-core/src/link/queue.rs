//! What waits for the line, in order. In: whole messages, notes of what happened in a tick, and marks where a
//! sample batch stands. Out: the same, one at a time, to be framed. Refused: a message that does not fit as a
//! whole, so that nothing half-written ever leaves.

use heapless::{Deque, Vec};

use super::codec::MAX_MESSAGE;
use super::note::{LearnNote, Note};

/// Room for the answers that wait, with their lengths.
pub const QUEUE_BYTES: usize = 576;
/// Kept free of the stream, so that a reply always finds room: a welcome, or a dozen short replies.
pub const REPLY_RESERVE: usize = 192;
/// A length that no message has: here stands the next of the batches that wait beside the queue.
const BATCH_MARK: u8 = 0;
/// Likewise: here stands the next of the notes.
const NOTE_MARK: u8 = u8::MAX;
/// Likewise, for the learner's notes.
const LEARN_MARK: u8 = NOTE_MARK - 1;
/// Notes that can wait: a tick makes three at most, in most ticks none.
pub const WAITING_NOTES: usize = 8;
/// Notes that the stream leaves free.
const NOTE_RESERVE: usize = 5;
/// Notes of the learner that can wait: its phases last.
const WAITING_LEARN_NOTES: usize = 4;
const _: () = assert!(MAX_MESSAGE < LEARN_MARK as usize);

/// What a message is, and so how much of the queue it may fill.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Priority {
    /// Answers and events: may use all of the queue.
    Reply,
    /// Sample batches and what goes with them: leave [`REPLY_RESERVE`] free.
    Stream,
}

/// The queue has no room for the message; nothing of it was taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct QueueFull;

/// What stands first in the queue.
#[derive(Debug, Clone, PartialEq)]
pub enum Next {
    /// A message, taken out of the queue.
    Message(Vec<u8, MAX_MESSAGE>),
    /// A note, taken out of the queue.
    Note(Note),
    /// A note of the learner, taken out of the queue.
    Learn(LearnNote),
    /// The oldest batch; its mark stays until [`TransmitQueue::batch_is_out`].
    Batch,
}

/// First in, first out.
#[derive(Debug, Clone, Default)]
pub struct TransmitQueue {
    bytes: Deque<u8, QUEUE_BYTES>,
    notes: Deque<Note, WAITING_NOTES>,
    learn_notes: Deque<LearnNote, WAITING_LEARN_NOTES>,
}

impl TransmitQueue {
    /// An empty queue.
    #[must_use]
    pub const fn new() -> Self {
        Self { bytes: Deque::new(), notes: Deque::new(), learn_notes: Deque::new() }
    }

    /// Takes a whole message.
    ///
    /// # Errors
    /// [`QueueFull`] when it does not fit, or is no message: empty, or longer than [`MAX_MESSAGE`].
    #[inline]
    pub fn push(&mut self, message: &[u8], priority: Priority) -> Result<(), QueueFull> {
        if !(1..=MAX_MESSAGE).contains(&message.len()) {
            return Err(QueueFull);
        }
        let length = u8::try_from(message.len()).map_err(|_| QueueFull)?;
        self.check_room(message.len().saturating_add(1), priority)?;
        self.bytes.push_back(length).map_err(|_| QueueFull)?;
        for byte in message {
            self.bytes.push_back(*byte).map_err(|_| QueueFull)?;
        }
        Ok(())
    }

    /// Takes a note.
    ///
    /// # Errors
    /// [`QueueFull`].
    pub fn note(&mut self, note: Note, priority: Priority) -> Result<(), QueueFull> {
        let reserve = match priority {
            Priority::Reply => 0,
            Priority::Stream => NOTE_RESERVE,
        };
        if self.notes.len().saturating_add(reserve) >= WAITING_NOTES {
            return Err(QueueFull);
        }
        self.bytes.push_back(NOTE_MARK).map_err(|_| QueueFull)?;
        self.notes.push_back(note).map_err(|_| QueueFull)
    }

    /// Takes a note of the learner.
    ///
    /// # Errors
    /// [`QueueFull`].
    pub fn note_learn(&mut self, note: LearnNote) -> Result<(), QueueFull> {
        if self.learn_notes.is_full() {
            return Err(QueueFull);
        }
        self.bytes.push_back(LEARN_MARK).map_err(|_| QueueFull)?;
        self.learn_notes.push_back(note).map_err(|_| QueueFull)
    }

    /// Notes that a batch stands here.
    ///
    /// # Errors
    /// [`QueueFull`].
    pub fn mark_batch(&mut self) -> Result<(), QueueFull> {
        self.check_room(1, Priority::Stream)?;
        self.bytes.push_back(BATCH_MARK).map_err(|_| QueueFull)
    }

    fn check_room(&self, wanted: usize, priority: Priority) -> Result<(), QueueFull> {
        let reserve = match priority {
            Priority::Reply => 0,
            Priority::Stream => REPLY_RESERVE,
        };
        let free = QUEUE_BYTES.saturating_sub(self.bytes.len());
        if wanted.saturating_add(reserve) > free { Err(QueueFull) } else { Ok(()) }
    }

    /// What is to leave next.
    #[inline]
    pub fn pull(&mut self) -> Option<Next> {
        if *self.bytes.front()? == BATCH_MARK {
            return Some(Next::Batch);
        }
        let length = self.bytes.pop_front()?;
        match length {
            NOTE_MARK => return self.notes.pop_front().map(Next::Note),
            LEARN_MARK => return self.learn_notes.pop_front().map(Next::Learn),
            _ => {}
        }
        Some(Next::Message((0..length).filter_map(|_| self.bytes.pop_front()).collect()))
    }

    /// Removes the mark that [`Next::Batch`] told of.
    pub fn batch_is_out(&mut self) {
        self.bytes.pop_front_if(|first| *first == BATCH_MARK);
    }

    /// Forgets what waits.
    pub fn clear(&mut self) {
        self.bytes.clear();
        self.notes.clear();
        self.learn_notes.clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_stream_leaves_room_for_replies_and_nothing_is_half_taken() {
        let mut queue = TransmitQueue::new();
        while queue.push(&[1; 100], Priority::Stream).is_ok() {}
        while queue.mark_batch().is_ok() {}
        assert_eq!(queue.push(&[2; REPLY_RESERVE - 1], Priority::Reply), Ok(()));
        assert_eq!(queue.push(&[3; 1], Priority::Reply), Err(QueueFull));
        for _ in 0..3 {
            assert_eq!(queue.pull(), Some(Next::Message([1; 100].into_iter().collect())));
        }
        while queue.pull() == Some(Next::Batch) {
            queue.batch_is_out();
        }
        assert_eq!(queue.pull(), None);
    }
}
