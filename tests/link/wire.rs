//! The wire page against the code, and the code against the outside: CRC catalogue, COBS paper, and a
//! decoder written from the page alone.
#![allow(clippy::unwrap_used)] // a helper that cannot go on fails its test

use firmware_core::faults::{Fault, FaultSet, Limit, LimitSet};
use firmware_core::learn::Check;
use firmware_core::link::batch::{Around, Packing};
use firmware_core::link::codec::frame;
use firmware_core::link::message::{Message, ToBoard, ToHost};
use firmware_core::link::{Decoder, End, Head, MessageError, Point, StreamState, Talk, encode};
use firmware_core::motion::{Goal, Segment};
use firmware_core::settings::{Settings, SettingsSection};
use firmware_core::units::{Ampere, Celsius, Duty, Tick, Volt};
use proptest::prelude::*;
use std::path::{Path, PathBuf};

use crate::messages::{TALK, batch, to_board, to_host};

/// CRC-16/IBM-3740 bit by bit, from its definition: polynomial 0x1021, start 0xFFFF, not reflected, no
/// final exclusive-or.
fn crc(bytes: &[u8]) -> u16 {
    bytes.iter().fold(0xFFFF, |crc, byte| {
        (0..8).fold(
            crc ^ u16::from(*byte) << 8,
            |crc, _| {
                if crc & 0x8000 == 0 { crc << 1 } else { crc << 1 ^ 0x1021 }
            },
        )
    })
}

/// COBS decoding from the paper's description: a count, count − 1 bytes, then a zero unless the count was
/// 255 or the frame ends.
fn cobs_decode(mut encoded: &[u8]) -> Vec<u8> {
    let mut decoded = Vec::new();
    while let Some((count, rest)) = encoded.split_first() {
        let (block, rest) = rest.split_at(usize::from(*count) - 1);
        decoded.extend(block);
        if *count != 0xFF && !rest.is_empty() {
            decoded.push(0);
        }
        encoded = rest;
    }
    decoded
}

/// A frame taken apart.
#[derive(Debug, PartialEq)]
struct Read {
    version: u8,
    talk: u16,
    is_boards: bool,
    sequence: u16,
    message: Vec<u8>,
}

/// Takes a frame with its zeros apart, checked as the page says.
fn read_frame(wire: &[u8]) -> Read {
    let [0, encoded @ .., 0] = wire else { panic!("a zero before and after: {wire:02X?}") };
    let frame = cobs_decode(encoded);
    let (content, check) = frame.split_at(frame.len() - 2);
    assert_eq!(u16::from_le_bytes([check[0], check[1]]), crc(content));
    let marked = u16::from_le_bytes([content[1], content[2]]);
    Read {
        version: content[0],
        talk: marked & 0x7FFF,
        is_boards: marked & 0x8000 != 0,
        sequence: u16::from_le_bytes([content[3], content[4]]),
        message: content[5..].to_vec(),
    }
}

fn hex(text: &str) -> Vec<u8> {
    text.split_whitespace().map(|byte| u8::from_str_radix(byte, 16).unwrap()).collect()
}

/// Source: the CRC RevEng catalogue of parametrised CRC algorithms, CRC-16/IBM-3740, check 0x29B1; the
/// same number from two Python packages (crcmod, crccheck).
#[test]
fn the_checksum_is_the_catalogues_crc_16_ibm_3740() {
    assert_eq!(crc(b"123456789"), 0x29B1);
    let frame = encode(TALK, 0x3231, &ToBoard::Stop).unwrap();
    let read = Read { version: 7, talk: TALK.number(), is_boards: false, sequence: 0x3231, message: vec![4] };
    assert_eq!(read_frame(&frame), read);
}

/// Source: Cheshire & Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Transactions on Networking 7(2),
/// 1999: examples and the overhead of one byte in 254.
#[test]
fn stuffing_is_that_of_the_cobs_paper() {
    let run = |from: u8, to: u8| (from..=to).collect::<Vec<u8>>();
    let vectors = [
        (hex("00"), hex("01 01")),
        (hex("00 00"), hex("01 01 01")),
        (hex("11 22 00 33"), hex("03 11 22 02 33")),
        (hex("11 00 00 00"), hex("02 11 01 01 01")),
        (hex("45 00 00 2C 4C 79 00 00 40 06 4F 37"), hex("02 45 01 04 2C 4C 79 01 05 40 06 4F 37")),
        (run(1, 0xFE), [vec![0xFF], run(1, 0xFE)].concat()),
    ];
    for (plain, stuffed) in vectors {
        assert_eq!(cobs::encode_vec(&plain), stuffed);
        assert_eq!(cobs_decode(&stuffed), plain);
    }
}

proptest! {
    #[test]
    fn any_frame_is_read_by_the_paper_decoder(sequence in any::<u16>(), until in any::<u32>()) {
        let wire = encode(TALK, sequence, &ToBoard::Grant { until: Tick(until) }).unwrap();
        let Read { version, talk, is_boards, sequence: read, message } = read_frame(&wire);
        prop_assert_eq!((version, talk, is_boards, read, message[0]), (7, TALK.number(), false, sequence, 2));
        let back = message[1..].iter().rev().fold(0u64, |number, byte| number << 7 | u64::from(byte & 0x7F));
        prop_assert_eq!(back, u64::from(until));
    }
}

/// Worst case of the stream: every channel jumps over its whole range in every tick.
#[test]
fn full_range_noise_at_1_khz_still_fits_the_line() {
    let state = StreamState { faults: FaultSet(u32::MAX), ..StreamState::default() };
    let around =
        Around { state, limits: LimitSet(u16::MAX), supply: Volt(60.0), temperature: Some(Celsius(-3000.0)) };
    let points = [i16::MIN, 0].repeat(16).into_iter().map(|far| Point {
        position: far,
        duty: far,
        current: far,
        target: far,
    });
    let batches = Packing::of(Tick(u32::MAX / 2), &around, &points.collect::<Vec<_>>());
    let frames = batches.map(|batch| encode(Talk::LAST, u16::MAX, &ToHost::Samples(batch)).unwrap());
    let bytes: usize = frames.map(|frame| frame.len()).sum();
    let used = bytes as f64 * 10.0 / 115_200.0 / 0.032;
    println!("line use of full-range noise: {bytes} bytes in 32 ms, {:.1} %", used * 100.0);
    assert!(used > 0.5 && used < 0.92, "{used}");
}

fn page_path() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("firmware-core/WIRE.md")
}

fn page() -> String {
    std::fs::read_to_string(page_path()).unwrap()
}

/// The examples of the page: every fenced block marked `frame`, by the title in its first line.
fn examples(page: &str) -> Vec<(String, Vec<u8>)> {
    let blocks = page.split("```frame\n").skip(1).map(|rest| rest.split("```").next().unwrap());
    blocks
        .map(|block| {
            let (title, bytes) = block.split_once('\n').unwrap();
            (title.to_owned(), hex(bytes))
        })
        .collect()
}

fn expected() -> Vec<(String, Vec<u8>)> {
    fn framed<M: Message + std::fmt::Debug>(to: &str, messages: &[M]) -> Vec<(String, Vec<u8>)> {
        (0u16..)
            .zip(messages)
            .map(|(sequence, message)| {
                let text = format!("{message:?}");
                let name = text.split(|c: char| !c.is_alphanumeric()).next().unwrap().to_owned();
                (
                    format!("{to} {name}, sequence {sequence}"),
                    encode(TALK, sequence, message).unwrap().to_vec(),
                )
            })
            .collect()
    }
    [framed("to board:", &to_board()), framed("to host:", &to_host())].concat()
}

const BITS_START: &str = "<!-- bits: from the source, checked by tests/link/wire.rs -->\n";
const TABLES_START: &str = "<!-- tables: from the source, checked by tests/link/wire.rs -->\n";
const SETTINGS_START: &str = "<!-- settings: from the source, checked by tests/link/wire.rs -->\n";
const EXAMPLES_START: &str = "<!-- examples: checked by tests/link/wire.rs -->\n";
/// What to do when code and page differ.
const UPDATE: &str = "the code has changed: cargo test -p vanebench-checks --test link -- --ignored";
const END: &str = "<!-- end -->";

fn between<'a>(page: &'a str, start: &str) -> &'a str {
    page.split_once(start).unwrap().1.split_once(END).unwrap().0
}

fn replaced(page: &str, start: &str, text: &str) -> String {
    page.replacen(&format!("{start}{}{END}", between(page, start)), &format!("{start}{text}{END}"), 1)
}

fn bits_text() -> String {
    let table = |title: &str, names: Vec<String>| {
        let rows: String =
            names.iter().enumerate().map(|(bit, name)| format!("| {bit} | {name} |\n")).collect();
        format!("\n| bit | {title} |\n|---|---|\n{rows}")
    };
    let faults = Fault::ALL.iter().map(ToString::to_string).collect();
    let limits = Limit::ALL.iter().map(ToString::to_string).collect();
    let checks = Check::ALL.iter().map(|check| format!("{check:?}: {}", check.text())).collect();
    let tables = [
        table("fault", faults),
        table("limit that acted", limits),
        table("check that a person made", checks),
    ];
    tables.concat() + "\n"
}

fn examples_text() -> String {
    let mut text = String::new();
    for (title, bytes) in expected() {
        text.push_str(&format!("```frame\n{title}\n{}\n```\n", hex_lines(&bytes)));
    }
    text
}

/// All sections of the built-in settings as they are sent, and what they are known by.
fn settings_text() -> String {
    let settings = Settings::default();
    let sections = settings.sections().map(|section| {
        let name = format!("{section:?}").split('(').next().unwrap().to_owned();
        format!("{name}\n{}\n", hex_lines(&section_bytes(&section)))
    });
    let sections: String = sections.collect();
    format!("\n```text\n{sections}```\n\nTheir hash is 0x{:08X}.\n", settings.hash().0)
}

fn section_bytes(section: &SettingsSection) -> Vec<u8> {
    let frame = encode(TALK, 0, &ToBoard::Settings(*section)).unwrap();
    let message = read_frame(&frame).message;
    message[1..].to_vec()
}

fn hex_lines(bytes: &[u8]) -> String {
    let hex: Vec<String> = bytes.iter().map(|byte| format!("{byte:02X}")).collect();
    let lines: Vec<String> = hex.chunks(24).map(|line| line.join(" ")).collect();
    lines.join("\n")
}

fn tables_text() -> String {
    let core = Path::new(env!("CARGO_MANIFEST_DIR")).join("firmware-core/src");
    format!("\n{}", crate::types::tables(&core))
}

/// Brings bits, tables and examples up to date: see [`UPDATE`].
#[test]
#[ignore = "writes the page instead of checking it"]
fn write_tables_and_examples() {
    let page = replaced(&page(), BITS_START, &bits_text());
    let page = replaced(&page, TABLES_START, &tables_text());
    let page = replaced(&page, SETTINGS_START, &settings_text());
    std::fs::write(page_path(), replaced(&page, EXAMPLES_START, &examples_text())).unwrap();
}

#[test]
fn the_pages_example_of_every_message_is_what_the_code_sends() {
    assert_eq!(to_board().len(), usize::from(ToBoard::KINDS));
    assert_eq!(to_host().len(), usize::from(ToHost::KINDS));
    let on_page = examples(&page());
    for (title, bytes) in expected() {
        assert_eq!(
            on_page.iter().find(|(known, _)| *known == title).map(|(_, bytes)| bytes),
            Some(&bytes),
            "{title}"
        );
    }
    assert_eq!(on_page.len(), expected().len());
    // The frame that the page takes apart byte by byte.
    let grant = encode(TALK, 2, &ToBoard::Grant { until: Tick(256) }).unwrap();
    assert_eq!(grant.as_slice(), hex("00 05 07 34 12 02 06 02 80 02 90 EE 00"));
    assert_eq!(crc(&hex("07 34 12 02 00 02 80 02")), 0xEE90);
    assert!(page().contains("`00 05 07 34 12 02 06 02 80 02 90 EE 00`"));
}

#[test]
fn the_pages_tables_are_the_types_of_the_code() {
    assert!(between(&page(), TABLES_START) == tables_text(), "{UPDATE}");
}

#[test]
fn the_pages_settings_are_the_built_in_ones() {
    assert!(between(&page(), SETTINGS_START) == settings_text(), "{UPDATE}");
}

/// CRC-32/ISO-HDLC bit by bit, from its definition: polynomial 0x04C11DB7 reflected, start and final
/// exclusive-or 0xFFFFFFFF.
fn crc32(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(u32::MAX, |crc, byte| {
        (0..8).fold(
            crc ^ u32::from(*byte),
            |crc, _| {
                if crc & 1 == 0 { crc >> 1 } else { crc >> 1 ^ 0xEDB8_8320 }
            },
        )
    })
}

/// Source: the CRC RevEng catalogue, CRC-32/ISO-HDLC, check 0xCBF43926.
#[test]
fn the_settings_hash_is_the_catalogues_crc_32_iso_hdlc_over_the_pages_sections() {
    assert_eq!(crc32(b"123456789"), 0xCBF4_3926);
    let page = page();
    let block = between(&page, SETTINGS_START);
    let sections = block.split("```").nth(1).unwrap().lines().skip(1);
    let bytes: Vec<u8> =
        sections.filter(|line| line.split(' ').all(|pair| pair.len() == 2)).flat_map(hex).collect();
    assert_eq!(bytes.len(), Settings::default().sections().map(|s| section_bytes(&s).len()).sum::<usize>());
    assert_eq!(crc32(&bytes), Settings::default().hash().0);
    assert!(block.contains(&format!("Their hash is 0x{:08X}.", crc32(&bytes))));
}

/// Source: postcard's wire format page, "varint encoded integers": the longest encodings of its types, and
/// padding within them.
#[test]
fn numbers_padded_within_their_types_limit_are_read_and_longer_ones_are_not() {
    let read = |body: &[u8]| {
        let head = Head { version: 7, talk: Some(TALK), sender: End::Host, sequence: 0 };
        let wire = frame(head, body).unwrap();
        let mut decoder = Decoder::new();
        wire.iter().find_map(|byte| decoder.push(*byte)).unwrap().unwrap().message::<ToBoard>()
    };
    let grant = |until| Ok(ToBoard::Grant { until: Tick(until) });
    assert_eq!(read(&hex("02 80 02")), grant(256));
    assert_eq!(read(&hex("02 80 82 80 80 00")), grant(256));
    assert_eq!(read(&hex("02 FF FF FF FF 0F")), grant(u32::MAX));
    assert_eq!(read(&hex("02 FF FF FF FF 1F")), Err(MessageError::BadValue));
    assert_eq!(read(&hex("02 80 82 80 80 80 00")), Err(MessageError::BadValue));
}

#[test]
fn the_page_names_every_bit_of_the_sets() {
    assert!(between(&page(), BITS_START) == bits_text(), "{UPDATE}");
}

/// The sample batch of the page, read by the rules that the page states.
#[test]
fn the_pages_batch_unpacks_by_hand() {
    let message = read_frame(&encode(TALK, 2, &batch()).unwrap()).message;
    let packed = message.split_at(message.len() - 14).1;
    assert_eq!(
        packed,
        hex("40 1F 03 1E E8 03 00 FA 00 00 E8 03 00 ").into_iter().fold(vec![13], |mut all, byte| {
            all.push(byte);
            all
        })
    );
    // Position: first 0x1F40 = 8000, 3 bits each, 0x1E = 0b011_110: codes 6 and 3, differences +3 and −2.
    let code = |index: u32| u32::from(packed[4]) >> (3 * index) & 7;
    let difference = |code: u32| (code >> 1) as i32 ^ -((code & 1) as i32);
    assert_eq!([difference(code(0)), difference(code(1))], [3, -2]);
}

/// Duty of the frame that a stranger would send to open the vanes at 10 %: −1 … 1 as four bytes.
#[test]
fn a_duty_segment_is_four_bytes_of_ieee_754() {
    let segment = Segment { goal: Goal::Duty(Duty::try_new(0.1).unwrap()), ticks: 1 };
    let message = ToBoard::MotionAppend([segment].into_iter().collect());
    let body = read_frame(&encode(TALK, 0, &message).unwrap()).message;
    // 0.1 is 0x3DCCCCCD (IEEE 754), least significant byte first.
    assert_eq!(body, hex("0C 01 02 CD CC CC 3D 01"));
    let current = Segment { goal: Goal::Current(Ampere(1.0)), ticks: 300 };
    let message = ToBoard::MotionAppend([current].into_iter().collect());
    let body = read_frame(&encode(TALK, 0, &message).unwrap()).message;
    assert_eq!(body, hex("0C 01 03 00 00 80 3F AC 02"));
}
