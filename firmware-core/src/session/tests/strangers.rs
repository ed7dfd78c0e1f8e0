//! Frames of other programs, frames that come back, and stops, which anybody may say.

use super::*;

/// Another program's talk.
const STRANGER: Talk = Talk::LAST;

/// A board that has driven a motion for 50 ticks, and its host.
fn driving() -> Bench {
    let mut bench = Bench::ready(Some(held(Setup::Free)));
    bench.load(duty(0.5));
    assert_eq!(bench.start(Setup::Free), Outcome::Done);
    assert_ne!(bench.ticks(50).duty, Duty::ZERO);
    bench.hear();
    bench
}

#[test]
fn a_stop_of_another_talk_is_obeyed_counted_and_not_answered() {
    let mut bench = driving();
    let heard = bench.overhear(STRANGER, 40_000, &ToBoard::Stop);
    let position = bench.position;
    assert_eq!(heard, [ToHost::Released { tick: Tick(50), reason: ReleaseReason::Stopped, position }]);
    assert_eq!(bench.tick().duty, Duty::ZERO);
    let counters = bench.status().counters;
    assert_eq!((counters.foreign, counters.lost, counters.repeated), (1, 0, 0));
}

#[test]
fn a_stop_under_the_last_number_is_obeyed_and_answered() {
    let mut bench = driving();
    bench.sequence = bench.sequence.wrapping_sub(1);
    assert_eq!(bench.ask(&ToBoard::Stop), Outcome::Done);
    assert_eq!(bench.tick().duty, Duty::ZERO);
    assert_eq!(bench.session.control.released.reason, ReleaseReason::Stopped);
}

#[test]
fn the_hello_of_another_program_is_a_new_host() {
    let mut bench = driving();
    let heard = bench.overhear(STRANGER, 7, &ToBoard::Hello);
    assert!(matches!(heard.first(), Some(ToHost::Welcome(_))), "{heard:?}");
    assert_eq!(bench.session.control.released.reason, ReleaseReason::NewHost);
    assert_eq!(bench.tick().duty, Duty::ZERO);
    bench.hear();
    assert_eq!(bench.say(&ToBoard::KeepAlive), [], "the first host's talk is over");
    let settings = Settings::default().hash();
    let armed = bench.overhear(STRANGER, 8, &ToBoard::Arm { settings });
    assert_eq!(armed, [ToHost::Reply { to: 8, outcome: Outcome::Done }]);
}

#[test]
fn before_a_hello_whoever_asks_is_answered_in_its_own_talk() {
    let mut bench = Bench::new(Pacing::Paced, None);
    for talk in [STRANGER, TALK] {
        bench.session.receive(&encode(talk, 3, &ToBoard::GetStatus).unwrap());
        let mut bytes = [0; 64];
        let count = bench.session.transmit(&mut bytes);
        let content = bytes[..count].iter().find_map(|byte| bench.decoder.push(*byte)).unwrap().unwrap();
        assert_eq!((content.head.talk, content.head.sender), (Some(talk), End::Board));
        let no_hello = ToHost::Reply { to: 3, outcome: refused(Refusal::NoHello) };
        assert_eq!(content.message(), Ok(no_hello));
    }
}

#[test]
fn a_hello_without_a_talk_opens_none() {
    let mut bench = Bench::new(Pacing::Paced, None);
    let head = Head { version: PROTOCOL_VERSION, talk: None, sender: End::Host, sequence: 0 };
    bench.session.receive(&frame(head, &[0]).unwrap());
    assert_eq!(bench.hear(), [ToHost::Reply { to: 0, outcome: refused(Refusal::NoHello) }]);
}

/// Everything that a host can say but hello and stop, and a kind that nobody knows.
fn bodies() -> List<List<u8>> {
    let settings = Settings::default().hash();
    let segments = [Segment { goal: duty(-0.5), ticks: 9 }].into_iter().collect();
    let order = LearnOrder::full(Setup::Free, Warmth::Cold, CheckSet::ALL);
    let (setup, warmth, footing) = (Setup::Free, Warmth::Cold, Footing::Accepted);
    let messages = [
        ToBoard::KeepAlive,
        ToBoard::Grant { until: Tick(99_999) },
        ToBoard::Arm { settings },
        ToBoard::ClearLatch,
        ToBoard::Stream(Streaming::On),
        ToBoard::Settings(SettingsSection::Slew(Settings::default().slew)),
        ToBoard::SetCalibration(held(Setup::Free)),
        ToBoard::GetCalibration { setup },
        ToBoard::Store,
        ToBoard::MotionClear,
        ToBoard::MotionAppend(segments),
        ToBoard::StartMotion { start_at: Tick(60), setup, warmth, footing },
        ToBoard::Engine(DEMAND),
        ToBoard::GetStatus,
        ToBoard::StartLearn { start_at: Tick(60), order, tag: OriginTag(7) },
        ToBoard::GetLearnOutcome,
        ToBoard::StartProbe { start_at: Tick(60), segment: probe::segment(3.0) },
    ];
    assert_eq!(messages.len() + 2, usize::from(ToBoard::KINDS), "all but hello and stop");
    let body = |message: &ToBoard| {
        let mut room = [0; MAX_MESSAGE];
        body(message, &mut room).unwrap().to_vec()
    };
    messages.iter().map(body).chain([List::from([ToBoard::KINDS])]).collect()
}

/// A sound frame of another talk, or one that carries the board's mark.
fn not_ours() -> impl Strategy<Value = (End, List<u8>)> {
    let foreign = (0u16..=0x7FFF)
        .prop_filter("another talk", |number| Talk::try_new(*number) != Some(TALK))
        .prop_map(|number| (End::Host, Talk::try_new(number)));
    let echoed = (0u16..=0x7FFF).prop_map(|number| (End::Board, Talk::try_new(number)));
    (prop_oneof![foreign, echoed], any::<u16>(), prop::sample::select(bodies())).prop_map(
        |((sender, talk), sequence, body)| {
            let head = Head { version: PROTOCOL_VERSION, talk, sender, sequence };
            (sender, frame(head, &body).unwrap().to_vec())
        },
    )
}

proptest! {
    /// The whole session, field by field, but for the two counters.
    #[test]
    fn a_frame_that_is_foreign_or_echoed_changes_nothing_but_its_counter(
        frames in prop::collection::vec(not_ours(), 1..30), is_driving in any::<bool>(),
    ) {
        let mut bench = if is_driving { driving() } else { Bench::ready(None) };
        let before = std::format!("{:?}", bench.session);
        for (_, bytes) in &frames {
            bench.session.receive(bytes);
        }
        prop_assert_eq!(bench.hear(), []);
        let echoed = frames.iter().filter(|(sender, _)| *sender == End::Board).count();
        let counted = std::format!("foreign: {}, echoed: {echoed}", frames.len() - echoed);
        let after = std::format!("{:?}", bench.session);
        prop_assert_eq!(after.replace(&counted, "foreign: 0, echoed: 0"), before);
    }

    #[test]
    fn foreign_and_echoed_frames_do_not_hold_the_drive_of_a_silent_host(
        frames in prop::collection::vec(not_ours(), 1..20),
    ) {
        let mut bench = driving();
        for (_, bytes) in frames.iter().cycle().take((DRIVE_LEASE_TICKS - 50) as usize) {
            prop_assert_ne!(bench.tick().duty, Duty::ZERO);
            bench.session.receive(bytes);
        }
        prop_assert_eq!(bench.tick().duty, Duty::ZERO);
        prop_assert_eq!(bench.session.control.released.reason, ReleaseReason::HostSilent);
    }
}
