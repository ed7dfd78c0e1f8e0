//! Frames as the hostile line makes them: all through the core's own codec.

use firmware_core::calibration::{Calibration, Contact, LearnedStop, Setup, Warmth};
use firmware_core::learn::{LearnEvent, LearnOutcome};
use firmware_core::link::codec::{MAX_MESSAGE, body, frame as frame_around};
use firmware_core::link::message::Message;
use firmware_core::link::state::{ReleaseReason, Streaming};
use firmware_core::link::{Content, Decoder, End, Outcome, Refusal, Talk, ToBoard, ToHost, encode};
use firmware_core::units::{Counts, Opening, Tick, Volt};

/// The two ways along the line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    ToRig,
    ToTool,
}

impl Way {
    pub fn back(self) -> Self {
        match self {
            Self::ToRig => Self::ToTool,
            Self::ToTool => Self::ToRig,
        }
    }
}

/// Splits what comes at the delimiters.
#[derive(Debug, Default)]
pub struct Framer {
    raw: Vec<u8>,
}

impl Framer {
    pub fn frames(&mut self, bytes: &[u8]) -> Vec<Vec<u8>> {
        let mut whole = Vec::new();
        for byte in bytes {
            if *byte != 0 {
                self.raw.push(*byte);
            } else if !self.raw.is_empty() {
                whole.push(std::mem::take(&mut self.raw));
            }
        }
        whole
    }
}

/// The bytes of a frame with its delimiters.
pub fn delimited(raw: &[u8]) -> Vec<u8> {
    [&[0], raw, &[0]].concat()
}

/// What a sound frame holds.
pub fn content(raw: &[u8]) -> Option<Content> {
    let mut decoder = Decoder::new();
    raw.iter().chain(&[0]).find_map(|byte| decoder.push(*byte)).and_then(Result::ok)
}

/// The same message in the same talk under another number; a message that this version does not know vanishes.
pub fn renumbered(way: Way, content: &Content, number: u16) -> Vec<u8> {
    content.head.talk.and_then(|talk| said_again(way, content, talk, number)).unwrap_or_default()
}

fn said_again(way: Way, content: &Content, talk: Talk, number: u16) -> Option<Vec<u8>> {
    let frame = match way {
        Way::ToRig => encode(talk, number, &content.message::<ToBoard>().ok()?),
        Way::ToTool => encode(talk, number, &content.message::<ToHost>().ok()?),
    };
    frame.ok().map(|frame| frame.to_vec())
}

/// A reply under another number, to the question that the tool asked before `shift` was added to its number.
pub fn answered(content: &Content, number: u16, shift: u16) -> Option<Vec<u8>> {
    let Ok(ToHost::Reply { to, outcome }) = content.message() else { return None };
    let reply = ToHost::Reply { to: to.wrapping_sub(shift), outcome };
    encode(content.head.talk?, number, &reply).ok().map(|frame| frame.to_vec())
}

/// A flipped bit before COBS and checksum, in a place that the position on the line chooses.
pub fn flipped_with_checksum(frame: &[u8], at: usize, bit: u8) -> Vec<u8> {
    let unchanged = || frame.to_vec();
    let Some(content) = content(&frame[1..frame.len() - 1]) else { return unchanged() };
    let body = match content.head.sender {
        End::Board => content.message::<ToHost>().map(|message| postcard_of(&message)),
        End::Host => content.message::<ToBoard>().map(|message| postcard_of(&message)),
    };
    let Ok(mut body) = body else { return unchanged() };
    let place = at % body.len();
    body[place] ^= bit;
    frame_around(content.head, &body).map_or_else(|_| unchanged(), |frame| frame.to_vec())
}

fn postcard_of(message: &impl Message) -> Vec<u8> {
    let mut room = [0; MAX_MESSAGE];
    body(message, &mut room).unwrap().to_vec()
}

/// A welcome that states another tick rate; nothing for all other frames.
pub fn with_tick_rate(way: Way, content: &Content, ticks_per_second: u16) -> Option<Vec<u8>> {
    let (Way::ToTool, Ok(ToHost::Welcome(mut welcome))) = (way, content.message()) else { return None };
    welcome.capabilities.ticks_per_second = ticks_per_second;
    let frame = encode(content.head.talk?, content.head.sequence, &ToHost::Welcome(welcome)).ok()?;
    Some(frame.to_vec())
}

/// Number of the other program's talk: one that no random number of a run is likely to be.
fn other_talk() -> Talk {
    Talk::try_new(0x5A5A).unwrap()
}

pub fn foreign_stop() -> Vec<u8> {
    encode(other_talk(), 1, &ToBoard::Stop).unwrap().to_vec()
}

pub fn foreign_hello() -> Vec<u8> {
    encode(other_talk(), 0, &ToBoard::Hello).unwrap().to_vec()
}

/// Kinds of foreign frames for each way.
pub const FOREIGN_KINDS: u8 = 6;
/// Those to the tool that say "accepted" and "let go".
pub const END_OF_A_LEARN: [u8; 2] = [5, 1];
/// Event number later than any that a learn of the run has told.
const LATE_EVENT: u16 = 200;

/// A frame that another program, or another board, could send: of its talk, or of `talk` in disguise.
pub fn foreign(way: Way, talk: Option<Talk>, number: u16, draw: u8, newest: &Content) -> Option<Vec<u8>> {
    let talk = talk.unwrap_or_else(other_talk);
    let frame = match way {
        Way::ToRig => encode(talk, number, &question(draw)),
        Way::ToTool => encode(talk, number, &answer(draw, newest)),
    };
    frame.ok().map(|frame| frame.to_vec())
}

fn question(draw: u8) -> ToBoard {
    match draw {
        0 => ToBoard::KeepAlive,
        1 => ToBoard::Grant { until: Tick(1_000_000) },
        2 => ToBoard::MotionClear,
        3 => ToBoard::GetStatus,
        4 => ToBoard::GetLearnOutcome,
        _ => ToBoard::Stream(Streaming::Off),
    }
}

fn answer(draw: u8, newest: &Content) -> ToHost {
    let tick = Tick(7);
    match (draw, newest.message()) {
        (0, _) => ToHost::Reply { to: newest.head.sequence, outcome: Outcome::Refused(Refusal::NotArmed) },
        (1, _) => ToHost::Released { tick, reason: ReleaseReason::LearnEnded, position: Counts(0) },
        (2, _) => ToHost::Released { tick, reason: ReleaseReason::MotionEnded, position: Counts(0) },
        (3, Ok(ToHost::Samples(batch))) => ToHost::Samples(batch),
        (3, _) => ToHost::Gap { first: tick, ticks: 32 },
        (4, _) => ToHost::Waiting { next: Tick(1_000_000) },
        _ => ToHost::Learn {
            number: LATE_EVENT,
            tick,
            event: LearnEvent::Outcome(LearnOutcome::Accepted(other_units())),
        },
    }
}

/// A calibration of some other unit, a tenth of travel away.
fn other_units() -> Calibration {
    let stop = |counts: f32, contact| LearnedStop {
        zero_push_counts: counts,
        pressed_counts: counts,
        released_counts: counts,
        compliance_counts_per_a: 20.0,
        repeat_range_counts: 1.0,
        contact,
    };
    Calibration {
        closed: stop(12_300.0, Contact::MinimumFlow),
        open: stop(3600.0, Contact::RingContact),
        setup: Setup::Attached,
        warmth: Warmth::Cold,
        supply: Volt(12.0),
        temperature: None,
        clearance: Opening::try_new(0.01).unwrap(),
    }
}
