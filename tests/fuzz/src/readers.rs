//! What a fuzzer, and the quick test over its corpus, does with bytes: each reader takes them and must neither panic
//! nor break what it promises.

use std::fs;
use std::path::Path;

use firmware_core::link::codec::frame;
use firmware_core::link::state::StartReason;
use firmware_core::link::{
    Decoder, End, Head, Identity, PROTOCOL_VERSION, Pacing, SelfTest, Talk, ToBoard, encode,
};
use firmware_core::sample::{BridgeLine, Conversions, Sample};
use firmware_core::session::Session;
use firmware_core::store::StoreResult;
use firmware_core::units::{Ampere, Counts, Kilopascal, Tick, Volt};
use plant::toml_file::TomlFile;
use vanebench::limits::Limits;
use vanebench::profile::Profile;
use vanebench::record::Run;

/// Bytes of the line into the decoder: a message that is read is written again, and read, as the same message.
pub fn decoder(bytes: &[u8]) {
    let mut decoder = Decoder::new();
    let sound = bytes.iter().filter_map(|&byte| decoder.push(byte)).filter_map(Result::ok);
    for message in sound.filter_map(|content| content.message::<ToBoard>().ok()) {
        let again = encode(Talk::FIRST, 0, &message).expect("what came in a frame fits one");
        let mut second = Decoder::new();
        let read = again.iter().find_map(|&byte| second.push(byte)).expect("a frame ends");
        assert_eq!(
            format!("{:?}", read.map(|content| content.message::<ToBoard>())),
            format!("{:?}", Ok::<_, ()>(Ok::<_, ()>(message)))
        );
    }
}

/// A board's session under bytes from the line: pieces behind a length, a piece of fewer than 128 bytes in a sound
/// frame of its own, of more as raw line noise; a tick after each. It never panics, and duty keeps to its range.
pub fn session(bytes: &[u8]) {
    let mut session = Session::new(identity(), SelfTest::NOT_FITTED);
    session.receive(&encode(Talk::FIRST, 0, &ToBoard::Hello).expect("a hello fits"));
    let (mut left, mut tick, mut sequence) = (bytes, Tick(0), 0);
    while let Some((&length, rest)) = left.split_first() {
        let (piece, after) = rest.split_at(usize::from(length % RAW).min(rest.len()));
        left = after;
        sequence += 1;
        if length >= RAW {
            session.receive(piece);
        } else if let Ok(wire) = frame(head(sequence), piece) {
            session.receive(&wire);
        }
        run(&mut session, &mut tick);
    }
}

/// Lengths from here on mean bytes without a frame.
const RAW: u8 = 128;
/// Most ticks that a session runs for one piece, however many it was granted.
const TICKS_PER_PIECE: u32 = 64;

fn run(session: &mut Session, tick: &mut Tick) {
    let mut room = [0; 64];
    for _ in 0..TICKS_PER_PIECE {
        if !session.may_advance(*tick) {
            break;
        }
        let duty = session.tick(&sample(*tick)).duty;
        assert!(duty.get().abs() <= 1.0, "duty {duty:?}");
        *tick = tick.after(1);
        if session.take_save().is_some() {
            session.saved(StoreResult::Written);
        }
        while session.transmit(&mut room) > 0 {}
    }
}

fn head(sequence: u16) -> Head {
    Head { version: PROTOCOL_VERSION, talk: Some(Talk::FIRST), sender: End::Host, sequence }
}

fn sample(tick: Tick) -> Sample {
    Sample {
        tick,
        position: Counts(8000),
        motor_current: Ampere(0.0),
        supply: Volt(13.5),
        temperature: None,
        boost: Kilopascal(100.0),
        barometer: Kilopascal(100.0),
        exhaust: None,
        turbo_speed: None,
        conversions: Conversions::all(tick.0.to_le_bytes()[0]),
        bridge: BridgeLine::Quiet,
    }
}

/// Text of a file that a person writes: profile, limits, parts sheet, scenario. Errors name the file.
pub fn toml_files(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    let named = |error: String| assert!(error.starts_with("given.toml"), "{error}");
    let file = TomlFile::from_text("given.toml", text);
    let _ = Profile::read(&file).map_err(|error| named(error.to_string()));
    let _ = Limits::read(&file).map_err(|error| named(error.to_string()));
    let _ = parts::PartsSheet::parse("given.toml", text).map_err(|error| named(error.to_string()));
    let _ = study::scenario::Scenario::from_toml(text, "given.toml", |_| Ok(String::new()));
}

/// A run's folder whose `run.toml`, up to a zero byte, and `samples.csv`, after it, are these bytes.
pub fn record(bytes: &[u8]) {
    let cut = bytes.iter().position(|&byte| byte == 0).unwrap_or(bytes.len());
    let scratch = tempfile::tempdir().expect("a folder for the run");
    let dir = scratch.path().join("0001-sweep");
    write(&dir, &bytes[..cut], bytes.get(cut + 1..).unwrap_or_default());
    let _ = Run::open(&dir);
}

fn write(dir: &Path, run: &[u8], samples: &[u8]) {
    fs::create_dir(dir).expect("a folder for the run");
    fs::write(dir.join("run.toml"), run).expect("room for the run");
    fs::write(dir.join("samples.csv"), samples).expect("room for the samples");
}

fn identity() -> Identity {
    Identity {
        model: Default::default(),
        software: Default::default(),
        build: 0,
        layout: firmware_core::store::LAYOUT_VERSION,
        board: Default::default(),
        serial: Default::default(),
        pacing: Pacing::Stepped,
        started: StartReason::PowerOn,
    }
}
