use super::*;
use crate::sample::testing::{any_sample, engine, fresh, sample};
use crate::sample::{Conversions, Mode};
use crate::units::{Kilopascal, Rpm};
use proptest::prelude::*;

mod ranges;

fn judge(plausibility: &mut Plausibility, sample: &Sample) -> Vetted {
    let request = engine(Mode::Boost, 180.0, 2000.0, 0.6);
    plausibility.tick(&Settings::default(), &fresh(sample), &request, LoopState::OnTarget)
}

fn finite(value: Option<f32>) -> bool {
    value.is_none_or(f32::is_finite)
}

proptest! {
    #[test]
    fn nothing_that_is_not_a_number_passes(samples in prop::collection::vec(any_sample(), 1..60)) {
        let mut plausibility = Plausibility::default();
        for sample in samples {
            let vetted = judge(&mut plausibility, &sample);
            let air = vetted.air.unwrap();
            prop_assert!(vetted.supply.is_finite() && air.barometer.is_finite());
            prop_assert!(vetted.supply.0 > 0.0 && air.barometer.0 > 0.0, "divisors: {:?}", vetted);
            prop_assert!(finite(vetted.motor_current.map(|v| v.0)));
            prop_assert!(finite(air.boost.map(|v| v.0)) && finite(air.exhaust.map(|v| v.0)));
            prop_assert!(finite(air.turbo_speed.map(|v| v.0)));
            prop_assert!(air.demand.engine_speed.is_finite() && air.demand.boost_target.is_finite());
        }
    }
}

#[test]
fn a_single_wild_reading_is_bridged_and_no_fault() {
    let mut plausibility = Plausibility::default();
    for tick in 0..100 {
        let mut reading = sample(tick, 8000);
        reading.boost = Kilopascal(if tick == 50 { 300.0 } else { 150.0 });
        let vetted = judge(&mut plausibility, &reading);
        assert_eq!(vetted.air.unwrap().boost, Some(Kilopascal(150.0)), "tick {tick}");
        assert!(vetted.faults.is_empty(), "tick {tick}: {:?}", vetted.faults);
    }
}

#[test]
fn a_broken_wire_is_a_fault_after_the_debounce_and_heals_after_the_healing_time() {
    let limits = Settings::default().plausibility;
    let mut plausibility = Plausibility::default();
    judge(&mut plausibility, &sample(0, 8000));
    let mut broken = sample(0, 8000);
    broken.boost = Kilopascal(f32::NAN);
    for tick in 1..=limits.debounce_ticks {
        let is_fault = judge(&mut plausibility, &broken).faults.contains(Fault::BoostRange);
        assert_eq!(is_fault, tick == limits.debounce_ticks, "tick {tick}");
    }
    for tick in 1..=limits.heal_ticks {
        let is_fault = judge(&mut plausibility, &sample(0, 8000)).faults.contains(Fault::BoostRange);
        assert_eq!(is_fault, tick < limits.heal_ticks, "tick {tick}");
    }
}

#[test]
fn boost_that_does_not_follow_load_is_stuck() {
    let limits = Settings::default().plausibility;
    let mut plausibility = Plausibility::default();
    let mut stuck_at = None;
    for tick in 0..6000u32 {
        let load = if tick < 1000 { 0.1 } else { 0.9 };
        let request = engine(Mode::Boost, 180.0, 2000.0, load);
        let mut reading = sample(tick, 8000);
        // Noise, so that it does not count as frozen.
        reading.boost = Kilopascal(150.0 + 0.1 * (tick % 2) as f32);
        let vetted = plausibility.tick(&Settings::default(), &reading, &request, LoopState::OnTarget);
        if vetted.faults.contains(Fault::BoostStuck) {
            assert_eq!(vetted.air.unwrap().boost, None);
            stuck_at = stuck_at.or(Some(tick));
        }
    }
    assert_eq!(stuck_at, Some(999 + u32::from(limits.boost_stuck_ticks)));
}

#[test]
fn a_frozen_position_is_lost_while_the_vanes_are_under_way() {
    let limits = Settings::default().plausibility;
    let mut plausibility = Plausibility::default();
    let request = engine(Mode::Boost, 180.0, 2000.0, 0.6);
    let mut tick_once =
        |errand| plausibility.tick(&Settings::default(), &fresh(&sample(0, 8000)), &request, errand).position;
    for _ in 0..10 * limits.position_frozen_ticks {
        assert!(tick_once(LoopState::OnTarget).is_some(), "a resting vane may stand still");
    }
    for _ in 1..limits.position_frozen_ticks {
        assert!(tick_once(LoopState::UnderWay).is_some());
    }
    assert_eq!(tick_once(LoopState::UnderWay), None);
}

#[test]
fn a_speed_sensor_that_reads_nothing_under_boost_is_at_fault() {
    let limits = Settings::default().plausibility;
    let mut plausibility = Plausibility::default();
    let mut reading = sample(0, 8000);
    reading.boost = Kilopascal(200.0);
    reading.turbo_speed = Some(Rpm(0.0));
    let mut vetted = judge(&mut plausibility, &reading);
    for _ in 0..limits.debounce_ticks {
        vetted = judge(&mut plausibility, &reading);
    }
    assert!(vetted.faults.contains(Fault::TurboSpeedRange));
    assert_eq!(vetted.air.unwrap().turbo_speed, None);
}

#[test]
fn a_turbo_at_rest_without_boost_is_sound() {
    let mut plausibility = Plausibility::default();
    let mut reading = sample(0, 8000);
    reading.turbo_speed = Some(Rpm(0.0));
    for _ in 0..1000 {
        assert_eq!(judge(&mut plausibility, &reading).air.unwrap().turbo_speed, Some(Rpm(0.0)));
    }
}

#[test]
fn a_speed_that_jumps_further_than_a_rotor_can_is_at_fault() {
    let limits = Settings::default().plausibility;
    let mut plausibility = Plausibility::default();
    let mut reading = sample(0, 8000);
    reading.turbo_speed = Some(Rpm(100_000.0));
    judge(&mut plausibility, &reading);
    reading.turbo_speed = Some(Rpm(40_000.0));
    let last = (0..limits.debounce_ticks).map(|_| judge(&mut plausibility, &reading)).last().unwrap();
    assert!(last.faults.contains(Fault::TurboSpeedRange));
}

#[test]
fn a_position_that_changes_now_and_then_is_no_longer_frozen_after_the_healing_time() {
    let limits = Settings::default().plausibility;
    let mut plausibility = Plausibility::default();
    let request = engine(Mode::Boost, 180.0, 2000.0, 0.6);
    let mut tick_once = |position, errand| {
        plausibility.tick(&Settings::default(), &fresh(&sample(0, position)), &request, errand)
    };
    for _ in 0..=limits.position_frozen_ticks {
        tick_once(8000, LoopState::UnderWay);
    }
    // Blind, the loop is on no errand. A count of noise every twentieth tick shows a living sensor.
    let healed = (0..2 * limits.heal_ticks)
        .position(|tick| tick_once(8001 + (tick / 20 % 2) as i16, LoopState::OnTarget).position.is_some());
    assert_eq!(healed, Some(usize::from(limits.heal_ticks) - 1));
}

#[test]
fn a_frozen_position_at_rest_does_not_heal() {
    let limits = Settings::default().plausibility;
    let mut plausibility = Plausibility::default();
    let request = engine(Mode::Boost, 180.0, 2000.0, 0.6);
    let mut tick_once =
        |errand| plausibility.tick(&Settings::default(), &fresh(&sample(0, 8000)), &request, errand).position;
    for _ in 0..=limits.position_frozen_ticks {
        tick_once(LoopState::UnderWay);
    }
    assert!((0..4 * limits.heal_ticks).all(|_| tick_once(LoopState::OnTarget).is_none()));
}

/// Which readings are gone after so many ticks in which the groups count on by `step`.
fn gone_after(ticks: u8, step: Conversions) -> [bool; 4] {
    let mut plausibility = Plausibility::default();
    let request = engine(Mode::Boost, 180.0, 2000.0, 0.6);
    let mut reading = sample(0, 8000);
    reading.supply = Volt(13.0);
    let mut vetted = judge(&mut plausibility, &reading);
    reading.conversions = Conversions::default();
    plausibility.freshness = Freshness::default();
    for _ in 0..ticks {
        let (count, by) = (&mut reading.conversions, &step);
        count.position = count.position.wrapping_add(by.position);
        count.current = count.current.wrapping_add(by.current);
        count.supply = count.supply.wrapping_add(by.supply);
        count.engine = count.engine.wrapping_add(by.engine);
        vetted = plausibility.tick(&Settings::default(), &reading, &request, LoopState::OnTarget);
    }
    let gone = [
        vetted.position.is_none(),
        vetted.motor_current.is_none(),
        vetted.supply != reading.supply,
        vetted.air.unwrap().boost.is_none(),
    ];
    assert_eq!(vetted.faults.contains(Fault::ConverterFrozen), gone.contains(&true), "{gone:?}");
    gone
}

#[test]
fn the_readings_of_a_group_that_counts_no_more_are_gone_and_no_others() {
    let on = Conversions::all(1);
    let stopped = [
        Conversions { position: 0, ..on },
        Conversions { current: 0, ..on },
        Conversions { supply: 0, ..on },
        Conversions { engine: 0, ..on },
    ];
    for (group, step) in stopped.into_iter().enumerate() {
        assert_eq!(gone_after(FROZEN_TICKS - 1, step), [false; 4], "group {group}");
        let expected = core::array::from_fn(|at| at == group);
        assert_eq!(gone_after(FROZEN_TICKS, step), expected);
        assert_eq!(gone_after(250, step), expected, "and stay gone");
    }
    assert_eq!(gone_after(250, Conversions::all(255)), [false; 4]);
}

/// Boost that repeats itself for `ticks` while load and vanes do what is asked; true once it is called stuck.
fn is_called_stuck(mode: Mode, ticks: u32, load_at: fn(u32) -> f32, position_at: fn(u32) -> i16) -> bool {
    let mut plausibility = Plausibility::default();
    (0..ticks).any(|tick| {
        let request = engine(mode, 180.0, 2000.0, load_at(tick));
        let reading = fresh(&sample(tick, position_at(tick)));
        let vetted = plausibility.tick(&Settings::default(), &reading, &request, LoopState::OnTarget);
        vetted.faults.contains(Fault::BoostStuck)
    })
}

#[test]
fn boost_that_repeats_itself_while_the_vanes_or_the_load_move_is_frozen() {
    let ticks = u32::from(Settings::default().plausibility.boost_frozen_ticks) + 60;
    assert!(is_called_stuck(Mode::Boost, ticks, |_| 0.6, |tick| if tick < 50 { 8000 } else { 7400 }));
    assert!(is_called_stuck(Mode::Boost, ticks, |tick| if tick < 50 { 0.5 } else { 0.7 }, |_| 8000));
}

#[test]
fn boost_that_repeats_itself_where_nothing_moves_it_is_sound() {
    let minute = 60_000;
    assert!(!is_called_stuck(Mode::Boost, minute, |_| 0.6, |_| 8000), "a steady engine");
    let wandering = |tick: u32| 4000 + (tick / 100 % 6000) as i16;
    assert!(!is_called_stuck(Mode::Idle, minute, |tick| (tick / 1000 % 2) as f32 * 0.3, wandering), "idle");
    assert!(!is_called_stuck(Mode::Boost, minute, |_| 0.1, wandering), "hardly any load");
}

#[test]
fn a_frozen_boost_is_believed_again_once_it_moves() {
    let limits = Settings::default().plausibility;
    let mut plausibility = Plausibility::default();
    let request = engine(Mode::Boost, 180.0, 2000.0, 0.6);
    let mut boost_at = |tick: u32, position: i16, boost: f32| {
        let mut reading = sample(tick, position);
        reading.boost = Kilopascal(boost);
        let reading = fresh(&reading);
        plausibility.tick(&Settings::default(), &reading, &request, LoopState::OnTarget).air.unwrap().boost
    };
    boost_at(0, 8000, 150.0);
    for tick in 1..=u32::from(limits.boost_frozen_ticks) {
        boost_at(tick, 7000, 150.0);
    }
    assert_eq!(boost_at(200, 7000, 150.0), None);
    let wobble = |tick: u16| 150.0 + f32::from(tick % 2);
    for tick in 1..limits.heal_ticks {
        assert_eq!(boost_at(200 + u32::from(tick), 7000, wobble(tick)), None, "after {tick} ticks");
    }
    assert!(boost_at(1000, 7000, wobble(limits.heal_ticks)).is_some());
}

#[test]
fn boost_far_below_exhaust_pressure_is_not_believed_without_a_turbo_speed() {
    let limits = Settings::default().plausibility;
    for (speed, ratio, believed) in
        [(None, 1.05, false), (None, 0.95, true), (Some(Rpm(100_000.0)), 1.05, true)]
    {
        let mut plausibility = Plausibility::default();
        let mut reading = sample(0, 8000);
        (reading.boost, reading.turbo_speed) = (Kilopascal(200.0), speed);
        reading.exhaust = Some(Kilopascal(reading.boost.0 * limits.exhaust_over_boost * ratio));
        let vetted = (0..limits.heal_ticks).map(|_| judge(&mut plausibility, &reading)).last().unwrap();
        assert_eq!(vetted.faults.contains(Fault::BoostExhaustMismatch), !believed, "{speed:?} {ratio}");
        let air = vetted.air.unwrap();
        assert_eq!(air.boost.is_some(), believed);
        assert_eq!(air.boost_floor, (!believed).then_some(reading.boost));
        // Vanes held open bring the pressures together; that mends no sensor.
        reading.exhaust = Some(reading.boost);
        let later = (0..3 * limits.heal_ticks).map(|_| judge(&mut plausibility, &reading)).last().unwrap();
        assert_eq!(later.air.unwrap().boost.is_some(), believed);
    }
}
