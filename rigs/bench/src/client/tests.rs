//! The client against a board made by hand: what each trouble of a line ends in, and how soon.

mod scripted;

use std::sync::Arc;
use std::thread;
use std::time::{Duration, Instant};

use firmware_core::calibration::{Setup, Warmth};
use firmware_core::held::OriginTag;
use firmware_core::learn::CheckSet;
use firmware_core::learn::{LearnEvent, LearnOrder, LearnPhase};
use firmware_core::link::Refusal;
use firmware_core::link::codec::encode;
use firmware_core::link::message::ToHost;
use firmware_core::link::state::{Capabilities, ReleaseReason};
use firmware_core::motion::{Footing, Goal};
use firmware_core::units::Counts;

use super::*;
use crate::rig::GapCause;
use scripted::{Said, Scripted, batch, connect, frames, welcome};

/// Every trouble is named within this time.
const NAMED_WITHIN: Duration = Duration::from_secs(2);

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
