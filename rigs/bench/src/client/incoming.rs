//! What arrives: bytes to frames, frames to replies and stream items, all loss counted.

use std::io;

use firmware_core::link::message::ToHost;
use firmware_core::link::sequence::Arrival;
use firmware_core::link::{Belonging, Content, End, Outcome, Refusal, SequenceCheck, Welcome};

use firmware_core::units::Tick;

use super::item::StreamItem;
use super::{Client, ClientError};

/// Bytes taken from the line at once.
const READ_BYTES: usize = 2048;

/// Reads what the line has; empty when nothing came within its patience.
pub(super) fn read(line: &mut dyn super::Line, port: &str) -> Result<Vec<u8>, ClientError> {
    let mut buffer = [0; READ_BYTES];
    let hung_up = |system: String| ClientError::HungUp { port: port.to_owned(), system };
    match line.read(&mut buffer) {
        Ok(0) => Err(hung_up("end of stream".into())),
        Ok(count) => Ok(buffer.iter().take(count).copied().collect()),
        Err(error) => match error.kind() {
            io::ErrorKind::TimedOut | io::ErrorKind::WouldBlock | io::ErrorKind::Interrupted => {
                Ok(Vec::new())
            }
            _ => Err(hung_up(error.to_string())),
        },
    }
}

impl Client {
    /// Takes in what the line has; true when at least one sound frame came.
    pub(super) fn pump(&mut self) -> Result<bool, ClientError> {
        let bytes = read(self.line.as_mut(), &self.port)?;
        self.line_use.bytes += bytes.len() as u64;
        let before = self.counters.frames;
        self.hear(bytes)?;
        Ok(self.counters.frames != before)
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
            self.be_welcomed(welcome, sequence);
            return Ok(());
        }
        if let ToHost::Reply { outcome: Outcome::Refused(Refusal::NoHello), .. } = message {
            return Err(ClientError::Restarted { port: self.port.clone() });
        }
        let arrival = self.check.see(sequence);
        self.counters.count_arrival(arrival);
        if arrival != Arrival::Repeated {
            self.act_on(message);
        }
        Ok(())
    }

    /// A welcome starts the board's sequence anew; a second one answers a hello that was sent twice.
    pub(super) fn be_welcomed(&mut self, welcome: Welcome, sequence: u16) {
        self.check = SequenceCheck::new();
        self.counters.count_arrival(self.check.see(sequence));
        self.waiting_at = Some(welcome.next);
        self.welcome = welcome;
    }

    /// The end of an older grant, told twice, does not end the one that runs.
    fn be_waited_for(&mut self, next: Tick) {
        if self.grant.take_if(|(until, _)| next.has_reached(*until)).is_some() {
            self.waiting_at = Some(next);
        }
    }

    fn act_on(&mut self, message: ToHost) {
        match message {
            ToHost::Welcome(_) => {}
            ToHost::Reply { to, outcome } => self.reply = Some((to, outcome)),
            ToHost::Samples(batch) => {
                self.line_use.ticks += u64::from(batch.ticks());
                match self.reassembly.batch(&batch) {
                    Some(items) => self.items.extend(items),
                    None => self.counters.count_not_understood(),
                }
            }
            ToHost::Gap { first, ticks } => {
                self.line_use.ticks += u64::from(ticks);
                self.items.extend(self.reassembly.gap(first, ticks));
            }
            ToHost::State { tick, state } => self.items.push_back(StreamItem::State { tick, state }),
            ToHost::Waiting { next } => self.be_waited_for(next),
            ToHost::Motion { tick, event } => self.items.push_back(StreamItem::Motion { tick, event }),
            ToHost::Released { tick, reason, position } => {
                self.items.push_back(StreamItem::Released { tick, reason, position });
            }
            ToHost::Calibration(held) => self.held = Some(held),
            ToHost::Status(status) => self.status = Some(status),
            ToHost::Learn { number, tick, event } => {
                self.items.push_back(StreamItem::Learn { number, tick, event });
            }
            ToHost::Stored { number, result } => self.items.push_back(StreamItem::Stored { number, result }),
        }
    }
}
