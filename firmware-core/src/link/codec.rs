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
mod tests {
    extern crate std;
    use super::*;
    use crate::link::message::{SEGMENTS_PER_MESSAGE, ToBoard, ToHost};
    use crate::link::talk::End;
    use crate::motion::{Goal, Segment};
    use proptest::prelude::*;
    use std::vec::Vec as List;

    fn decode(bytes: &[u8]) -> List<Result<Content, FrameError>> {
        let mut decoder = Decoder::new();
        bytes.iter().filter_map(|byte| decoder.push(*byte)).collect()
    }

    /// A long message with any bytes in it: the lengths of motion segments.
    fn part(bytes: &[u8]) -> ToBoard {
        let segment = |four: &[u8]| Segment {
            goal: Goal::Release,
            ticks: u32::from_le_bytes([four[0], four[1], four[2], four[3]]),
        };
        ToBoard::MotionAppend(bytes.chunks_exact(4).map(segment).collect())
    }

    fn content(version: u8, body: &[u8]) -> Content {
        let head = Head { version, talk: Some(Talk::FIRST), sender: End::Host, sequence: 0 };
        let frame = [&head.to_bytes(), body, &[0; CHECK]].concat();
        Content { head, frame: Vec::from_slice(&frame).unwrap() }
    }

    fn encode<M: Message>(sequence: u16, message: &M) -> Vec<u8, MAX_WIRE> {
        super::encode(Talk::FIRST, sequence, message).unwrap()
    }

    #[test]
    fn noise_before_a_frame_does_not_swallow_it() {
        let mut bytes = List::from([0x55, 0xAA, 0x13]);
        bytes.extend(encode(7, &ToBoard::KeepAlive));
        let frames = decode(&bytes);
        assert_eq!(frames.len(), 2);
        assert!(frames[0].is_err());
        let content = frames[1].clone().unwrap();
        assert_eq!((content.head.sequence, content.message()), (7, Ok(ToBoard::KeepAlive)));
    }

    #[test]
    fn a_frame_cut_short_is_told_from_a_damaged_one() {
        let whole = encode(1, &part(&[9; 40]));
        let mut cut = List::from(&whole[..20]);
        cut.push(0);
        assert_eq!(decode(&cut), [Err(FrameError::Cut)]);
        let mut damaged = List::from(&whole[..]);
        damaged[20] ^= 0x10;
        assert_eq!(decode(&damaged), [Err(FrameError::Damaged)]);
    }

    #[test]
    fn a_stream_without_delimiters_is_one_overlong_frame() {
        let mut bytes = List::from([0x41; 5000]);
        bytes.push(0);
        assert_eq!(decode(&bytes), [Err(FrameError::Overlong)]);
    }

    #[test]
    fn an_unknown_kind_is_told_from_a_bad_value_and_another_version() {
        let read = |version, body| content(version, body).message::<ToBoard>();
        assert_eq!(read(PROTOCOL_VERSION, &[ToBoard::KINDS]), Err(MessageError::UnknownKind));
        assert_eq!(read(PROTOCOL_VERSION, &[]), Err(MessageError::UnknownKind));
        assert_eq!(read(PROTOCOL_VERSION, &[2]), Err(MessageError::BadValue), "a grant without its tick");
        assert_eq!(read(PROTOCOL_VERSION, &[1, 0]), Err(MessageError::BadValue), "a byte too many");
        assert_eq!(read(PROTOCOL_VERSION + 1, &[1]), Err(MessageError::OtherVersion));
    }

    #[test]
    fn the_number_of_kinds_matches_the_messages() {
        fn known<M: Message + DeserializeOwned>(kind: u8) -> bool {
            let mut body = [0; MAX_MESSAGE];
            body[0] = kind;
            postcard::take_from_bytes::<M>(&body).is_ok()
        }
        assert!(known::<ToBoard>(ToBoard::KINDS - 1) && !known::<ToBoard>(ToBoard::KINDS));
        assert!(known::<ToHost>(ToHost::KINDS - 1) && !known::<ToHost>(ToHost::KINDS));
    }

    proptest! {
        #[test]
        fn a_message_survives_the_line(sequence in any::<u16>(), bytes in prop::collection::vec(any::<u8>(), 0..=4 * SEGMENTS_PER_MESSAGE)) {
            let message = part(&bytes);
            let wire = encode(sequence, &message);
            prop_assert_eq!((wire.first(), wire.last()), (Some(&0), Some(&0)));
            prop_assert!(!wire[1..wire.len() - 1].contains(&0));
            let frames = decode(&wire);
            prop_assert_eq!(frames.len(), 1);
            let content = frames[0].clone().unwrap();
            prop_assert_eq!(content.head.sequence, sequence);
            prop_assert_eq!(content.message::<ToBoard>(), Ok(message));
        }

        #[test]
        fn any_bytes_decode_without_panic(bytes in prop::collection::vec(any::<u8>(), 0..1200)) {
            for content in decode(&bytes).into_iter().flatten() {
                let _ = content.message::<ToBoard>();
                let _ = content.message::<ToHost>();
            }
        }

        #[test]
        fn any_message_bytes_are_read_without_panic(body in prop::collection::vec(any::<u8>(), 0..=MAX_MESSAGE)) {
            let content = content(PROTOCOL_VERSION, &body);
            let _ = content.message::<ToBoard>();
            if let Ok(ToHost::Samples(batch)) = content.message::<ToHost>() {
                let _ = batch.points();
            }
        }

        #[test]
        fn no_burst_of_up_to_16_bits_passes(
            bytes in prop::collection::vec(any::<u8>(), 0..=4 * SEGMENTS_PER_MESSAGE), at in any::<prop::sample::Index>(), burst in 1u16..,
        ) {
            // Before COBS, where CRC-16's promise holds; after it a burst may also move a delimiter.
            let wire = encode(0, &part(&bytes));
            let mut frame = [0; MAX_FRAME];
            let length = cobs::decode(&wire[1..wire.len() - 1], &mut frame).unwrap().frame_size();
            let start = at.index(length - 1);
            frame[start] ^= burst.to_be_bytes()[0];
            frame[start + 1] ^= burst.to_be_bytes()[1];
            let mut changed = [0; MAX_WIRE + 1];
            let length = cobs::try_encode_including_sentinels(&frame[..length], &mut changed).unwrap();
            prop_assert_eq!(decode(&changed[..length]), [Err(FrameError::Damaged)]);
        }

        #[test]
        fn the_talk_resumes_after_any_noise(noise in prop::collection::vec(any::<u8>(), 0..600)) {
            let mut bytes = noise;
            bytes.extend(encode(3, &ToBoard::Stop));
            let last = decode(&bytes).pop().unwrap().unwrap();
            prop_assert_eq!(last.message::<ToBoard>(), Ok(ToBoard::Stop));
        }
    }
}
