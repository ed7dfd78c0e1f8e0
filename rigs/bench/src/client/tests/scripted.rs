//! A board made by hand, behind a line that may garble what it says.

use std::collections::VecDeque;
use std::io::{self, Read, Write};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::{Duration, Instant};

use firmware_core::link::batch::{Around, Packing};
use firmware_core::link::codec::encode;
use firmware_core::link::message::ToHost;
use firmware_core::link::state::{Capabilities, StartReason};
use firmware_core::link::{Batch, Identity, Point, Refusal, SelfTest, StreamState};
use firmware_core::units::Volt;

use super::*;

/// What the board says to one message, before the line gets at it.
pub(super) type Said = Vec<Vec<u8>>;
/// What the line makes of it.
pub(super) type Trouble = Box<dyn FnMut(&ToBoard, Said) -> Said + Send>;

/// A board that does what it is told, behind a line that may not.
pub(super) struct Scripted {
    pub(super) decoder: Decoder,
    pub(super) welcome: Welcome,
    pub(super) sequence: u16,
    pub(super) trouble: Trouble,
    pub(super) delay: Duration,
    pub(super) out: VecDeque<(Instant, u8)>,
    pub(super) heard: Arc<Mutex<Vec<ToBoard>>>,
    pub(super) takes_bytes: Arc<Mutex<bool>>,
    /// Starts that it refuses because it saves.
    pub(super) saves: u32,
}

impl Scripted {
    pub(super) fn new(pacing: Pacing, trouble: impl FnMut(&ToBoard, Said) -> Said + Send + 'static) -> Self {
        Self {
            decoder: Decoder::new(),
            welcome: welcome(pacing),
            sequence: 0,
            trouble: Box::new(trouble),
            delay: Duration::ZERO,
            out: VecDeque::new(),
            heard: Arc::default(),
            takes_bytes: Arc::new(Mutex::new(true)),
            saves: 0,
        }
    }

    pub(super) fn sound(pacing: Pacing) -> Self {
        Self::new(pacing, |_, said| said)
    }

    pub(super) fn say(&mut self, message: &ToHost) -> Vec<u8> {
        let frame = encode(Talk::FIRST, self.sequence, message).unwrap().to_vec();
        self.sequence = self.sequence.wrapping_add(1);
        frame
    }

    pub(super) fn answer(&mut self, sequence: u16, message: &ToBoard) -> Said {
        let mut said = Vec::new();
        match message {
            ToBoard::Hello => {
                self.sequence = 0;
                said.push(self.say(&ToHost::Welcome(self.welcome.clone())));
            }
            ToBoard::Grant { until } => said.push(self.say(&ToHost::Waiting { next: *until })),
            _ => {}
        }
        let is_refused = matches!(message, ToBoard::StartMotion { .. }) && self.saves > 0;
        self.saves -= u32::from(is_refused);
        let outcome = if is_refused { Outcome::Refused(Refusal::Saving) } else { Outcome::Done };
        said.push(self.say(&ToHost::Reply { to: sequence, outcome }));
        said
    }
}

impl Write for Scripted {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        if !*self.takes_bytes.lock().unwrap() {
            return Err(io::ErrorKind::TimedOut.into());
        }
        for byte in bytes {
            let Some(Ok(content)) = self.decoder.push(*byte) else { continue };
            let message: ToBoard = content.message().unwrap();
            self.heard.lock().unwrap().push(message.clone());
            let said = self.answer(content.head.sequence, &message);
            let due = Instant::now() + self.delay;
            self.out.extend((self.trouble)(&message, said).concat().into_iter().map(|byte| (due, byte)));
        }
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl Read for Scripted {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let due = self.out.iter().take_while(|(due, _)| *due <= Instant::now()).count();
        let count = due.min(into.len());
        if count == 0 {
            thread::sleep(Duration::from_millis(1));
            return Err(io::ErrorKind::TimedOut.into());
        }
        for (to, (_, byte)) in into.iter_mut().zip(self.out.drain(..count)) {
            *to = byte;
        }
        Ok(count)
    }
}

pub(super) fn welcome(pacing: Pacing) -> Welcome {
    Welcome {
        identity: Identity {
            model: "by hand".parse().unwrap(),
            software: "checks".parse().unwrap(),
            build: 0,
            layout: 0,
            board: Default::default(),
            serial: Default::default(),
            pacing,
            started: StartReason::PowerOn,
        },
        capabilities: Capabilities { ticks_per_second: 1000, lease_ticks: 500, motion_segments: 48 },
        self_test: SelfTest::NOT_FITTED,
        settings: None,
        next: Tick(0),
        calibration: None,
    }
}

pub(super) fn connect(line: Scripted) -> Result<Client, ClientError> {
    talk::connect(Box::new(line), "by hand", Talk::FIRST, || false)
}

pub(super) fn frames(messages: &[ToHost], from: u16) -> Vec<u8> {
    let numbered = (from..).zip(messages);
    numbered.flat_map(|(number, message)| encode(Talk::FIRST, number, message).unwrap().to_vec()).collect()
}

pub(super) fn batch(first: u32) -> Batch {
    let around = Around {
        state: StreamState::default(),
        limits: Default::default(),
        supply: Volt(12.0),
        temperature: None,
    };
    Packing::of(Tick(first), &around, &[Point::default(); 32]).next().unwrap()
}
