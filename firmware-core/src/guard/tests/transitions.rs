//! When each stage is entered and left, to the tick, and what it asks for: counted by hand from the settings.

use super::*;

/// A level that margins have eaten up is passed by anything, at any rate: trips without a forecast.
fn passed(bench: &mut Bench) {
    bench.settings.limits.exhaust_lag_margin = bench.settings.limits.exhaust;
}

fn kept(bench: &mut Bench) {
    bench.settings.limits.exhaust_lag_margin = GuardSettings::default().limits.exhaust_lag_margin;
}

/// Exhaust pressure this far below its trip level, as a share of it.
fn exhaust_below(share: f32) -> Air {
    let limits = GuardSettings::default().limits;
    Air {
        exhaust: Some(Kilopascal((limits.exhaust.0 - limits.exhaust_lag_margin.0) * (1.0 - share))),
        ..quiet()
    }
}

/// Nothing happens for all of these ticks but the last, which changes the stage.
fn changes_at(bench: &mut Bench, air: &Air, ticks: u16) -> (GuardStage, GuardCause) {
    for tick in 1..ticks {
        let event = bench.run(air, 1).event;
        assert_eq!(event, None, "in tick {tick} of {ticks}");
    }
    let event = bench.run(air, 1).event.expect("a change of stage in the last tick");
    assert_eq!(event.to, bench.guard.stage());
    (event.to, event.cause)
}

/// Opened by exhaust pressure, which is kept again.
fn opened() -> Bench {
    let mut bench = Bench::new();
    passed(&mut bench);
    bench.run_until(&quiet(), GuardStage::Open);
    kept(&mut bench);
    bench
}

/// Opened and held so for too long.
fn latched() -> Bench {
    let mut bench = opened();
    passed(&mut bench);
    bench.run_until(&quiet(), GuardStage::Latched);
    kept(&mut bench);
    bench
}

#[test]
fn a_level_counts_once_it_is_passed_for_the_debounce_and_not_with_a_gap() {
    let mut bench = Bench::new();
    let debounce = bench.settings.stages.debounce_ticks;
    passed(&mut bench);
    bench.run(&quiet(), debounce - 1);
    kept(&mut bench);
    bench.run(&quiet(), 1);
    passed(&mut bench);
    assert_eq!(changes_at(&mut bench, &quiet(), debounce), (GuardStage::Open, GuardCause::Exhaust));
}

#[test]
fn near_a_level_the_guard_eases_after_the_debounce_and_lets_go_below_the_hysteresis() {
    let stages = GuardSettings::default().stages;
    let near = exhaust_below(stages.ease_band - 0.01);
    let between = exhaust_below(stages.ease_band + stages.hysteresis / 2.0);
    let mut bench = Bench::new();
    // Risen slowly before: a rate would bring it nearer.
    bench.run(&between, 200);
    assert_eq!(bench.guard.stage(), GuardStage::Normal);
    bench.run_until(&near, GuardStage::Ease);
    bench.run(&between, 2 * stages.release_ticks);
    assert_eq!(bench.guard.stage(), GuardStage::Ease, "between the levels what stands stays");
    let below = exhaust_below(stages.ease_band + stages.hysteresis + 0.01);
    assert_eq!(changes_at(&mut bench, &below, stages.release_ticks), (GuardStage::Normal, GuardCause::Calm));
}

#[test]
fn calm_leads_from_open_over_ease_to_normal_and_any_unrest_starts_it_anew() {
    let mut bench = opened();
    let release = bench.settings.stages.release_ticks;
    bench.run(&quiet(), release - 1);
    passed(&mut bench);
    bench.run(&quiet(), bench.settings.stages.debounce_ticks);
    kept(&mut bench);
    assert_eq!(bench.guard.stage(), GuardStage::Open);
    let mut bench = opened();
    assert_eq!(changes_at(&mut bench, &quiet(), release), (GuardStage::Ease, GuardCause::Calm));
    assert_eq!(changes_at(&mut bench, &quiet(), release), (GuardStage::Normal, GuardCause::Calm));
}

#[test]
fn held_open_too_long_the_guard_latches() {
    let mut bench = opened();
    passed(&mut bench);
    let latch = bench.settings.stages.latch_ticks;
    assert_eq!(changes_at(&mut bench, &quiet(), latch), (GuardStage::Latched, GuardCause::TooLong));
    kept(&mut bench);
    bench.run(&quiet(), 20_000);
    assert_eq!(bench.guard.stage(), GuardStage::Latched);
}

#[test]
fn tripped_too_often_the_guard_latches_and_a_person_starts_the_count_anew() {
    for cleared in [false, true] {
        let mut bench = Bench::new();
        for trip in 1..=bench.settings.stages.latch_trips {
            let is_last = trip == bench.settings.stages.latch_trips;
            if is_last && cleared {
                bench.guard.clear_latch();
            }
            passed(&mut bench);
            let ticks = bench.settings.stages.debounce_ticks;
            let expected = if is_last && !cleared {
                (GuardStage::Latched, GuardCause::TooOften)
            } else {
                (GuardStage::Open, GuardCause::Exhaust)
            };
            assert_eq!(changes_at(&mut bench, &quiet(), ticks), expected, "trip {trip}, cleared: {cleared}");
            kept(&mut bench);
            bench.run(&quiet(), 2 * bench.settings.stages.release_ticks);
        }
    }
}

#[test]
fn what_trips_while_the_vanes_are_forced_open_must_be_seen_too() {
    let mut bench = Bench::new();
    bench.run_until(&over_boost(), GuardStage::Open);
    let both = Air { exhaust: Some(Kilopascal(600.0)), ..quiet() };
    bench.run(&both, 50);
    bench.run(&Air { exhaust: None, ..quiet() }, 5000);
    assert_eq!(bench.guard.stage(), GuardStage::Latched);
}

#[test]
fn a_trip_that_forced_nothing_open_need_not_be_seen() {
    let mut bench = opened();
    bench.run(&Air { boost: None, boost_floor: None, ..quiet() }, bench.settings.stages.release_ticks);
    assert_eq!(bench.guard.stage(), GuardStage::Ease);
}

#[test]
fn vanes_that_do_not_open_in_time_are_told_from_each_stage_that_commands_it() {
    let stages = GuardSettings::default().stages;
    let mut bench = opened();
    bench.measured = Some(Opening::CLOSED);
    passed(&mut bench);
    let blocked = (GuardStage::CannotOpen, GuardCause::NoTravel);
    assert_eq!(changes_at(&mut bench, &quiet(), stages.open_travel_ticks), blocked);

    let mut bench = latched();
    bench.measured = Some(Opening::CLOSED);
    assert_eq!(changes_at(&mut bench, &quiet(), stages.open_travel_ticks), blocked);
    bench.measured = Some(Opening::OPEN);
    assert_eq!(changes_at(&mut bench, &quiet(), 1), (GuardStage::Latched, GuardCause::Travelled));
}

#[test]
fn travel_counts_from_the_least_opening_since_the_command_and_up_to_the_reach() {
    let stages = GuardSettings::default().stages;
    let at = |opening: f32| Some(Opening::saturating(opening, Opening::CLOSED));
    for (moves_to, is_told) in
        [(0.5 - 0.9 * stages.open_travel, true), (0.5 + 1.1 * stages.open_travel, false)]
    {
        let mut bench = opened();
        bench.measured = at(0.5);
        bench.run(&quiet(), stages.open_travel_ticks - 10);
        bench.measured = at(moves_to);
        bench.run(&quiet(), 20);
        assert_eq!(bench.guard.stage() == GuardStage::CannotOpen, is_told, "from 0.5 to {moves_to}");
    }
    // Within the stated travel of fully open there is no travel to wait for.
    let mut bench = opened();
    bench.measured = at(1.0 - 0.9 * stages.open_travel);
    bench.run(&quiet(), 2 * stages.open_travel_ticks);
    assert_ne!(bench.guard.stage(), GuardStage::CannotOpen);
}

#[test]
fn vanes_are_pressed_open_once_they_report_open_and_a_level_is_still_passed() {
    let stages = GuardSettings::default().stages;
    let mut bench = opened();
    passed(&mut bench);
    let pressed = (1..=stages.open_travel_ticks).map(|_| bench.run(&quiet(), 1).is_pressed);
    let first = pressed.into_iter().position(|is_pressed| is_pressed);
    assert_eq!(first, Some(usize::from(stages.open_travel_ticks) - 1));
    kept(&mut bench);
    assert!(!bench.run(&quiet(), 1).is_pressed, "no level is passed");

    let mut bench = latched();
    bench.run(&quiet(), stages.open_travel_ticks);
    assert!(!bench.run(&quiet(), 1).is_pressed);
    passed(&mut bench);
    assert!(bench.run(&quiet(), stages.debounce_ticks).is_pressed);
}

#[test]
fn boost_is_short_after_its_time_to_the_tick_and_a_moment_without_starts_it_anew() {
    let short = Air { boost: Some(Kilopascal(149.0)), ..quiet() };
    let stages = GuardSettings::default().stages;
    let mut bench = Bench::new();
    bench.is_at_minimum = true;
    bench.run(&short, stages.short_ticks - 1);
    bench.run(&quiet(), 1);
    let expected = (GuardStage::BoostShort, GuardCause::Short);
    assert_eq!(changes_at(&mut bench, &short, stages.short_ticks), expected);
    // Just the stated shortness is none.
    let mut bench = Bench::new();
    bench.is_at_minimum = true;
    bench.run(&Air { boost: Some(Kilopascal(180.0 - stages.short_by.0)), ..quiet() }, 2 * stages.short_ticks);
    assert_eq!(bench.guard.stage(), GuardStage::Normal);
}

#[test]
fn each_stage_asks_for_its_fuel_its_opening_and_its_faults() {
    let stages = GuardSettings::default().stages;
    let mut bench = Bench::new();
    let calm = bench.run(&quiet(), 10);
    assert_eq!((calm.fuel, calm.opening, calm.faults), (FuelRequest::Free, Opening::CLOSED, FaultSet::NONE));
    let blind = bench.run(&Air { boost: None, ..quiet() }, 10);
    assert_eq!(blind.fuel, FuelRequest::LimitTo(stages.smoke_limit));

    let mut bench = Bench::new();
    bench.run_until(&exhaust_below(0.01), GuardStage::Ease);
    assert_eq!(bench.run(&exhaust_below(0.01), 1).fuel, FuelRequest::LimitTo(stages.smoke_limit));

    let mut bench = opened();
    let open = bench.run(&quiet(), 1);
    assert_eq!((open.fuel, open.opening), (FuelRequest::Cut, Opening::OPEN));
    assert_eq!(bench.guard.standing_fuel(&stages), FuelRequest::Cut);

    let mut bench = latched();
    let after = bench.run(&quiet(), 1);
    assert_eq!((after.fuel, after.opening), (FuelRequest::LimitTo(stages.derate), Opening::OPEN));
    passed(&mut bench);
    let over = bench.run(&quiet(), stages.debounce_ticks);
    assert_eq!(over.fuel, FuelRequest::Cut, "a level that is passed cuts in every stage");
    assert!(over.faults.contains(Fault::ExhaustOverPressure));

    let mut bench = Bench::new();
    bench.is_at_minimum = true;
    let low = Air { boost: Some(Kilopascal(120.0)), ..quiet() };
    bench.run_until(&low, GuardStage::BoostShort);
    let short = bench.run(&low, 1);
    assert_eq!((short.fuel, short.opening), (FuelRequest::LimitTo(stages.derate), stages.short_opening));
    assert!(short.faults.contains(Fault::BoostShort) && !short.faults.contains(Fault::CannotOpen));
}

#[test]
fn a_person_clears_what_latched_and_nothing_else() {
    assert_eq!(Bench::new().guard.clear_latch(), None);
    assert_eq!(opened().guard.clear_latch(), None);
    let cleared = latched().guard.clear_latch();
    let event = GuardEvent { from: GuardStage::Latched, to: GuardStage::Normal, cause: GuardCause::Cleared };
    assert_eq!(cleared, Some(event));
}

#[test]
fn clearing_forgets_travel_that_did_not_come() {
    let stages = GuardSettings::default().stages;
    let mut bench = latched();
    bench.measured = Some(Opening::CLOSED);
    bench.run_until(&quiet(), GuardStage::CannotOpen);
    assert!(bench.guard.clear_latch().is_some());
    passed(&mut bench);
    bench.run_until(&quiet(), GuardStage::Open);
    let blocked = (GuardStage::CannotOpen, GuardCause::NoTravel);
    assert_eq!(changes_at(&mut bench, &quiet(), stages.open_travel_ticks), blocked);
}

#[test]
fn easing_adds_its_rate_to_where_the_vanes_are_and_takes_it_back() {
    let stages = GuardSettings::default().stages;
    let step = stages.ease_rate_per_s * TICK_SECONDS;
    let near = exhaust_below(0.01);
    let mut bench = Bench::new();
    bench.measured = Some(Opening::saturating(0.4, Opening::CLOSED));
    bench.run_until(&near, GuardStage::Ease);
    // The tick of the change has taken the first step.
    let opened = bench.run(&near, 99).opening.get();
    assert!((opened - (0.4 + 100.0 * step)).abs() < 1e-5, "{opened}");
    let closed = bench.run(&quiet(), 50).opening.get();
    // A falling pressure is out of the band at once: each of the ticks goes back.
    assert!((closed - (0.4 + 50.0 * step)).abs() < 1e-5, "{closed}");
    let full = bench.run(&near, 5000).opening;
    assert_eq!(full, Opening::OPEN);
}

#[test]
fn each_stage_and_each_cause_has_a_name_of_its_own() {
    use GuardCause::*;
    let causes = [
        Boost,
        BoostOverTarget,
        BoostSaturated,
        TurboSpeed,
        TurboSpeedEstimated,
        Exhaust,
        Short,
        NoTravel,
        Travelled,
        TooLong,
        TooOften,
        Calm,
        Cleared,
    ];
    let stages = [
        GuardStage::Normal,
        GuardStage::Ease,
        GuardStage::BoostShort,
        GuardStage::Open,
        GuardStage::CannotOpen,
        GuardStage::Latched,
    ];
    let all = || causes.into_iter().map(GuardCause::name).chain(stages.into_iter().map(GuardStage::name));
    for (at, name) in all().enumerate() {
        assert!(name.len() > 3, "{name}");
        assert_eq!(all().position(|other| other == name), Some(at), "{name} twice");
    }
}
