//! Whole talks between the bench's client and a board with the simulated unit: the job, and every trouble
//! that a line can make. Troubles are made by the line, outside of client and session.
#![allow(clippy::unwrap_used)] // a helper that cannot go on fails its test

use std::sync::Arc;

use crate::support::{Board, BoardLine, Loop, Stranger, settings};
use firmware_core::calibration::{Setup, Warmth};
use firmware_core::held::OriginTag;
use firmware_core::learn::{Check, CheckSet, LearnEvent, LearnOrder, LearnOutcome};
use firmware_core::link::codec::frame;
use firmware_core::link::message::{ToBoard, ToHost};
use firmware_core::link::state::{MotionEvent, Streaming};
use firmware_core::link::{DRIVE_LEASE_TICKS, Decoder, End, Head, Refusal, Source, Talk, encode};
use firmware_core::motion::{Footing, Goal, Segment};
use firmware_core::units::{Duty, Opening, Tick};
use vanebench::client::{Client, ClientError, LineUse};
use vanebench::rig::{GapCause, StreamItem, StreamSample};

fn opening(value: f32) -> Goal {
    Goal::Opening(Opening::try_new(value).unwrap())
}

/// Closed to open and back, slowly, then a step each way.
fn sweep_and_steps() -> Vec<Segment> {
    let to = |value, ticks| Segment { goal: opening(value), ticks };
    vec![
        to(0.1, 800),
        to(0.9, 4000),
        to(0.9, 200),
        to(0.1, 4000),
        to(0.1, 200),
        to(0.6, 0),
        to(0.6, 600),
        to(0.1, 0),
        to(0.1, 600),
    ]
}

fn connect(line: BoardLine) -> Client {
    let mut client = Client::connect(Box::new(line), "in-process", Talk::FIRST).unwrap();
    client.upload(&settings()).unwrap();
    client.stream(Streaming::On).unwrap();
    client.arm(settings().hash()).unwrap();
    client
}

fn learn(client: &mut Client) -> LearnOutcome {
    let checked = Check::ALL.into_iter().fold(CheckSet::default(), |all, check| all.with(check));
    client
        .start_learn(LearnOrder::full(Setup::Attached, Warmth::Cold, checked), OriginTag::default())
        .unwrap();
    loop {
        if let StreamItem::Learn { event: LearnEvent::Outcome(outcome), .. } = client.next_item().unwrap() {
            return outcome;
        }
    }
}

struct Run {
    samples: Vec<StreamSample>,
    line_use: LineUse,
    bytes: Vec<u8>,
}

/// The bench's job: settings, learn, sweep, steps.
fn whole_job(seed: u64) -> Run {
    let line = BoardLine::new(Board::sound(seed));
    let heard = Arc::clone(&line.heard);
    let mut client = connect(line);
    let outcome = learn(&mut client);
    assert!(matches!(outcome, LearnOutcome::Accepted(_)), "{outcome:?}");
    client.stream(Streaming::On).unwrap();
    client.load_motion(&sweep_and_steps()).unwrap();
    client.start_motion(Setup::Attached, Warmth::Cold, Footing::Accepted).unwrap();
    let mut samples = Vec::new();
    loop {
        match client.next_item().unwrap() {
            StreamItem::Sample(sample) => samples.push(sample),
            StreamItem::Motion { event: MotionEvent::Ended, .. } => break,
            StreamItem::Gap { .. } => panic!("a gap on a sound line"),
            _ => {}
        }
    }
    assert!(client.counters().is_clean(), "{:?}", client.counters());
    let line_use = client.line_use();
    drop(client);
    let bytes = heard.lock().unwrap().clone();
    Run { samples, line_use, bytes }
}

#[test]
fn a_unit_is_learned_and_swept_within_60_per_cent_of_the_line() {
    let run = whole_job(1);
    assert!(run.samples.windows(2).all(|pair| pair[1].tick == pair[0].tick.after(1)), "every tick, once");
    let driven = run.samples.iter().filter(|sample| sample.state.source == Source::Motion).count();
    assert!(driven > 10_000, "{driven} ticks under the profile");
    let used = run.line_use.fraction();
    println!("line use at 1 kHz over sweep and steps: {:.1} %", used * 100.0);
    assert!(used > 0.1 && used <= 0.6, "{used}");
}

#[test]
fn the_same_job_gives_the_same_bytes_and_another_seed_does_not() {
    let first = whole_job(7);
    assert!(first.bytes == whole_job(7).bytes);
    assert!(first.bytes != whole_job(8).bytes);
}

#[test]
fn a_command_lost_on_the_line_is_sent_again_and_done_once() {
    let mut line = BoardLine::new(Board::sound(1));
    let mut writes = 0;
    line.to_board = Box::new(move |bytes| {
        writes += 1;
        if writes % 5 == 0 { Vec::new() } else { bytes }
    });
    let mut client = Client::connect(Box::new(line), "in-process", Talk::FIRST).unwrap();
    for _ in 0..8 {
        client.load_motion(&sweep_and_steps()).unwrap();
    }
    let status = client.status().unwrap();
    assert_eq!((status.counters.lost, status.counters.repeated), (0, 0), "the board saw each command once");
}

#[test]
fn a_reply_lost_on_the_line_does_not_repeat_the_command() {
    let mut line = BoardLine::new(Board::sound(1));
    let mut reads = 0;
    line.to_host = Box::new(move |bytes| {
        if bytes.is_empty() {
            return bytes;
        }
        reads += 1;
        if reads % 4 == 0 { Vec::new() } else { bytes }
    });
    let mut client = Client::connect(Box::new(line), "in-process", Talk::FIRST).unwrap();
    let full = [Segment { goal: opening(0.5), ticks: 1 }; 48];
    // A segment appended twice would not fit and be refused.
    for _ in 0..4 {
        client.load_motion(&full).unwrap();
    }
    assert!(client.status().unwrap().counters.repeated > 0);
    assert!(client.counters().lost > 0);
}

#[test]
fn samples_lost_on_the_line_are_a_gap_that_is_counted_and_shown() {
    let mut line = BoardLine::new(Board::sound(1));
    let mut carried = 0usize;
    line.to_host = Box::new(move |mut bytes| {
        for byte in &mut bytes {
            carried += 1;
            if carried % 3001 == 3000 {
                *byte ^= 0x55;
            }
        }
        bytes
    });
    let mut client = connect(line);
    let (mut samples, mut gaps) = (Vec::new(), 0);
    while samples.len() < 6000 {
        match client.next_item().unwrap() {
            StreamItem::Sample(sample) => samples.push(sample.tick),
            StreamItem::Gap { first, ticks, cause } => {
                assert_eq!(cause, GapCause::LostOnLine);
                assert_eq!(samples.last().map(|last| last.after(1)), Some(first));
                gaps += ticks;
            }
            _ => {}
        }
    }
    let counters = client.counters();
    assert!(counters.lost > 0 && counters.cut + counters.damaged > 0, "{counters:?}");
    let covered = samples.last().unwrap().since(samples[0]) + 1;
    assert_eq!(covered, samples.len() as u32 + gaps, "every tick is a sample or in a gap");
}

/// Takes the frames of a direction apart; gives on those that `passes` lets through.
fn sieve(mut passes: impl FnMut(&ToHost) -> bool + Send + 'static) -> crate::support::Trouble {
    let (mut decoder, mut raw) = (Decoder::new(), Vec::new());
    Box::new(move |bytes| {
        let mut out = Vec::new();
        for byte in bytes {
            raw.push(byte);
            let whole = decoder.push(byte);
            if byte == 0 {
                let frame = std::mem::take(&mut raw);
                if whole.is_none_or(|content| passes(&content.unwrap().message().unwrap())) {
                    out.extend(frame);
                }
            }
        }
        out
    })
}

#[test]
fn samples_lost_at_the_very_start_are_a_gap_from_the_first_tick_on() {
    let mut line = BoardLine::new(Board::sound(1));
    let mut lost = 0;
    line.to_host = sieve(move |message| {
        lost += u32::from(matches!(message, ToHost::Samples(_)));
        !matches!(message, ToHost::Samples(_)) || lost > 3
    });
    let mut client = connect(line);
    let first = client.next_item().unwrap();
    assert_eq!(first, StreamItem::Gap { first: Tick(0), ticks: 96, cause: GapCause::LostOnLine });
    let StreamItem::Sample(sample) = client.next_item().unwrap() else { panic!("a sample after the gap") };
    assert_eq!(sample.tick, Tick(96));
}

/// Another program's talk.
const STRANGER: Talk = Talk::LAST;

#[test]
fn another_programs_commands_disturb_nothing_and_are_counted() {
    let mut line = BoardLine::new(Board::sound(1));
    let mut said = 30_000;
    line.to_board = Box::new(move |mut bytes| {
        said += 1;
        bytes.extend(encode(STRANGER, said, &ToBoard::MotionClear).unwrap());
        bytes
    });
    let mut client = connect(line);
    let push = Goal::Duty(Duty::try_new(0.05).unwrap());
    client.load_motion(&[Segment { goal: push, ticks: 1000 }]).unwrap();
    client.start_motion(Setup::Attached, Warmth::Cold, Footing::Diagnostic).unwrap();
    while !matches!(client.next_item().unwrap(), StreamItem::Released { .. }) {}
    let board = client.status().unwrap().counters;
    assert!(board.foreign > 20 && (board.lost, board.repeated) == (0, 0), "{board:?}");
    assert!(client.counters().is_clean(), "{:?}", client.counters());
}

#[test]
fn the_answer_to_a_program_of_another_version_is_not_taken_for_ones_own() {
    let mut line = BoardLine::new(Board::sound(1));
    line.to_board = Box::new(move |mut bytes| {
        let mut decoder = Decoder::new();
        let own = bytes.iter().find_map(|byte| decoder.push(*byte)).unwrap().unwrap();
        // Ahead of the command and under its number, so that the answer comes first and seems to fit.
        let other = frame(Head { version: 2, ..own.head }, &[1]).unwrap();
        if own.message() != Ok(ToBoard::Hello) {
            bytes.splice(..0, other);
        }
        bytes
    });
    let mut client = connect(line);
    assert!(client.status().unwrap().counters.not_understood > 10);
    assert!(client.counters().foreign > 10 && client.counters().lost == 0, "{:?}", client.counters());
}

#[test]
fn frames_of_another_talk_are_no_data_and_are_counted() {
    let mut line = BoardLine::new(Board::sound(1));
    let gap = encode(STRANGER, 9, &ToHost::Gap { first: Tick(7), ticks: 700 }).unwrap();
    line.to_host = Box::new(move |mut bytes| {
        if bytes.last() == Some(&0) {
            bytes.extend(&gap);
        }
        bytes
    });
    let mut client = connect(line);
    for tick in 0..2000 {
        let item = client.next_item().unwrap();
        assert!(matches!(item, StreamItem::Sample(sample) if sample.tick == Tick(tick)), "{item:?}");
    }
    let counters = client.counters();
    assert!(counters.foreign > 5 && (counters.lost, counters.repeated) == (0, 0), "{counters:?}");
}

#[test]
fn a_board_that_another_program_greeted_has_left_this_talk() {
    let line = BoardLine::new(Board::sound(1));
    let board = Arc::clone(&line.board);
    let mut client = connect(line);
    board.lock().unwrap().receive(&encode(STRANGER, 0, &ToBoard::Hello).unwrap());
    let error = client.status().unwrap_err();
    assert!(matches!(error, ClientError::OtherHost { .. }), "{error}");
}

#[test]
fn a_line_cut_in_the_middle_says_so_and_keeps_what_came() {
    let line = BoardLine::new(Board::sound(1));
    let cut = Arc::clone(&line.is_cut);
    let mut client = connect(line);
    let mut samples = 0;
    let error = loop {
        match client.next_item() {
            Ok(StreamItem::Sample(_)) => samples += 1,
            Ok(_) => {}
            Err(error) => break error,
        }
        *cut.lock().unwrap() = samples >= 1000;
    };
    assert!(samples >= 1000);
    assert!(matches!(error, ClientError::HungUp { .. }), "{error}");
    assert!(error.to_string().contains("in-process") && error.to_string().contains("kept"));
}

/// The line drops all that the host says, and only time goes on.
#[test]
fn a_board_that_hears_its_host_no_more_lets_go_within_the_lease() {
    let line = BoardLine::new(Board::sound(1));
    let board = Arc::clone(&line.board);
    let mut client = connect(line);
    let push = Goal::Duty(Duty::try_new(0.05).unwrap());
    client.load_motion(&[Segment { goal: push, ticks: 60_000 }]).unwrap();
    client.start_motion(Setup::Attached, Warmth::Cold, Footing::Diagnostic).unwrap();
    let mut board = board.lock().unwrap();
    board.pass(DRIVE_LEASE_TICKS);
    assert_ne!(board.duty(), Duty::ZERO);
    board.pass(1);
    assert_eq!(board.duty(), Duty::ZERO);
}

#[test]
fn a_board_that_lost_its_power_is_told_from_a_dead_line() {
    let line = BoardLine::new(Board::sound(1));
    let board = Arc::clone(&line.board);
    let mut client = connect(line);
    board.lock().unwrap().restart();
    let error = client.arm(settings().hash()).unwrap_err();
    assert!(matches!(error, ClientError::Restarted { .. }), "{error}");
}

#[test]
fn a_refusal_says_what_to_do() {
    let mut client = connect(BoardLine::new(Board::sound(1)));
    client.load_motion(&sweep_and_steps()).unwrap();
    let error = client.start_motion(Setup::Free, Warmth::Cold, Footing::Accepted).unwrap_err();
    assert!(matches!(error, ClientError::Refused { refusal: Refusal::NotCalibrated, .. }));
    assert!(error.to_string().contains("learn the end stops first"), "{error}");
}

#[test]
fn a_port_without_a_board_is_told_by_what_is_heard() {
    let connect = |bytes: &[u8]| {
        Client::connect(Box::new(Stranger(bytes.to_vec())), "ttyX", Talk::FIRST).err().unwrap().to_string()
    };
    let of_version_9 = Head { version: 9, talk: Some(Talk::FIRST), sender: End::Board, sequence: 0 };
    std::thread::scope(|scope| {
        let nothing = scope.spawn(|| connect(b""));
        let text = scope.spawn(|| connect(b"login: \r\n"));
        let noise = scope.spawn(|| connect(&[0xE1, 0x9F, 0xFE, 0x81, 0x00, 0xC3, 0xFD]));
        let other = scope.spawn(|| connect(&frame(of_version_9, &[0, 1, 2]).unwrap()));
        let waiting = ToHost::Waiting { next: Tick(1) };
        let deaf = scope.spawn(move || connect(&encode(STRANGER, 1, &waiting).unwrap()));
        let echo = scope.spawn(|| {
            Client::connect(Box::new(Loop::default()), "ttyX", Talk::FIRST).err().unwrap().to_string()
        });
        for (heard, says) in [
            (nothing, "not one byte"),
            (text, "login:"),
            (noise, "115200"),
            (other, "version 9"),
            (deaf, "does not hear this tool"),
            (echo, "echoes"),
        ] {
            let message = heard.join().unwrap();
            assert!(message.starts_with("port ttyX: ") && message.contains(says), "{message}");
        }
    });
}
