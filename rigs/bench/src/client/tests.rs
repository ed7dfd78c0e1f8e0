//! The client against a board made by hand: what each trouble of a line ends in, and how soon.

use std::collections::VecDeque;
use std::io::{self, Read, Write};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::{Duration, Instant};

use firmware_core::calibration::{Setup, Warmth};
use firmware_core::held::OriginTag;
use firmware_core::learn::CheckSet;
use firmware_core::learn::{LearnEvent, LearnOrder, LearnPhase};
use firmware_core::link::batch::{Around, Packing};
use firmware_core::link::codec::encode;
use firmware_core::link::message::ToHost;
use firmware_core::link::state::{Capabilities, ReleaseReason, StartReason};
use firmware_core::link::{Batch, Identity, Point, Refusal, SelfTest, StreamState};
use firmware_core::motion::{Footing, Goal};
use firmware_core::units::{Counts, Volt};

use super::*;
use crate::rig::GapCause;

/// Every trouble is named within this time.
const NAMED_WITHIN: Duration = Duration::from_secs(2);

/// What the board says to one message, before the line gets at it.
type Said = Vec<Vec<u8>>;
/// What the line makes of it.
type Trouble = Box<dyn FnMut(&ToBoard, Said) -> Said + Send>;

/// A board that does what it is told, behind a line that may not.
struct Scripted {
    decoder: Decoder,
    welcome: Welcome,
    sequence: u16,
    trouble: Trouble,
    delay: Duration,
    out: VecDeque<(Instant, u8)>,
    heard: Arc<Mutex<Vec<ToBoard>>>,
    takes_bytes: Arc<Mutex<bool>>,
    /// Starts that it refuses because it saves.
    saves: u32,
}

impl Scripted {
    fn new(pacing: Pacing, trouble: impl FnMut(&ToBoard, Said) -> Said + Send + 'static) -> Self {
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

    fn sound(pacing: Pacing) -> Self {
        Self::new(pacing, |_, said| said)
    }

    fn say(&mut self, message: &ToHost) -> Vec<u8> {
        let frame = encode(Talk::FIRST, self.sequence, message).unwrap().to_vec();
        self.sequence = self.sequence.wrapping_add(1);
        frame
    }

    fn answer(&mut self, sequence: u16, message: &ToBoard) -> Said {
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

fn welcome(pacing: Pacing) -> Welcome {
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

fn connect(line: Scripted) -> Result<Client, ClientError> {
    talk::connect(Box::new(line), "by hand", Talk::FIRST, || false)
}

fn frames(messages: &[ToHost], from: u16) -> Vec<u8> {
    let numbered = (from..).zip(messages);
    numbered.flat_map(|(number, message)| encode(Talk::FIRST, number, message).unwrap().to_vec()).collect()
}

fn batch(first: u32) -> Batch {
    let around = Around {
        state: StreamState::default(),
        limits: Default::default(),
        supply: Volt(12.0),
        temperature: None,
    };
    Packing::of(Tick(first), &around, &[Point::default(); 32]).next().unwrap()
}

/// The error that a talk ends in, how long it took from the last thing that went well, and what the board heard.
fn ends(line: Scripted, during: impl FnOnce(&mut Client) -> ClientError) -> (ClientError, Vec<ToBoard>) {
    let heard = Arc::clone(&line.heard);
    let mut client = connect(line).unwrap();
    let asked_at = Instant::now();
    let error = during(&mut client);
    let took = asked_at.elapsed();
    assert!(took < NAMED_WITHIN, "{error} took {took:?}");
    drop(client);
    let heard = heard.lock().unwrap().clone();
    assert_eq!(heard.last(), Some(&ToBoard::Stop), "{error}: a stop is tried on the way out");
    (error, heard)
}

/// Lets everything through up to the stream, then does this to all that the board says.
fn after_stream(then: impl Fn(Said) -> Said + Send + 'static) -> impl FnMut(&ToBoard, Said) -> Said + Send {
    let mut is_on = false;
    move |message, said| {
        let said = if is_on { then(said) } else { said };
        is_on |= matches!(message, ToBoard::Stream(_));
        said
    }
}

fn next_error(client: &mut Client) -> ClientError {
    client.stream(Streaming::On).unwrap();
    loop {
        if let Err(error) = client.next_item() {
            return error;
        }
    }
}

#[test]
fn each_trouble_of_the_line_ends_in_its_own_words_within_two_seconds() {
    let foreign = || encode(Talk::LAST, 7, &ToHost::Waiting { next: Tick(9) }).unwrap().to_vec();
    let echo = || encode(Talk::FIRST, 7, &ToBoard::KeepAlive).unwrap().to_vec();
    type Answer = Box<dyn Fn(Said) -> Said + Send>;
    let cases: [(Answer, &str); 5] = [
        (Box::new(|_| vec![]), "went silent"),
        (Box::new(move |_| vec![foreign()]), "another talk"),
        (Box::new(move |_| vec![echo()]), "echoes"),
        (Box::new(|_| vec![b"\x00damaged\x00".to_vec()]), "only damaged bytes"),
        (Box::new(|mut said| said.split_off(1)), "the board talks"),
    ];
    thread::scope(|scope| {
        for (trouble, says) in cases {
            scope.spawn(move || {
                let (error, _) = ends(Scripted::new(Pacing::Stepped, after_stream(trouble)), next_error);
                assert!(error.to_string().contains(says), "{says}: {error}");
            });
        }
    });
}

#[test]
fn a_paced_board_that_answers_and_sends_no_samples_is_stalled() {
    let (error, _) = ends(Scripted::sound(Pacing::Paced), next_error);
    assert!(matches!(error, ClientError::Stalled { .. }), "{error}");
}

#[test]
fn a_grant_that_is_refused_ends_the_talk_and_an_old_number_refused_does_not() {
    let stale = |to| ToHost::Reply { to, outcome: Outcome::Refused(Refusal::Stale { last: 900 }) };
    // Number 2 is the first grant.
    let refused = frames(&[stale(2)], 40);
    let line = Scripted::new(Pacing::Stepped, after_stream(move |_| vec![refused.clone()]));
    let (error, heard) = ends(line, next_error);
    assert!(matches!(error, ClientError::Refused { refusal: Refusal::Stale { last: 900 }, .. }), "{error}");
    let grants = heard.iter().filter(|message| matches!(message, ToBoard::Grant { .. })).count();
    assert_eq!(grants, 1, "never sent again");
    let copy = frames(&[stale(1)], 40);
    let line = Scripted::new(Pacing::Stepped, after_stream(move |_| vec![copy.clone()]));
    let (error, _) = ends(line, next_error);
    assert!(matches!(error, ClientError::Stalled { .. }), "{error}");
}

#[test]
fn a_line_that_takes_no_bytes_is_blocked() {
    let line = Scripted::sound(Pacing::Stepped);
    let takes_bytes = Arc::clone(&line.takes_bytes);
    let mut client = connect(line).unwrap();
    *takes_bytes.lock().unwrap() = false;
    let error = client.command("clearing the latch", &ToBoard::ClearLatch).unwrap_err();
    assert!(matches!(error, ClientError::Blocked { .. }), "{error}");
}

#[test]
fn answers_that_come_late_again_and_again_are_a_slow_line() {
    let line = Scripted { delay: Duration::from_millis(1200), ..Scripted::sound(Pacing::Paced) };
    let mut client = connect(line).unwrap();
    client.command("clearing the latch", &ToBoard::ClearLatch).unwrap();
    let error = client.command("clearing the latch", &ToBoard::ClearLatch).unwrap_err();
    assert!(matches!(error, ClientError::Slow { lease_ms: 500, .. }), "{error}");
}

#[test]
fn an_interrupt_ends_any_wait_at_once_and_stops_the_drive() {
    let line = Scripted::sound(Pacing::Paced);
    let heard = Arc::clone(&line.heard);
    let mut client = connect(line).unwrap();
    client.start_motion(Setup::Attached, Warmth::Cold, Footing::Accepted).unwrap_err();
    client.is_interrupted = || true;
    let asked_at = Instant::now();
    assert_eq!(client.next_item(), Err(ClientError::Interrupted));
    client.stop().unwrap();
    assert!(asked_at.elapsed() < Duration::from_millis(300));
    assert_eq!(heard.lock().unwrap().last(), Some(&ToBoard::Stop));
    let connected =
        talk::connect(Box::new(Scripted::new(Pacing::Paced, |_, _| vec![])), "x", Talk::FIRST, || true);
    assert_eq!(connected.err(), Some(ClientError::Interrupted));
}

#[test]
fn a_board_that_still_saves_is_asked_again_and_told_of_only_when_it_never_ends() {
    let saving = |saves| Scripted { saves, ..Scripted::sound(Pacing::Stepped) };
    let mut client = connect(saving(3)).unwrap();
    let first = client.start_motion(Setup::Attached, Warmth::Cold, Footing::Accepted).unwrap();
    let mut client = connect(saving(u32::MAX)).unwrap();
    let asked_at = Instant::now();
    let error = client.start_motion(Setup::Attached, Warmth::Cold, Footing::Accepted).unwrap_err();
    assert!(first.0 > 3, "time passed: {first:?}");
    assert!(matches!(error, ClientError::Refused { refusal: Refusal::Saving, .. }), "{error}");
    assert!(asked_at.elapsed() < NAMED_WITHIN);
}

#[test]
fn what_the_board_can_take_is_obeyed_or_refused_in_words() {
    let with = |pacing, change: fn(&mut Capabilities)| {
        let mut line = Scripted::sound(pacing);
        change(&mut line.welcome.capabilities);
        line
    };
    let error = |pacing, change| connect(with(pacing, change)).err().unwrap();
    let rate = error(Pacing::Stepped, |c| c.ticks_per_second = 500);
    assert!(matches!(rate, ClientError::OtherTickRate { board: 500, .. }), "{rate}");
    let lease = error(Pacing::Paced, |c| c.lease_ticks = 50);
    assert!(matches!(lease, ClientError::LeaseTooShort { lease_ms: 50, .. }), "{lease}");

    let line = with(Pacing::Stepped, |c| c.lease_ticks = 50);
    let heard = Arc::clone(&line.heard);
    let mut client = connect(line).unwrap();
    let _nothing_comes = client.next_item();
    let granted = ToBoard::Grant { until: Tick(37) };
    assert!(heard.lock().unwrap().contains(&granted), "{:?}", heard.lock().unwrap());

    let mut client = connect(with(Pacing::Stepped, |c| c.motion_segments = 4)).unwrap();
    let error = client.load_motion(&[Segment { goal: Goal::Release, ticks: 1 }; 5]).unwrap_err();
    assert!(matches!(error, ClientError::TooManySegments { wanted: 5, max: 4, .. }), "{error}");
}

#[test]
fn a_second_welcome_is_a_copy_or_the_end_of_the_talk() {
    let mut later = welcome(Pacing::Paced);
    for (next, ends_in) in [(Tick(0), "the board talks"), (Tick(77), "greeted a second time")] {
        later.next = next;
        let again = frames(&[ToHost::Welcome(later.clone())], 0);
        let line = Scripted::new(
            Pacing::Paced,
            after_stream(move |mut said| {
                said.push(again.clone());
                said
            }),
        );
        let (error, _) = ends(line, next_error);
        assert!(error.to_string().contains(ends_in), "{ends_in}: {error}");
    }
}

#[test]
fn the_release_of_an_earlier_talk_is_no_release_of_this_one() {
    let mut greeted = false;
    let line = Scripted::new(Pacing::Paced, move |_, mut said| {
        let released =
            ToHost::Released { tick: Tick(5), reason: ReleaseReason::NewHost, position: Counts(0) };
        if !std::mem::replace(&mut greeted, true) {
            let reply = frames(&[released, ToHost::Reply { to: 0, outcome: Outcome::Done }], 1);
            said.truncate(1);
            said.push(reply);
        }
        said
    });
    let mut client = connect(line).unwrap();
    client.command("clearing the latch", &ToBoard::ClearLatch).unwrap();
    assert!(client.took_over());
    assert!(client.items.is_empty(), "{:?}", client.items);
}

#[test]
fn samples_that_are_missing_before_the_first_batch_and_between_are_gaps_and_repeats_are_left_out() {
    let mut client = connect(Scripted::sound(Pacing::Stepped)).unwrap();
    client.stream(Streaming::On).unwrap();
    let say = |client: &mut Client, first, number| {
        client.hear(frames(&[ToHost::Samples(batch(first))], number)).unwrap();
    };
    for (number, first) in [(10, 96), (12, 256), (13, 224), (14, 272)] {
        say(&mut client, first, number);
    }
    let lost = |first, ticks| StreamItem::Gap { first: Tick(first), ticks, cause: GapCause::LostOnLine };
    let gaps: Vec<_> =
        client.items.iter().filter(|item| matches!(item, StreamItem::Gap { .. })).cloned().collect();
    assert_eq!(gaps, [lost(0, 96), lost(128, 128)]);
    let ticks: Vec<u32> = client
        .items
        .iter()
        .filter_map(|item| match item {
            StreamItem::Sample(sample) => Some(sample.tick.0),
            _ => None,
        })
        .collect();
    assert_eq!(ticks, (96..128).chain(256..304).collect::<Vec<_>>());
}

#[test]
fn a_lost_reply_to_the_stream_command_hides_no_hole() {
    // The board has begun to send before its reply comes, and loses four batches after that.
    let line = Scripted::new(Pacing::Paced, |message, said| match message {
        ToBoard::Stream(_) => {
            let done = ToHost::Reply { to: 1, outcome: Outcome::Done };
            vec![frames(&[ToHost::Samples(batch(64)), done], 2)]
        }
        _ => said,
    });
    let mut client = connect(line).unwrap();
    client.stream(Streaming::On).unwrap();
    client.hear(frames(&[ToHost::Samples(batch(224))], 9)).unwrap();
    let gap = StreamItem::Gap { first: Tick(96), ticks: 128, cause: GapCause::LostOnLine };
    assert!(client.items.contains(&gap), "{:?}", client.items);
}

#[test]
fn lost_events_of_a_learn_leave_a_mark_and_an_outcome_told_again_is_told_once() {
    let mut client = connect(Scripted::sound(Pacing::Stepped)).unwrap();
    client
        .start_learn(LearnOrder::full(Setup::Attached, Warmth::Cold, CheckSet::NONE), OriginTag::default())
        .unwrap();
    let event = |number| {
        let event = LearnEvent::Phase(LearnPhase::AtRest);
        ToHost::Learn { number, tick: Tick(u32::from(number)), event }
    };
    client.hear(frames(&[event(0), event(3), event(3), event(4)], 20)).unwrap();
    let told: Vec<String> = client
        .items
        .iter()
        .map(|item| match item {
            StreamItem::Learn { number, .. } => number.to_string(),
            StreamItem::LostEvents { count, .. } => format!("{count} lost"),
            _ => "else".into(),
        })
        .collect();
    assert_eq!(told, ["0", "2 lost", "3", "4"]);
}
