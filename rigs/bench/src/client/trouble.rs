//! When to give up, and in which words: what came while nothing went on tells one trouble from another.

use std::time::{Duration, Instant};

use firmware_core::link::LinkCounters;

use super::{Client, ClientError, GIVE_UP};

/// A reply later than this is too late to keep a drive in hand; two in a row are no accident.
const SLOW_REPLY: Duration = Duration::from_secs(1);
const SLOW_REPLIES: u32 = 2;

/// What had been seen when a wait began.
pub(super) struct Waiting {
    since: Instant,
    bytes: u64,
    counters: LinkCounters,
}

impl Client {
    pub(super) fn start_waiting(&self) -> Waiting {
        Waiting { since: Instant::now(), bytes: self.bytes_heard, counters: self.counters }
    }

    /// Notes that what the talk waits for goes on.
    pub(super) fn progress(&mut self) {
        self.progress_at = Instant::now();
    }

    /// Ends a wait in which nothing went on for too long.
    pub(super) fn check_patience(
        &self,
        waiting: &Waiting,
        waiting_for: &'static str,
    ) -> Result<(), ClientError> {
        let idle = self.progress_at.max(waiting.since).elapsed();
        if idle > GIVE_UP { Err(self.gave_up(waiting, waiting_for)) } else { Ok(()) }
    }

    /// Ends a wait for something that must come, whatever else goes on.
    pub(super) fn check_due(&self, waiting: &Waiting, waiting_for: &'static str) -> Result<(), ClientError> {
        if waiting.since.elapsed() > GIVE_UP { Err(self.gave_up(waiting, waiting_for)) } else { Ok(()) }
    }

    /// Why nothing goes on, by what came since.
    pub(super) fn gave_up(&self, waiting: &Waiting, waiting_for: &'static str) -> ClientError {
        let (then, now) = (&waiting.counters, &self.counters);
        let port = self.port.clone();
        let (waited_ms, counters) = (milliseconds(GIVE_UP), self.counters);
        if now.frames != then.frames {
            ClientError::Stalled { port, waiting_for, waited_ms, counters }
        } else if now.foreign != then.foreign {
            ClientError::OnlyForeign { port, counters }
        } else if now.echoed != then.echoed {
            ClientError::Echo { port }
        } else if self.bytes_heard != waiting.bytes {
            ClientError::OnlyDamaged { port, waited_ms, counters }
        } else {
            ClientError::Silent { port, waited_ms, counters }
        }
    }

    /// The error for an answer whose frame was lost, again and again.
    pub(super) fn stalled(&self, waiting_for: &'static str) -> ClientError {
        let (port, counters) = (self.port.clone(), self.counters);
        ClientError::Stalled { port, waiting_for, waited_ms: milliseconds(GIVE_UP), counters }
    }

    /// Refuses a line whose replies come so late that a drive could not be kept in hand.
    pub(super) fn check_pace(&mut self, took: Duration) -> Result<(), ClientError> {
        self.slow_replies = if took > SLOW_REPLY { self.slow_replies + 1 } else { 0 };
        if self.slow_replies < SLOW_REPLIES {
            return Ok(());
        }
        let (took_ms, lease_ms) = (milliseconds(took), self.obeyed.lease_ms());
        Err(ClientError::Slow { port: self.port.clone(), took_ms, lease_ms })
    }

    pub(super) fn check_interrupt(&self) -> Result<(), ClientError> {
        if (self.is_interrupted)() { Err(ClientError::Interrupted) } else { Ok(()) }
    }
}

fn milliseconds(span: Duration) -> u64 {
    u64::try_from(span.as_millis()).unwrap_or(u64::MAX)
}
