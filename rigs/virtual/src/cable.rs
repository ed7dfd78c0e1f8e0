//! A cable inside the process: two bounded queues of bytes, for systems without pseudo-terminals.
//!
//! In: bytes at either end. Out: the same bytes at the other. A full queue takes no more from the rig, as a
//! pseudo-terminal does, and lets the client wait; an end that is gone is told as on a serial port.

use std::collections::VecDeque;
use std::io::{self, ErrorKind, Read, Write};
use std::sync::{Arc, Condvar, Mutex, MutexGuard};
use std::time::Duration;

use crate::line::LineEnd;

/// Bytes that wait in one direction: what a Linux pseudo-terminal holds.
const CAPACITY: usize = 4096;
/// Longest wait of one read or write at the client's end, as on a serial port.
const CLIENT_PATIENCE: Duration = Duration::from_millis(20);

/// One direction.
#[derive(Debug, Default)]
struct ByteQueue {
    state: Mutex<QueuedBytes>,
    changed: Condvar,
}

#[derive(Debug, Default)]
struct QueuedBytes {
    bytes: VecDeque<u8>,
    end: FarEnd,
}

/// Whether somebody is at the other end.
#[derive(Debug, Default, Clone, Copy, PartialEq, Eq)]
enum FarEnd {
    #[default]
    There,
    Gone,
}

impl ByteQueue {
    /// A thread that panicked with the queue in hand left it whole: bytes only come and go.
    fn lock(&self) -> MutexGuard<'_, QueuedBytes> {
        self.state.lock().unwrap_or_else(std::sync::PoisonError::into_inner)
    }

    /// Waits until `ready` or an end is gone, at most `patience`.
    fn wait(&self, patience: Duration, ready: impl Fn(&QueuedBytes) -> bool) -> MutexGuard<'_, QueuedBytes> {
        let waiting = |state: &mut QueuedBytes| state.end == FarEnd::There && !ready(state);
        self.changed
            .wait_timeout_while(self.lock(), patience, waiting)
            .unwrap_or_else(std::sync::PoisonError::into_inner)
            .0
    }

    fn take(&self, state: &mut QueuedBytes, into: &mut [u8]) -> usize {
        let count = state.bytes.len().min(into.len());
        for (place, byte) in into.iter_mut().zip(state.bytes.drain(..count)) {
            *place = byte;
        }
        self.changed.notify_all();
        count
    }

    fn put(&self, state: &mut QueuedBytes, bytes: &[u8]) -> usize {
        let count = bytes.len().min(CAPACITY - state.bytes.len());
        state.bytes.extend(bytes.iter().take(count));
        self.changed.notify_all();
        count
    }

    fn leave(&self) {
        self.lock().end = FarEnd::Gone;
        self.changed.notify_all();
    }
}

/// The rig's end.
#[derive(Debug)]
pub(crate) struct RigEnd {
    from_client: Arc<ByteQueue>,
    to_client: Arc<ByteQueue>,
}

/// The client's end: a serial port for whoever reads and writes it. A read that finds nothing within 20 ms gives
/// [`ErrorKind::TimedOut`]; 0 bytes mean that the rig is gone.
#[derive(Debug)]
pub struct ClientEnd {
    from_rig: Arc<ByteQueue>,
    to_rig: Arc<ByteQueue>,
}

/// A new cable's two ends.
pub(crate) fn cable() -> (RigEnd, ClientEnd) {
    let [to_rig, from_rig] = [Arc::new(ByteQueue::default()), Arc::new(ByteQueue::default())];
    let rig_end = RigEnd { from_client: Arc::clone(&to_rig), to_client: Arc::clone(&from_rig) };
    (rig_end, ClientEnd { from_rig, to_rig })
}

impl LineEnd for RigEnd {
    fn has_link_speed(&self) -> bool {
        true
    }

    fn wait_for_bytes(&self, patience: Duration) {
        drop(self.from_client.wait(patience, |state| !state.bytes.is_empty()));
    }

    fn receive(&self, into: &mut [u8]) -> io::Result<usize> {
        Ok(self.from_client.take(&mut self.from_client.lock(), into))
    }

    fn send(&self, bytes: &[u8]) -> io::Result<usize> {
        Ok(self.to_client.put(&mut self.to_client.lock(), bytes))
    }
}

impl Drop for RigEnd {
    fn drop(&mut self) {
        self.from_client.leave();
        self.to_client.leave();
    }
}

impl Read for ClientEnd {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let mut state = self.from_rig.wait(CLIENT_PATIENCE, |state| !state.bytes.is_empty());
        match self.from_rig.take(&mut state, into) {
            0 if state.end == FarEnd::There && !into.is_empty() => Err(ErrorKind::TimedOut.into()),
            count => Ok(count),
        }
    }
}

impl Write for ClientEnd {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let mut state = self.to_rig.wait(CLIENT_PATIENCE, |state| state.bytes.len() < CAPACITY);
        match state.end {
            FarEnd::Gone => Err(ErrorKind::BrokenPipe.into()),
            FarEnd::There => match self.to_rig.put(&mut state, bytes) {
                0 if !bytes.is_empty() => Err(ErrorKind::TimedOut.into()),
                count => Ok(count),
            },
        }
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bytes_come_out_in_order_and_a_full_cable_takes_no_more() {
        let (rig, mut client) = cable();
        client.write_all(b"ask").unwrap();
        let mut heard = [0; 8];
        assert_eq!(rig.receive(&mut heard).unwrap(), 3);
        assert_eq!(&heard[..3], b"ask");
        let much: Vec<u8> = (0..=255).cycle().take(CAPACITY + 10).collect();
        assert_eq!(rig.send(&much).unwrap(), CAPACITY);
        assert_eq!(rig.send(&much).unwrap(), 0);
        let mut all = vec![0; CAPACITY];
        client.read_exact(&mut all).unwrap();
        assert_eq!(all, much[..CAPACITY]);
    }

    #[test]
    fn a_silent_rig_times_out_and_a_rig_that_is_gone_ends_the_line() {
        let (rig, mut client) = cable();
        let mut byte = [0; 1];
        assert_eq!(client.read(&mut byte).unwrap_err().kind(), ErrorKind::TimedOut);
        rig.send(b"x").unwrap();
        drop(rig);
        assert_eq!(client.read(&mut byte).unwrap(), 1, "what was sent before still comes");
        assert_eq!(client.read(&mut byte).unwrap(), 0);
        assert_eq!(client.write(b"y").unwrap_err().kind(), ErrorKind::BrokenPipe);
    }

    #[test]
    fn a_client_that_fills_the_cable_is_held_up_and_loses_nothing() {
        let (rig, mut client) = cable();
        let filled = vec![7; CAPACITY];
        client.write_all(&filled).unwrap();
        assert_eq!(client.write(b"z").unwrap_err().kind(), ErrorKind::TimedOut);
        let mut all = vec![0; CAPACITY + 1];
        assert_eq!(rig.receive(&mut all).unwrap(), CAPACITY);
    }
}
