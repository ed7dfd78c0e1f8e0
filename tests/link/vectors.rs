//! Frames and batches against ones made without this project's code: CRC and COBS by two Python packages,
//! packing by a few lines of Python written from the wire page. See tests/reference/link/link_vectors.py.
#![allow(clippy::unwrap_used)] // a helper that cannot go on fails its test

use firmware_core::faults::LimitSet;
use firmware_core::link::batch::{Around, Packing};
use firmware_core::link::codec::frame;
use firmware_core::link::{Decoder, End, Head, Point, StreamState, Talk, ToHost, encode};
use firmware_core::units::{Tick, Volt};
use vanebench_checks::reference_dir;

fn rows(file: &str) -> Vec<csv::StringRecord> {
    let mut reader = csv::Reader::from_path(reference_dir().join("link").join(file)).unwrap();
    let rows: Vec<_> = reader.records().map(Result::unwrap).collect();
    assert!(!rows.is_empty());
    rows
}

fn hex(text: &str) -> Vec<u8> {
    text.as_bytes()
        .chunks(2)
        .map(|pair| u8::from_str_radix(std::str::from_utf8(pair).unwrap(), 16).unwrap())
        .collect()
}

#[test]
fn frames_of_other_packages_are_written_and_read_alike() {
    for row in rows("frames.csv") {
        let (version, talk): (u8, u16) = (row[0].parse().unwrap(), row[1].parse().unwrap());
        let sender = if &row[2] == "board" { End::Board } else { End::Host };
        let sequence = row[3].parse().unwrap();
        let head = Head { version, talk: Talk::try_new(talk), sender, sequence };
        let (message, wire) = (hex(&row[4]), hex(&row[5]));
        assert_eq!(frame(head, &message).unwrap().as_slice(), wire);
        let mut decoder = Decoder::new();
        let content = wire.iter().find_map(|byte| decoder.push(*byte)).unwrap().unwrap();
        assert_eq!(content.head, head);
    }
}

#[test]
fn batches_of_another_packer_are_packed_and_read_alike() {
    let around = Around {
        state: StreamState::default(),
        limits: LimitSet::NONE,
        supply: Volt(12.0),
        temperature: None,
    };
    for row in rows("batches.csv") {
        let points: Vec<Point> = row[0].split(' ').map(point).collect();
        let mut packing = Packing::of(Tick(0), &around, &points);
        let (Some(batch), None) = (packing.next(), packing.next()) else {
            panic!("one batch for {}", &row[0])
        };
        assert_eq!(batch.points().unwrap().as_slice(), points);
        let wire = encode(Talk::FIRST, 0, &ToHost::Samples(batch)).unwrap();
        let content = cobs::decode_vec(&wire[1..wire.len() - 1]).unwrap();
        let message = &content[..content.len() - 2];
        assert!(message.ends_with(&hex(&row[1])), "{}", &row[0]);
    }
}

fn point(text: &str) -> Point {
    let numbers: Vec<i16> = text.split(':').map(|number| number.parse().unwrap()).collect();
    let [position, duty, current, target] = numbers[..] else { panic!("four channels: {text}") };
    Point { position, duty, current, target }
}
