//! Frames, there and back.

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
