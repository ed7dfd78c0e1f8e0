//! Frames to bytes and back. In: a message, or any bytes at all. Out: bytes with their delimiters, or a
//! frame's content. Refused and counted by the caller: frames cut short, damaged or too long; the talk
//! resumes at the next delimiter.

use crc::{CRC_16_IBM_3740, Crc};
use heapless::Vec;
use serde::Serialize;
use serde::de::DeserializeOwned;

use super::PROTOCOL_VERSION;
use super::talk::{End, HEAD_BYTES, Head, Talk};

/// One direction's messages.
pub trait Message: Serialize {
    /// Number of kinds; the first byte of a message is its kind, counted from 0.
    const KINDS: u8;
    /// The end that says these.
    const SENDER: End;
}

/// Largest frame before COBS: head, message and CRC. At 254 bytes COBS adds one byte.
pub const MAX_FRAME: usize = 254;
/// Largest frame on the line: COBS adds one byte, a zero stands before and after.
pub const MAX_WIRE: usize = MAX_FRAME + 3;
/// Checksum bytes, least significant first.
const CHECK: usize = 2;
/// Largest message.
pub const MAX_MESSAGE: usize = MAX_FRAME - HEAD_BYTES - CHECK;

/// CRC-16/IBM-3740 (polynomial 0x1021, start 0xFFFF, not reflected): finds every burst up to 16 bits.
static CRC: Crc<u16> = Crc::<u16>::new(&CRC_16_IBM_3740);

/// A message longer than a frame can hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct TooLong;

/// Bytes between two delimiters that are no frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum FrameError {
    /// Ends before its own length says: bytes are missing.
    Cut,
    /// The checksum does not fit: bytes were changed, or this never was a frame.
    Damaged,
    /// Longer than [`MAX_WIRE`]: a delimiter was lost, or this never was a frame.
    Overlong,
}

/// What a sound frame holds.
#[derive(Debug, Clone, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Content {
    /// What stands before the message.
    pub head: Head,
    /// Head, message and checksum, as they came.
    frame: Vec<u8, MAX_FRAME>,
}

/// A sound frame whose message this end does not know.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum MessageError {
    /// Another protocol version: the message was not looked at.
    OtherVersion,
    /// A kind of message that this version does not have.
    UnknownKind,
    /// Fields missing, left over or outside their type's range.
    BadValue,
}

impl Content {
    fn body(&self) -> &[u8] {
        self.frame.get(HEAD_BYTES..self.frame.len().saturating_sub(CHECK)).unwrap_or_default()
    }

    /// The message in the frame.
    ///
    /// # Errors
    /// [`MessageError`] when version, kind or a field is not known here.
    pub fn message<M: Message + DeserializeOwned>(&self) -> Result<M, MessageError> {
        if self.head.version != PROTOCOL_VERSION {
            return Err(MessageError::OtherVersion);
        }
        if self.body().first().is_none_or(|kind| *kind >= M::KINDS) {
            return Err(MessageError::UnknownKind);
        }
        match postcard::take_from_bytes::<M>(self.body()) {
            Ok((message, [])) => Ok(message),
            Ok(_) | Err(_) => Err(MessageError::BadValue),
        }
    }
}

/// Writes one frame with a zero before and after it.
///
/// # Errors
/// [`TooLong`] when the message does not fit [`MAX_MESSAGE`].
#[inline]
pub fn encode<M: Message>(talk: Talk, sequence: u16, message: &M) -> Result<Vec<u8, MAX_WIRE>, TooLong> {
    let mut room = [0; MAX_MESSAGE];
    let head = Head { version: PROTOCOL_VERSION, talk: Some(talk), sender: M::SENDER, sequence };
    frame(head, body(message, &mut room)?)
}

/// Writes a message's bytes, without a frame around them.
///
/// # Errors
/// [`TooLong`] when they do not fit.
#[inline]
pub fn body<'a, M: Message>(message: &M, room: &'a mut [u8; MAX_MESSAGE]) -> Result<&'a [u8], TooLong> {
    postcard::to_slice(message, room).map(|body| &*body).map_err(|_| TooLong)
}

/// Puts head and checksum around any message bytes: a frame that is sound on the line, whatever it says.
///
/// # Errors
/// [`TooLong`] when the bytes do not fit [`MAX_MESSAGE`].
#[inline]
pub fn frame(head: Head, body: &[u8]) -> Result<Vec<u8, MAX_WIRE>, TooLong> {
    let mut content: Vec<u8, MAX_FRAME> = Vec::new();
    content.extend_from_slice(&head.to_bytes()).map_err(|_| TooLong)?;
    content.extend_from_slice(body).map_err(|_| TooLong)?;
    let check = CRC.checksum(&content).to_le_bytes();
    content.extend_from_slice(&check).map_err(|_| TooLong)?;
    // One byte more than a frame can take: the encoder looks one ahead.
    let mut wire = [0; MAX_WIRE + 1];
    let length = cobs::try_encode_including_sentinels(&content, &mut wire).map_err(|_| TooLong)?;
    Vec::from_slice(wire.get(..length).ok_or(TooLong)?).map_err(|_| TooLong)
}

/// Collects bytes from the line and gives back a frame at each delimiter.
#[derive(Debug, Clone, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Decoder {
    raw: Vec<u8, { MAX_FRAME + 1 }>,
    overflowed: bool,
}

impl Decoder {
    /// A decoder that has seen nothing.
    #[must_use]
    pub const fn new() -> Self {
        Self { raw: Vec::new(), overflowed: false }
    }

    /// Takes one byte; a zero ends what came before it. Nothing between two zeros is no frame and no error.
    #[inline]
    pub fn push(&mut self, byte: u8) -> Option<Result<Content, FrameError>> {
        if byte != 0 {
            self.overflowed |= self.raw.push(byte).is_err();
            return None;
        }
        let found = if self.overflowed {
            Some(Err(FrameError::Overlong))
        } else if self.raw.is_empty() {
            None
        } else {
            Some(unframe(&self.raw))
        };
        self.raw.clear();
        self.overflowed = false;
        found
    }

    /// Bytes since the last delimiter.
    #[must_use]
    pub fn pending(&self) -> usize {
        self.raw.len()
    }
}

#[inline]
fn unframe(raw: &[u8]) -> Result<Content, FrameError> {
    let mut frame: Vec<u8, MAX_FRAME> = Vec::new();
    frame.resize_default(MAX_FRAME).map_err(|_| FrameError::Overlong)?;
    let length = cobs::decode(raw, &mut frame).map_err(|_| FrameError::Cut)?.frame_size();
    frame.truncate(length);
    let (checked, check) = frame.split_last_chunk::<CHECK>().ok_or(FrameError::Cut)?;
    let (head, _) = checked.split_first_chunk::<HEAD_BYTES>().ok_or(FrameError::Cut)?;
    let head = Head::of_bytes(*head);
    if CRC.checksum(checked) != u16::from_le_bytes(*check) {
        return Err(FrameError::Damaged);
    }
    Ok(Content { head, frame })
}

#[cfg(test)]
#[allow(clippy::indexing_slicing, clippy::arithmetic_side_effects)]
mod tests;
