//! The two ends on their own: what happens when one runs and the other does not.

use super::*;

/// Hears whole frames at the link end alone; the control end does not run.
fn hear_only(bench: &mut Bench, frames: &[List<u8>]) {
    let (mut link, _) = bench.session.split();
    for byte in frames.iter().flatten() {
        link.hear(*byte);
    }
}

/// What the link end has to send, while the control end does not run.
fn told_by_link(bench: &mut Bench) -> List<ToHost> {
    let mut bytes = [0; 4096];
    let count = bench.session.split().0.transmit(&mut bytes);
    let frames = bytes[..count].iter().filter_map(|byte| bench.decoder.push(*byte));
    frames.map(|frame| frame.unwrap().message().unwrap()).collect()
}

/// The host's frames for these messages, numbered on.
fn frames(bench: &mut Bench, messages: &[ToBoard]) -> List<List<u8>> {
    let number = |message| {
        let frame = encode(TALK, bench.sequence, message).unwrap();
        bench.sequence = bench.sequence.wrapping_add(1);
        frame.to_vec()
    };
    messages.iter().map(number).collect()
}

fn replies(told: &[ToHost]) -> List<(u16, Outcome)> {
    let reply = |message: &ToHost| match message {
        ToHost::Reply { to, outcome } => Some((*to, outcome.clone())),
        _ => None,
    };
    told.iter().filter_map(reply).collect()
}

/// Armed, greeted, and driving a motion.
fn driving() -> Bench {
    let mut bench = Bench::ready(Some(held(Setup::Free)));
    bench.load(duty(0.5));
    assert_eq!(bench.start(Setup::Free), Outcome::Done);
    assert_ne!(bench.ticks(50).duty, Duty::ZERO);
    bench.hear();
    bench
}

#[test]
fn both_ends_may_go_where_they_run() {
    fn is_send<T: Send>(_: &T) {}
    let mut bench = Bench::ready(None);
    let (link, control) = bench.session.split();
    is_send(&link);
    is_send(&control);
}

#[test]
fn a_command_that_finds_no_room_is_refused_by_name_and_can_be_said_again_under_its_number() {
    let mut bench = Bench::ready(None);
    let max = WAITING_COMMANDS as u8;
    let said = frames(&mut bench, &[(); WAITING_COMMANDS + 1].map(|()| ToBoard::MotionClear));
    let last = bench.sequence.wrapping_sub(1);
    hear_only(&mut bench, &said);
    let told = replies(&told_by_link(&mut bench));
    assert_eq!(told, [(last, refused(Refusal::TooManyWaiting { max }))], "the others still wait");
    bench.session.split().1.attend();
    assert_eq!(replies(&bench.hear()).len(), WAITING_COMMANDS);
    bench.sequence = last;
    assert_eq!(bench.ask(&ToBoard::MotionClear), Outcome::Done);
    assert_eq!(bench.status().dropped, 0);
}

#[test]
fn a_stop_passes_every_full_queue_and_what_waited_before_it_is_not_carried_out() {
    for waiting in 0..=WAITING_COMMANDS + 2 {
        let mut bench = driving();
        let start = ToBoard::StartMotion {
            start_at: bench.tick,
            setup: Setup::Free,
            warmth: Warmth::Cold,
            footing: Footing::Accepted,
        };
        let mut said: List<ToBoard> = core::iter::repeat_n(start, waiting).collect();
        said.push(ToBoard::Stop);
        let said = frames(&mut bench, &said);
        let stop = bench.sequence.wrapping_sub(1);
        hear_only(&mut bench, &said);
        let sample_tick = bench.tick;
        assert_eq!(bench.tick().duty, Duty::ZERO, "{waiting} wait before the stop");
        assert_eq!(bench.session.control.released.tick, sample_tick);
        assert_eq!(bench.session.control.released.reason, ReleaseReason::Stopped);
        let told = replies(&bench.hear());
        assert!(told.contains(&(stop, Outcome::Done)), "{told:?}");
        assert_eq!(told.len(), waiting + 1, "each is answered once: {told:?}");
        let overtaken = told.iter().filter(|(_, outcome)| *outcome == refused(Refusal::Overtaken)).count();
        assert_eq!(overtaken, waiting.min(WAITING_COMMANDS), "{told:?}");
        assert_eq!(bench.ticks(100).duty, Duty::ZERO);
    }
}

#[test]
fn a_stop_of_another_talk_passes_a_full_queue_too() {
    let mut bench = driving();
    let mut said = frames(&mut bench, &[(); WAITING_COMMANDS].map(|()| ToBoard::KeepAlive));
    said.push(encode(Talk::LAST, 9, &ToBoard::Stop).unwrap().to_vec());
    hear_only(&mut bench, &said);
    assert_eq!(bench.tick().duty, Duty::ZERO);
}

#[test]
fn a_command_waits_while_its_answer_has_no_room_and_loses_nothing() {
    let mut bench = Bench::ready(Some(held(Setup::Free)));
    let ask = ToBoard::GetCalibration { setup: Setup::Free };
    let said = frames(&mut bench, &[(); 9].map(|()| ask.clone()));
    // The line takes nothing: six answers fill their queue, three commands wait.
    for frame in &said {
        bench.session.receive(frame);
    }
    let mut calibrations = 0;
    for _ in 0..4 {
        let told = bench.hear();
        calibrations += told.iter().filter(|m| matches!(m, ToHost::Calibration(_))).count();
        bench.tick();
    }
    assert_eq!(calibrations, said.len());
    assert_eq!(bench.status().dropped, 0);
}

#[test]
fn an_answer_finds_room_however_full_the_stream_has_made_the_queues() {
    let mut bench = Bench::ready(Some(held(Setup::Free)));
    bench.ask(&ToBoard::Stream(Streaming::On));
    for count in 0..2000 {
        // Another state in every tick makes the most batches.
        bench.position = if count % 2 == 0 { Counts(8000) } else { Counts(0) };
        bench.tick();
    }
    assert_eq!(bench.ask(&ToBoard::GetCalibration { setup: Setup::Free }), Outcome::Done);
}

#[test]
fn notes_that_find_no_room_are_counted() {
    let mut bench = Bench::ready(Some(held(Setup::Free)));
    let mut told = 0;
    for _ in 0..100 {
        // Nobody takes bytes; each stop is a note.
        bench.session.split().1.own.activity = Activity::Engine(DEMAND);
        let stop = frames(&mut bench, &[ToBoard::Stop]);
        bench.session.receive(&stop[0]);
    }
    for _ in 0..20 {
        told += bench.hear().iter().filter(|m| matches!(m, ToHost::Released { .. })).count();
        bench.tick();
    }
    let dropped = bench.status().dropped as usize;
    assert!(dropped > 0 && told + dropped >= 100, "{told} told, {dropped} dropped");
}

#[test]
fn what_was_told_before_a_hello_is_not_told_after_its_welcome() {
    let mut bench = driving();
    bench.ask(&ToBoard::Stream(Streaming::On));
    bench.ticks(100);
    let said = frames(&mut bench, &[ToBoard::Hello]);
    hear_only(&mut bench, &said);
    // The control end goes on in the old talk before it hears of the new one.
    bench.session.split().1.tick(&sample_at(&mut bench.tick));
    assert_eq!(told_by_link(&mut bench), [], "nothing of the old talk under the new one's name");
    bench.session.split().1.attend();
    let told = bench.hear();
    assert!(matches!(told.first(), Some(ToHost::Welcome(_))), "{told:?}");
    assert!(!told.iter().any(|m| matches!(m, ToHost::Samples(_) | ToHost::Gap { .. })), "{told:?}");
    assert_eq!(bench.session.control.released.reason, ReleaseReason::NewHost);
    // Points of the old talk do not slip into the new one's batches.
    bench.ask(&ToBoard::Stream(Streaming::On));
    let first = bench.tick;
    bench.ticks(32);
    let told = bench.hear();
    let batch = told.iter().find_map(|m| if let ToHost::Samples(batch) = m { Some(batch) } else { None });
    assert_eq!(batch.unwrap().first, first);
    let points = batch.unwrap().points().unwrap();
    assert!(points.iter().all(|point| point.position == bench.position.0 && point.duty == 0), "{points:?}");
}

fn sample_at(tick: &mut Tick) -> Sample {
    let now = *tick;
    *tick = now.after(1);
    Sample {
        tick: now,
        position: Counts(7000),
        motor_current: Ampere(0.0),
        supply: Volt(12.0),
        temperature: None,
        boost: Kilopascal(101.0),
        barometer: Kilopascal(101.0),
        exhaust: None,
        turbo_speed: None,
        conversions: Conversions::all(now.0.to_le_bytes()[0]),
        bridge: BridgeLine::Quiet,
    }
}

/// Two threads, as an interrupt and a main loop: a host pulls stops and starts through the one while the other ticks.
#[test]
fn the_two_ends_run_at_once() {
    const ROUNDS: u32 = 2000;
    let mut bench = Bench::ready(Some(held(Setup::Free)));
    bench.load(duty(0.5));
    let start = ToBoard::StartMotion {
        start_at: Tick(u32::MAX / 4),
        setup: Setup::Free,
        warmth: Warmth::Cold,
        footing: Footing::Accepted,
    };
    let mut next = bench.sequence;
    let mut decoder = Decoder::new();
    let (mut link, mut control) = bench.session.split();
    let is_over = core::sync::atomic::AtomicBool::new(false);
    let (ended, last) = std::thread::scope(|scope| {
        let ticking = scope.spawn(|| {
            let mut tick = Tick(0);
            while !is_over.load(core::sync::atomic::Ordering::Acquire) {
                control.tick(&sample_at(&mut tick));
                control.attend();
            }
            control.own.activity.source()
        });
        let mut answered = 0u32;
        for _ in 0..ROUNDS {
            for message in [&start, &ToBoard::GetStatus, &ToBoard::Stop] {
                for byte in encode(TALK, next, message).unwrap() {
                    link.hear(byte);
                }
                next = next.wrapping_add(1);
                let mut bytes = [0; 600];
                let count = link.transmit(&mut bytes);
                let frames = bytes[..count].iter().filter_map(|byte| decoder.push(*byte));
                // Every frame is whole and known, whatever the moment it was cut out at.
                let told = frames.map(|frame| frame.unwrap().message::<ToHost>().unwrap());
                answered += told.filter(|m| matches!(m, ToHost::Reply { .. })).count() as u32;
            }
        }
        is_over.store(true, core::sync::atomic::Ordering::Release);
        (ticking.join().unwrap(), answered)
    });
    assert!(last > ROUNDS, "{last} answers");
    bench.session.split().1.attend();
    assert!(matches!(ended, Source::Released | Source::Motion));
    assert_eq!(bench.session.control.activity.source(), Source::Released, "the last word was a stop");
}
