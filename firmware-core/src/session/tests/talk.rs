//! Greeting, sequence numbers, streams and noise.

use super::*;

#[test]
fn a_board_that_nobody_greeted_says_nothing() {
    let mut bench = Bench::new(Pacing::Paced, None);
    bench.ticks(2000);
    assert_eq!(bench.hear(), []);
}

#[test]
fn a_command_before_the_hello_is_refused() {
    let mut bench = Bench::new(Pacing::Paced, None);
    assert_eq!(bench.arm(), refused(Refusal::NoHello));
}

#[test]
fn the_hello_is_answered_by_what_the_board_is() {
    let mut bench = Bench::new(Pacing::Stepped, Some(held(Setup::Free)));
    let answers = bench.say(&ToBoard::Hello);
    let [ToHost::Welcome(welcome), ToHost::Reply { to: 0, outcome: Outcome::Done }] = answers.as_slice()
    else {
        panic!("{answers:?}");
    };
    assert_eq!(welcome.identity.model, "test rig");
    assert_eq!(welcome.calibration.unwrap().setup, Setup::Free);
}

#[test]
fn a_repeated_command_is_carried_out_once_and_answered_again() {
    let mut bench = Bench::ready(None);
    bench.load(duty(0.5));
    bench.sequence = bench.sequence.wrapping_sub(1);
    bench.load(duty(0.5));
    assert_eq!(bench.session.control.motion.segments().len(), 1);
    bench.sequence = 0;
    let last = 2;
    assert_eq!(bench.ask(&ToBoard::MotionClear), refused(Refusal::Stale { last }));
    assert_eq!(bench.session.control.motion.segments().len(), 1);
    bench.sequence = last + 1;
    let answers = bench.say(&ToBoard::GetStatus);
    let Some(ToHost::Status(status)) = answers.first() else { panic!("{answers:?}") };
    assert_eq!(status.counters.repeated, 2);
}

#[test]
fn lost_and_damaged_host_frames_are_counted() {
    let mut bench = Bench::ready(None);
    bench.sequence += 3;
    bench.session.receive(&[0, 7, 7, 7, 0, 0x02, 0x41, 0]);
    let answers = bench.say(&ToBoard::GetStatus);
    let Some(ToHost::Status(status)) = answers.first() else { panic!("{answers:?}") };
    assert_eq!((status.counters.lost, status.counters.cut), (3, 2));
}

#[test]
fn another_version_and_an_unknown_command_are_refused_by_name() {
    let mut bench = Bench::ready(None);
    let other = said(9, 3, &[1]);
    bench.session.receive(&other);
    assert_eq!(
        bench.hear(),
        [ToHost::Reply { to: 3, outcome: refused(Refusal::OtherVersion { board: PROTOCOL_VERSION }) }]
    );
    let unknown = said(PROTOCOL_VERSION, 4, &[99]);
    bench.session.receive(&unknown);
    assert_eq!(bench.hear(), [ToHost::Reply { to: 4, outcome: refused(Refusal::UnknownKind) }]);
}

#[test]
fn the_session_fits_the_boards_memory() {
    // The whole image keeps its static data within 18 KiB; the session, a quarter of a second of samples in it, is
    // most of it.
    let (own, link) = (size_of::<Session>(), size_of::<LinkMemory>());
    let (control, exchange) = (size_of::<ControlMemory>(), size_of::<Exchange>());
    assert!(own <= 25 * 512, "{own} bytes, of them link {link}, control {control}, exchange {exchange}");
}

#[test]
fn a_stepped_rig_advances_to_its_grant_and_says_that_it_waits() {
    let mut bench = Bench::new(Pacing::Stepped, None);
    bench.ask(&ToBoard::Hello);
    bench.ask(&ToBoard::Stream(Streaming::On));
    assert!(!bench.session.may_advance(Tick(0)));
    bench.ask(&ToBoard::Grant { until: Tick(40) });
    assert!(bench.session.may_advance(Tick(39)) && !bench.session.may_advance(Tick(40)));
    bench.ticks(40);
    let told = bench.hear();
    let ticks: u32 =
        told.iter().map(|m| if let ToHost::Samples(batch) = m { batch.ticks() } else { 0 }).sum();
    assert_eq!(ticks, 40, "all samples are out before it waits");
    assert_eq!(told.last(), Some(&ToHost::Waiting { next: Tick(40) }));
}

#[test]
fn a_line_without_room_leaves_a_counted_gap_and_no_lost_frame() {
    let mut bench = Bench::ready(None);
    bench.ask(&ToBoard::Stream(Streaming::On));
    let first = bench.tick;
    let mut covered = 0;
    let mut gaps = 0;
    let mut check = SequenceCheck::new();
    for _ in 0..4 {
        // The queue fills, samples are missed, then the line is free again.
        bench.ticks(2000);
        let mut bytes = [0; 4096];
        let count = bench.session.transmit(&mut bytes);
        for byte in &bytes[..count] {
            let Some(content) = bench.decoder.push(*byte) else { continue };
            let content = content.unwrap();
            assert_eq!(check.see(content.head.sequence), crate::link::sequence::Arrival::Expected);
            match content.message().unwrap() {
                ToHost::Samples(batch) => {
                    assert_eq!(batch.first, first.after(covered));
                    covered += batch.ticks();
                }
                ToHost::Gap { first: from, ticks } => {
                    assert_eq!(from, first.after(covered));
                    covered += ticks;
                    gaps += 1;
                }
                _ => {}
            }
        }
    }
    assert!(gaps >= 3 && covered > 6000, "{gaps} gaps, {covered} ticks");
}

/// Bytes, and sound frames whose message no board knows.
fn noise() -> impl Strategy<Value = List<u8>> {
    let bytes = prop::collection::vec(any::<u8>(), 0..80);
    let body = (ToBoard::KINDS..=u8::MAX, prop::collection::vec(any::<u8>(), 0..40));
    let unknown = (any::<u16>(), body).prop_map(|(sequence, (kind, rest))| {
        let body: List<u8> = core::iter::once(kind).chain(rest).collect();
        said(PROTOCOL_VERSION, sequence, &body)
    });
    prop_oneof![bytes, unknown]
}

proptest! {
    #[test]
    fn no_noise_on_the_line_holds_the_drive_of_a_silent_host(
        chunks in prop::collection::vec(noise(), 1..20),
    ) {
        let mut bench = Bench::ready(Some(held(Setup::Free)));
        bench.load(duty(0.5));
        prop_assert_eq!(bench.start(Setup::Free), Outcome::Done);
        for chunk in chunks.iter().cycle().take(DRIVE_LEASE_TICKS as usize) {
            prop_assert_ne!(bench.tick().duty, Duty::ZERO);
            bench.session.receive(chunk);
            let mut out = [0; 64];
            prop_assert!(bench.session.transmit(&mut out) <= out.len());
        }
        prop_assert_eq!(bench.tick().duty, Duty::ZERO);
        prop_assert_eq!(bench.session.control.released.reason, ReleaseReason::HostSilent);
    }

    #[test]
    fn any_known_message_in_any_order_is_answered_once(
        kinds in prop::collection::vec((0u8..ToBoard::KINDS, prop::collection::vec(any::<u8>(), 0..40)), 1..60),
    ) {
        let mut bench = Bench::ready(Some(held(Setup::Free)));
        for (sequence, (kind, rest)) in (2u16..).zip(kinds) {
            let mut body = List::from([kind]);
            body.extend(rest);
            bench.session.receive(&said(PROTOCOL_VERSION, sequence, &body));
            let replies = bench.hear().iter().filter(|m| matches!(m, ToHost::Reply { .. })).count();
            prop_assert_eq!(replies, 1);
            bench.tick();
        }
    }
}
