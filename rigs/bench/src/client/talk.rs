//! What is sent: the hello, commands with their resends, grants of time and signs of life.

use std::collections::VecDeque;
use std::io::Write;
use std::time::{Duration, Instant};

use firmware_core::link::message::{ToBoard, ToHost};
use firmware_core::link::{
    Belonging, Decoder, End, LinkCounters, Outcome, Pacing, SequenceCheck, Talk, Welcome, encode,
};
use firmware_core::units::Tick;

use super::incoming::{HELLO_SEQUENCE, is_quiet, read};
use super::obeyed::Obeyed;
use super::reassembly::Reassembly;
use super::{Client, ClientError, GIVE_UP, Grant, Line, LineUse};

/// Hellos before giving up; a USB board may start up when its port is opened.
const HELLOS: u32 = 6;
/// Wait after each hello.
const HELLO_WAIT: Duration = Duration::from_millis(300);
/// Wait for each reply, and for the end of a grant, before it is asked for again.
const REPLY_WAIT: Duration = Duration::from_millis(200);
/// Times that a stop is sent on the way out, and the wait for each reply: together well under a second.
const STOP_TRIES: u32 = 3;
const STOP_WAIT: Duration = Duration::from_millis(100);
/// Bytes kept to tell the user what came instead of frames.
const SHOWN_BYTES: usize = 40;

/// What came while there was no welcome.
#[derive(Default)]
struct Overheard {
    bytes: u64,
    first: Vec<u8>,
    /// Sound frames of another talk.
    foreign: u32,
}

impl Overheard {
    fn add(&mut self, bytes: &[u8]) {
        self.bytes += bytes.len() as u64;
        let room = SHOWN_BYTES.saturating_sub(self.first.len());
        self.first.extend(bytes.iter().take(room));
    }

    fn explain(&self, port: &str) -> ClientError {
        let port = port.to_owned();
        let is_text = |byte: &u8| (b' '..=b'~').contains(byte) || b"\r\n\t".contains(byte);
        let texts = self.first.iter().filter(|byte| is_text(byte)).count();
        if self.bytes == 0 {
            ClientError::NoAnswer { port }
        } else if self.foreign > 0 {
            ClientError::NotHeard { port, frames: self.foreign }
        } else if texts * 10 >= self.first.len() * 9 {
            let text = String::from_utf8_lossy(&self.first).escape_debug().to_string();
            ClientError::OtherTalker { port, text }
        } else {
            let first: Vec<String> = self.first.iter().take(8).map(|byte| format!("{byte:02X}")).collect();
            ClientError::Garbled { port, bytes: self.bytes, first: first.join(" ") }
        }
    }
}

/// Says hello until the board answers.
pub(super) fn connect(
    mut line: Box<dyn Line>,
    port: &str,
    talk: Talk,
    is_interrupted: fn() -> bool,
) -> Result<Client, ClientError> {
    let hello = encode(talk, HELLO_SEQUENCE, &ToBoard::Hello)
        .map_err(|_| ClientError::TooLong { port: port.to_owned(), command: "the hello" })?;
    let mut overheard = Overheard::default();
    let mut decoder = Decoder::new();
    let mut counters = LinkCounters::NONE;
    for _ in 0..HELLOS {
        send(line.as_mut(), port, &hello)?;
        let sent_at = Instant::now();
        while sent_at.elapsed() < HELLO_WAIT {
            if is_interrupted() {
                return Err(ClientError::Interrupted);
            }
            let bytes = read(line.as_mut(), port)?;
            overheard.add(&bytes);
            let mut bytes = bytes.into_iter();
            let ears = (&mut decoder, &mut counters, &mut overheard);
            let Some((welcome, sequence)) = find_welcome(&mut bytes, ears, port, talk)? else { continue };
            let (capabilities, pacing) = (&welcome.capabilities, welcome.identity.pacing);
            let obeyed = Obeyed::of(capabilities, pacing, port)?;
            let mut client = new_client(line, port, talk, obeyed, welcome.clone());
            (client.decoder, client.counters) = (decoder, counters);
            client.is_interrupted = is_interrupted;
            client.be_welcomed(welcome, sequence);
            client.hear(bytes)?;
            return Ok(client);
        }
    }
    Err(overheard.explain(port))
}

fn find_welcome(
    bytes: &mut impl Iterator<Item = u8>,
    (decoder, counters, overheard): (&mut Decoder, &mut LinkCounters, &mut Overheard),
    port: &str,
    talk: Talk,
) -> Result<Option<(Welcome, u16)>, ClientError> {
    for byte in bytes {
        match decoder.push(byte) {
            Some(Ok(content)) => match content.head.belonging(End::Host, Some(talk)) {
                Belonging::OfThisTalk => {
                    if let Ok(ToHost::Welcome(welcome)) = content.message() {
                        return Ok(Some((welcome, content.head.sequence)));
                    }
                }
                // Left over from an earlier talk, and so nothing that went wrong in this one.
                Belonging::Foreign => overheard.foreign += 1,
                Belonging::Echo => return Err(ClientError::Echo { port: port.to_owned() }),
                Belonging::OtherVersion => {
                    let (port, board) = (port.to_owned(), content.head.version);
                    return Err(ClientError::OtherVersion { port, board });
                }
            },
            Some(Err(error)) => counters.count_error(error),
            None => {}
        }
    }
    Ok(None)
}

fn new_client(line: Box<dyn Line>, port: &str, talk: Talk, obeyed: Obeyed, welcome: Welcome) -> Client {
    Client {
        line,
        port: port.to_owned(),
        talk,
        waiting_at: Some(welcome.next),
        welcome,
        decoder: Decoder::new(),
        check: SequenceCheck::new(),
        counters: LinkCounters::NONE,
        bytes_heard: 0,
        sequence: HELLO_SEQUENCE,
        reply: None,
        status: None,
        grant: None,
        obeyed,
        unawaited: None,
        sent_at: Instant::now(),
        progress_at: Instant::now(),
        slow_replies: 0,
        is_underway: false,
        took_over: false,
        may_drive: false,
        events_due: 0,
        is_interrupted: || false,
        items: VecDeque::new(),
        reassembly: Reassembly::default(),
        line_use: LineUse::default(),
    }
}

fn send(line: &mut dyn Line, port: &str, bytes: &[u8]) -> Result<(), ClientError> {
    let port = || port.to_owned();
    line.write_all(bytes).map_err(|error| {
        if is_quiet(error.kind()) {
            ClientError::Blocked { port: port() }
        } else {
            ClientError::HungUp { port: port(), system: error.to_string() }
        }
    })
}

impl Client {
    /// Sends a command, again with the same number where no reply comes, and gives the board's answer.
    pub(super) fn command(&mut self, what: &'static str, message: &ToBoard) -> Result<(), ClientError> {
        self.rest()?;
        let frame = self.frame(what, message)?;
        let to = self.sequence;
        let waiting = self.start_waiting();
        let asked_at = Instant::now();
        while asked_at.elapsed() < GIVE_UP {
            self.send_frame(&frame)?;
            let Some(outcome) = self.wait_for_reply(to, REPLY_WAIT)? else {
                self.check_interrupt()?;
                continue;
            };
            self.check_pace(asked_at.elapsed())?;
            return match outcome {
                Outcome::Done => Ok(()),
                Outcome::Refused(refusal) => {
                    Err(ClientError::Refused { port: self.port.clone(), command: what, refusal })
                }
            };
        }
        Err(self.gave_up(&waiting, "an answer"))
    }

    /// Tells the board to let go, whatever else is going on: no rest, no interrupt, three tries.
    pub(super) fn say_stop(&mut self) -> Result<(), ClientError> {
        let frame = self.frame("the stop", &ToBoard::Stop)?;
        let to = self.sequence;
        let waiting = self.start_waiting();
        for _ in 0..STOP_TRIES {
            self.send_frame(&frame)?;
            if self.wait_for_reply(to, STOP_WAIT)?.is_some() {
                self.may_drive = false;
                return Ok(());
            }
        }
        Err(self.gave_up(&waiting, "an answer to the stop"))
    }

    fn frame(&mut self, what: &'static str, message: &ToBoard) -> Result<Vec<u8>, ClientError> {
        self.sequence = self.sequence.wrapping_add(1);
        let frame = encode(self.talk, self.sequence, message)
            .map_err(|_| ClientError::TooLong { port: self.port.clone(), command: what })?;
        Ok(frame.to_vec())
    }

    fn send_frame(&mut self, frame: &[u8]) -> Result<(), ClientError> {
        self.sent_at = Instant::now();
        send(self.line.as_mut(), &self.port, frame)
    }

    fn wait_for_reply(&mut self, to: u16, patience: Duration) -> Result<Option<Outcome>, ClientError> {
        let sent_at = self.sent_at;
        loop {
            if self.reply.as_ref().is_some_and(|(answered, _)| *answered == to) {
                return Ok(self.reply.take().map(|(_, outcome)| outcome));
            }
            if sent_at.elapsed() > patience {
                return Ok(None);
            }
            self.pump()?;
        }
    }

    /// Waits until a stepped rig has used up its grant; a paced rig never rests.
    pub(super) fn rest(&mut self) -> Result<Tick, ClientError> {
        if self.welcome.identity.pacing == Pacing::Paced {
            return Ok(self.welcome.next);
        }
        let waiting = self.start_waiting();
        loop {
            self.check_interrupt()?;
            if let Some(next) = self.waiting_at {
                return Ok(next);
            }
            self.check_patience(&waiting, "the end of the ticks granted")?;
            self.grant_again_if_late()?;
            self.pump()?;
        }
    }

    /// Grants the next ticks to a waiting rig; shows a paced one that the host is there.
    pub(super) fn let_time_pass(&mut self) -> Result<(), ClientError> {
        match (self.welcome.identity.pacing, self.waiting_at) {
            (Pacing::Stepped, Some(next)) => {
                let until = next.after(self.obeyed.grant_ticks());
                let frame = self.frame("a grant", &ToBoard::Grant { until })?;
                self.unawaited = Some(self.sequence);
                self.waiting_at = None;
                self.send_frame(&frame)?;
                self.grant = Some(Grant { until, frame });
                Ok(())
            }
            (Pacing::Stepped, None) => self.grant_again_if_late(),
            (Pacing::Paced, _) if self.sent_at.elapsed() >= self.obeyed.keep_alive_every() => {
                let sign = self.frame("a sign of life", &ToBoard::KeepAlive)?;
                self.unawaited = Some(self.sequence);
                self.send_frame(&sign)
            }
            (Pacing::Paced, _) => Ok(()),
        }
    }

    /// A grant whose end is not told was lost, or its end was: the board answers a repeated one.
    fn grant_again_if_late(&mut self) -> Result<(), ClientError> {
        if self.sent_at.elapsed() < REPLY_WAIT {
            return Ok(());
        }
        let Some(frame) = self.grant.as_ref().map(|grant| grant.frame.clone()) else { return Ok(()) };
        self.send_frame(&frame)
    }

    /// The last word of a talk: a stop, answered where something may still be driving; the line may be gone.
    pub(super) fn farewell(&mut self) {
        if self.may_drive {
            let _answered = self.say_stop();
        } else if let Ok(stop) = self.frame("the stop", &ToBoard::Stop) {
            let _sent = self.line.write_all(&stop).and_then(|()| self.line.flush());
        }
    }
}
