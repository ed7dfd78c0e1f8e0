//! What a board says of itself: its converter's counts, and the bridge's fault line.

use super::*;
use crate::faults::FaultSet;
use crate::link::state::Arming;
use crate::plausibility::FROZEN_TICKS;

/// A board whose drive is in use in this way.
fn in_use(source: Source) -> Bench {
    let mut bench = match source {
        Source::Engine => Bench::ready(Some(held(Setup::OnEngine))),
        Source::Released | Source::Motion | Source::Learn | Source::Probe => {
            Bench::ready(Some(held(Setup::Free)))
        }
    };
    match source {
        Source::Released => {}
        Source::Engine => assert_eq!(bench.ask(&ToBoard::Engine(DEMAND)), Outcome::Done),
        Source::Learn => bench.start_learn(),
        Source::Motion => {
            bench.load(Goal::Opening(Opening::OPEN));
            assert_eq!(bench.start(Setup::Free), Outcome::Done);
        }
        Source::Probe => panic!("a probe asks for settings of its own"),
    }
    bench.ticks(50);
    assert_eq!(bench.session.control.activity.source(), source);
    assert!(bench.session.control.state.faults.common(FaultSet::FORBIDDING).is_empty());
    bench.hear();
    bench
}

fn released_by(told: &[ToHost]) -> Option<ReleaseReason> {
    told.iter().find_map(|message| match message {
        ToHost::Released { reason, .. } => Some(*reason),
        _ => None,
    })
}

fn refused_learn(told: &[ToHost]) -> Option<LearnRefusal> {
    told.iter().find_map(|message| match message {
        ToHost::Learn { event: LearnEvent::Outcome(LearnOutcome::Refused(why)), .. } => Some(*why),
        _ => None,
    })
}

/// Nothing is driven, and nothing can be armed while the fault is there.
fn assert_barred(bench: &mut Bench, fault: Fault) {
    assert_eq!(bench.ticks(20).duty, Duty::ZERO);
    assert_eq!(bench.status().arming, Arming::Disarmed);
    assert_eq!(bench.arm(), refused(Refusal::FaultPresent { faults: FaultSet::only(fault) }));
}

#[test]
fn a_bridge_fault_releases_whatever_drives_in_the_same_tick_and_says_so() {
    for source in [Source::Motion, Source::Engine, Source::Learn] {
        let mut bench = in_use(source);
        bench.bridge = BridgeLine::Fault;
        let output = bench.tick();
        assert_eq!(output.duty, Duty::ZERO, "{source:?}");
        assert!(output.faults.contains(Fault::BridgeFault), "{source:?}: {:?}", output.faults);
        let told = bench.hear();
        assert_eq!(released_by(&told), Some(ReleaseReason::BridgeFault), "{source:?}: {told:?}");
        let why = (source == Source::Learn).then_some(LearnRefusal::BridgeFault);
        assert_eq!(refused_learn(&told), why, "{told:?}");
        assert_barred(&mut bench, Fault::BridgeFault);
        bench.bridge = BridgeLine::Quiet;
        assert_eq!(bench.ticks(20).duty, Duty::ZERO, "a fault that goes away arms nothing");
        assert_eq!(bench.arm(), Outcome::Done);
    }
}

#[test]
fn a_bridge_fault_of_a_single_tick_is_enough() {
    let mut bench = in_use(Source::Motion);
    bench.bridge = BridgeLine::Fault;
    bench.tick();
    bench.bridge = BridgeLine::Quiet;
    assert_eq!(bench.ticks(20).duty, Duty::ZERO);
    assert_eq!(bench.status().arming, Arming::Disarmed);
}

/// The groups that a bench needs, each stopped alone.
fn stopped() -> [Conversions; 3] {
    let sound = Conversions::all(1);
    [
        Conversions { position: 0, ..sound },
        Conversions { current: 0, ..sound },
        Conversions { supply: 0, ..sound },
    ]
}

#[test]
fn a_group_that_stops_converting_lets_a_bench_go_after_the_stated_ticks() {
    for (source, converting) in
        [Source::Motion, Source::Learn].into_iter().flat_map(|source| stopped().map(|group| (source, group)))
    {
        let mut bench = in_use(source);
        bench.converting = converting;
        for tick in 1..FROZEN_TICKS {
            let output = bench.tick();
            assert!(!output.faults.contains(Fault::ConverterFrozen), "tick {tick}, {converting:?}");
        }
        let output = bench.tick();
        assert!(output.faults.contains(Fault::ConverterFrozen), "{converting:?}: {:?}", output.faults);
        assert_eq!(output.duty, Duty::ZERO, "{converting:?}");
        let told = bench.hear();
        assert_eq!(released_by(&told), Some(ReleaseReason::ConverterFrozen), "{converting:?}: {told:?}");
        let why = (source == Source::Learn).then_some(LearnRefusal::ConverterFrozen);
        assert_eq!(refused_learn(&told), why, "{told:?}");
        assert_barred(&mut bench, Fault::ConverterFrozen);
        bench.converting = Conversions::all(1);
        bench.tick();
        assert_eq!(bench.arm(), Outcome::Done);
    }
}

#[test]
fn an_engine_is_followed_on_without_the_readings_that_are_no_longer_converted() {
    let without_engine = Conversions { engine: 0, ..Conversions::all(1) };
    for converting in stopped().into_iter().chain([without_engine, Conversions::all(0)]) {
        let mut bench = in_use(Source::Engine);
        bench.converting = converting;
        let output = bench.ticks(u32::from(FROZEN_TICKS));
        assert!(output.faults.contains(Fault::ConverterFrozen), "{converting:?}: {:?}", output.faults);
        assert_eq!(bench.session.control.activity.source(), Source::Engine, "{converting:?}");
        let is_blind = converting.position == 0;
        assert_eq!(output.opening.is_none(), is_blind, "{converting:?}");
    }
}

#[test]
fn a_bench_needs_no_engine_sensors() {
    let mut bench = in_use(Source::Motion);
    bench.converting.engine = 0;
    let output = bench.ticks(100);
    assert!(!output.faults.contains(Fault::ConverterFrozen));
    assert_eq!(bench.session.control.activity.source(), Source::Motion);
}

/// The values of this bench stand still: the counts alone tell that they are fresh, whatever their step.
#[test]
fn readings_that_stand_still_and_are_converted_are_sound() {
    for step in [1, 3, 20, 255] {
        let mut bench = in_use(Source::Released);
        bench.converting = Conversions::all(step);
        for _ in 0..1000 {
            assert!(!bench.tick().faults.contains(Fault::ConverterFrozen), "step {step}");
        }
    }
}

/// A converter that misses all but one tick in five is slow, not frozen.
#[test]
fn a_conversion_now_and_then_is_enough() {
    let mut bench = in_use(Source::Motion);
    for tick in 0..200 {
        bench.converting = Conversions::all(u8::from(tick % u32::from(FROZEN_TICKS) == 0));
        assert!(!bench.tick().faults.contains(Fault::ConverterFrozen), "tick {tick}");
    }
}
