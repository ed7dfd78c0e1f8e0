//! Bytes that wait for the line. In: whole frames. Out: as many bytes as the line takes. Refused: a frame
//! that does not fit as a whole, so that nothing half-written ever leaves.

use heapless::Deque;

/// Room for four of the largest frames and some replies: about 100 ms of the line at 115 200 baud.
pub const QUEUE_BYTES: usize = 1152;
/// Kept free of samples, so that a reply always finds room: eight short replies.
pub const REPLY_RESERVE: usize = 128;

/// What a frame is, and so how much of the queue it may fill.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Priority {
    /// Answers and events: may use all of the queue.
    Reply,
    /// Sample batches: leave [`REPLY_RESERVE`] free.
    Stream,
}

/// The queue has no room for the frame; nothing of it was taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct QueueFull;

/// First in, first out.
#[derive(Debug, Clone, Default)]
pub struct TransmitQueue {
    bytes: Deque<u8, QUEUE_BYTES>,
}

impl TransmitQueue {
    /// An empty queue.
    #[must_use]
    pub const fn new() -> Self {
        Self { bytes: Deque::new() }
    }

    /// Takes a whole frame.
    ///
    /// # Errors
    /// [`QueueFull`] when it does not fit.
    pub fn push(&mut self, frame: &[u8], priority: Priority) -> Result<(), QueueFull> {
        let reserve = match priority {
            Priority::Reply => 0,
            Priority::Stream => REPLY_RESERVE,
        };
        let free = QUEUE_BYTES.saturating_sub(self.bytes.len());
        if frame.len().saturating_add(reserve) > free {
            return Err(QueueFull);
        }
        for byte in frame {
            self.bytes.push_back(*byte).map_err(|_| QueueFull)?;
        }
        Ok(())
    }

    /// Moves bytes into `out`, as many as fit; gives how many.
    pub fn take(&mut self, out: &mut [u8]) -> usize {
        let mut taken = 0usize;
        for slot in out {
            let Some(byte) = self.bytes.pop_front() else { break };
            *slot = byte;
            taken = taken.saturating_add(1);
        }
        taken
    }

    /// Forgets what waits.
    pub fn clear(&mut self) {
        self.bytes.clear();
    }
}

#[cfg(test)]
#[allow(clippy::indexing_slicing)]
mod tests {
    use super::*;

    #[test]
    fn samples_leave_room_for_replies_and_nothing_is_half_taken() {
        let mut queue = TransmitQueue::new();
        while queue.push(&[1; 100], Priority::Stream).is_ok() {}
        assert_eq!(queue.push(&[2; 100], Priority::Reply), Ok(()));
        assert_eq!(queue.push(&[3; 100], Priority::Reply), Err(QueueFull));
        let mut out = [0; 2000];
        assert_eq!(queue.take(&mut out), 1100);
        assert_eq!(&out[1000..1100], [2; 100]);
        assert_eq!(queue.take(&mut out), 0);
    }
}
