//! What arrives: bytes to frames, frames to replies and stream items, all loss counted.

use std::io;

use firmware_core::learn::LearnEvent;
use firmware_core::link::message::ToHost;
use firmware_core::link::sequence::Arrival;
use firmware_core::link::state::ReleaseReason;
use firmware_core::link::{
    Belonging, Content, End, Outcome, PROTOCOL_VERSION, Refusal, SequenceCheck, Welcome,
};
use firmware_core::units::{Counts, Tick};

use super::{Client, ClientError};
use crate::rig::StreamItem;

/// Number of the hello.
pub(super) const HELLO_SEQUENCE: u16 = 0;
/// Bytes taken from the line at once.
const READ_BYTES: usize = 2048;

/// True when the line is there and had nothing to do with us within its patience.
pub(super) fn is_quiet(kind: io::ErrorKind) -> bool {
    matches!(kind, io::ErrorKind::TimedOut | io::ErrorKind::WouldBlock)
}

/// Reads what the line has; empty when nothing came within its patience.
pub(super) fn read(line: &mut dyn super::Line, port: &str) -> Result<Vec<u8>, ClientError> {
    let mut buffer = [0; READ_BYTES];
    let hung_up = |system: String| ClientError::HungUp { port: port.to_owned(), system };
    match line.read(&mut buffer) {
        Ok(0) => Err(hung_up("end of stream".into())),
        Ok(count) => Ok(buffer.iter().take(count).copied().collect()),
        Err(error) => {
            let is_quiet = is_quiet(error.kind()) || error.kind() == io::ErrorKind::Interrupted;
            if is_quiet { Ok(Vec::new()) } else { Err(hung_up(error.to_string())) }
        }
    }
}

impl Client {
    /// Takes in what the line has.
    pub(super) fn pump(&mut self) -> Result<(), ClientError> {
        let bytes = read(self.line.as_mut(), &self.port)?;
        self.line_use.bytes += bytes.len() as u64;
        self.bytes_heard += bytes.len() as u64;
        self.hear(bytes)
    }

    /// Takes in bytes from the line.
    pub(super) fn hear(&mut self, bytes: impl IntoIterator<Item = u8>) -> Result<(), ClientError> {
        for byte in bytes {
            match self.decoder.push(byte) {
                None => {}
                Some(Ok(content)) => self.take(&content)?,
                Some(Err(error)) => self.counters.count_error(error),
            }
        }
        Ok(())
    }

    fn take(&mut self, content: &Content) -> Result<(), ClientError> {
        match content.head.belonging(End::Host, Some(self.talk)) {
            Belonging::OtherVersion => {
                let (port, board) = (self.port.clone(), content.head.version);
                Err(ClientError::OtherVersion { port, board })
            }
            Belonging::Echo => {
                self.counters.count_echoed();
                Ok(())
            }
            Belonging::Foreign => self.overhear(content),
            Belonging::OfThisTalk => self.listen(content),
        }
    }

    /// A board that welcomes another program has left this talk.
    fn overhear(&mut self, content: &Content) -> Result<(), ClientError> {
        self.counters.count_foreign();
        match content.message::<ToHost>() {
            Ok(ToHost::Welcome(_)) => Err(ClientError::OtherHost { port: self.port.clone() }),
            Ok(_) | Err(_) => Ok(()),
        }
    }

    fn listen(&mut self, content: &Content) -> Result<(), ClientError> {
        let sequence = content.head.sequence;
        let Ok(message) = content.message::<ToHost>() else {
            self.counters.count_arrival(self.check.see(sequence));
            self.counters.count_not_understood();
            return Ok(());
        };
        if let ToHost::Welcome(welcome) = message {
            return self.be_welcomed_again(welcome, sequence);
        }
        if let ToHost::Reply { to, outcome: Outcome::Refused(refusal) } = &message {
            // The board refuses its own version to nobody: this went to a program that speaks another.
            if matches!(refusal, Refusal::OtherVersion { board: PROTOCOL_VERSION }) {
                self.check.see(sequence);
                self.counters.count_foreign();
                return Ok(());
            }
            // Before the look for repeats: a board that has restarted counts from 0 again.
            self.heed(*to, refusal)?;
        }
        let arrival = self.check.see(sequence);
        self.counters.count_arrival(arrival);
        if arrival != Arrival::Repeated {
            self.act_on(message);
        }
        Ok(())
    }

    /// A refusal that ends the talk: the board has restarted, or refuses what needs no answer. An old number
    /// refused as stale is a copy that the line made.
    fn heed(&self, to: u16, refusal: &Refusal) -> Result<(), ClientError> {
        let port = self.port.clone();
        if *refusal == Refusal::NoHello {
            return Err(ClientError::Restarted { port });
        }
        if self.unawaited == Some(to) && to == self.sequence {
            let command = "to go on";
            return Err(ClientError::Refused { port, command, refusal: refusal.clone() });
        }
        Ok(())
    }

    /// A second welcome answers a hello that was sent twice, or is a copy that the line made; once the talk is
    /// underway any other means that the board has let go.
    fn be_welcomed_again(&mut self, welcome: Welcome, sequence: u16) -> Result<(), ClientError> {
        if !self.is_underway {
            self.be_welcomed(welcome, sequence);
            Ok(())
        } else if welcome == self.welcome {
            self.counters.count_arrival(Arrival::Repeated);
            Ok(())
        } else {
            Err(ClientError::GreetedAgain { port: self.port.clone() })
        }
    }

    /// A welcome starts the board's sequence anew.
    pub(super) fn be_welcomed(&mut self, welcome: Welcome, sequence: u16) {
        self.check = SequenceCheck::new();
        self.counters.count_arrival(self.check.see(sequence));
        self.waiting_at = Some(welcome.next);
        self.welcome = welcome;
    }

    /// The end of an older grant, told twice, does not end the one that runs.
    fn be_waited_for(&mut self, next: Tick) {
        if self.grant.take_if(|grant| next.has_reached(grant.until)).is_some() {
            self.waiting_at = Some(next);
            self.progress();
        }
    }

    fn put(&mut self, item: StreamItem) {
        self.progress();
        self.items.push_back(item);
    }

    /// The hello lets go of what another talk was driving: no release of this talk's.
    fn be_released(&mut self, tick: Tick, reason: ReleaseReason, position: Counts) {
        if reason == ReleaseReason::NewHost && !self.is_underway {
            self.took_over = true;
            return;
        }
        self.may_drive = false;
        self.put(StreamItem::Released { tick, reason, position });
    }

    /// An event of a learn, after a mark for those that are missing before it; one that is told again is dropped.
    fn learn_event(&mut self, number: u16, tick: Tick, event: LearnEvent) {
        let Some(missing) = number.checked_sub(self.events_due) else { return };
        if missing > 0 {
            self.put(StreamItem::LostEvents { tick, count: missing.into() });
        }
        self.events_due = number.saturating_add(1);
        self.put(StreamItem::Learn { number, tick, event });
    }

    fn act_on(&mut self, message: ToHost) {
        match message {
            ToHost::Welcome(_) | ToHost::Calibration(_) => {}
            ToHost::Reply { to, outcome } => {
                self.is_underway |= to != HELLO_SEQUENCE;
                self.reply = Some((to, outcome));
            }
            ToHost::Samples(batch) => {
                self.line_use.ticks += u64::from(batch.ticks());
                match self.reassembly.batch(&batch) {
                    Some(items) => {
                        self.progress();
                        self.items.extend(items);
                    }
                    None => self.counters.count_not_understood(),
                }
            }
            ToHost::Gap { first, ticks } => {
                self.line_use.ticks += u64::from(ticks);
                self.progress();
                self.items.extend(self.reassembly.gap(first, ticks));
            }
            ToHost::State { tick, state } => self.put(StreamItem::State { tick, state }),
            ToHost::Waiting { next } => self.be_waited_for(next),
            ToHost::Motion { tick, event } => self.put(StreamItem::Motion { tick, event }),
            ToHost::Released { tick, reason, position } => self.be_released(tick, reason, position),
            ToHost::Status(status) => self.status = Some(status),
            ToHost::Learn { number, tick, event } => self.learn_event(number, tick, event),
            ToHost::Stored { number, result } => self.put(StreamItem::Stored { number, result }),
        }
    }
}
