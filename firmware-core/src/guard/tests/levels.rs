//! Each trip level and its forecast, worked by hand from the settings: trip = limit − lag margin − rate × reaction time.

use super::*;

/// Risen slowly enough that no rate is left.
const STANDING_TICKS: u16 = 400;

/// Whether this air, standing, trips, and by what.
fn trips(settings: GuardSettings, air: &Air) -> Option<GuardCause> {
    let mut bench = Bench::new();
    bench.settings = settings;
    (0..STANDING_TICKS).find_map(|_| {
        let event = bench.run(air, 1).event?;
        (event.to == GuardStage::Open).then_some(event.cause)
    })
}

fn boost(kpa: f32) -> Air {
    // A measured speed keeps the estimate out; the target is 180 kPa.
    Air { boost: Some(Kilopascal(kpa)), ..quiet() }
}

/// Settings, the air with so much of one reading, the level at which it trips, and why.
type Row<'a> = (&'a GuardSettings, &'a dyn Fn(f32) -> Air, f32, GuardCause);

#[test]
fn each_level_trips_at_its_limit_less_its_margin_and_not_a_thousandth_before() {
    let settings = GuardSettings::default();
    let limits = settings.limits;
    let mut alone = settings;
    alone.limits.boost_over_target = Kilopascal(300.0);
    let boost_trip = limits.boost.0 - limits.boost_lag_margin.0;
    let over_target = 180.0 + limits.boost_over_target.0;
    let speed = limits.turbo_speed.0 - limits.turbo_speed_lag_margin.0;
    let exhaust = limits.exhaust.0 - limits.exhaust_lag_margin.0;
    let with_speed = |rpm| Air { turbo_speed: Some(Rpm(rpm)), ..quiet() };
    let with_exhaust = |kpa| Air { exhaust: Some(Kilopascal(kpa)), ..quiet() };
    let rows: [Row<'_>; 4] = [
        (&alone, &boost, boost_trip, GuardCause::Boost),
        (&settings, &boost, over_target, GuardCause::BoostOverTarget),
        (&settings, &with_speed, speed, GuardCause::TurboSpeed),
        (&settings, &with_exhaust, exhaust, GuardCause::Exhaust),
    ];
    for (settings, air, level, cause) in rows {
        assert_eq!(trips(*settings, &air(level * 0.999)), None, "{cause:?}");
        assert_eq!(trips(*settings, &air(level * 1.001)), Some(cause), "{cause:?}");
    }
}

#[test]
fn thin_air_lowers_the_boost_that_trips() {
    let mut settings = GuardSettings::default();
    settings.limits.boost_over_target = Kilopascal(300.0);
    let limits = settings.limits;
    let level = limits.boost_ratio * 70.0 - limits.boost_lag_margin.0;
    assert!(level < limits.boost.0 - limits.boost_lag_margin.0);
    let high = |kpa| Air { barometer: Kilopascal(70.0), ..boost(kpa) };
    assert_eq!(trips(settings, &high(level * 0.999)), None);
    assert_eq!(trips(settings, &high(level * 1.001)), Some(GuardCause::Boost));
}

#[test]
fn speed_is_estimated_on_the_table_between_its_points() {
    let mut settings = GuardSettings::default();
    (settings.limits.boost, settings.limits.boost_ratio) = (Kilopascal(900.0), 8.0);
    settings.limits.boost_over_target = Kilopascal(300.0);
    let limits = settings.limits;
    let level = limits.turbo_speed.0 - limits.turbo_speed_lag_margin.0;
    // Between the fourth and the fifth point: 144 000 rpm at 2.0 and 187 000 rpm at 2.8.
    let ratio = 2.0 + (level - 144_000.0) / (187_000.0 - 144_000.0) * 0.8;
    let air = |share: f32| Air {
        boost: Some(Kilopascal(ratio * share * 101.3)),
        turbo_speed: None,
        exhaust: None,
        ..quiet()
    };
    assert_eq!(trips(settings, &air(0.999)), None);
    assert_eq!(trips(settings, &air(1.001)), Some(GuardCause::TurboSpeedEstimated));
}

#[test]
fn a_boost_sensor_at_its_top_trips_alone() {
    let air = Air { boost_saturated: true, ..quiet() };
    assert_eq!(trips(GuardSettings::default(), &air), Some(GuardCause::BoostSaturated));
}

/// A ramp is forecast by its rate over the reaction time; a steady rate is known after some of the filter's constants.
#[test]
fn a_rising_level_trips_early_by_its_rate_and_a_falling_one_not() {
    let settings = GuardSettings::default();
    let limits = settings.limits;
    let level = limits.exhaust.0 - limits.exhaust_lag_margin.0;
    let per_tick = 0.5;
    let lead = per_tick * f32::from(settings.stages.reaction_ticks);
    let mut bench = Bench::new();
    let mut kpa = level - 200.0;
    let tripped_at = loop {
        let air = Air { exhaust: Some(Kilopascal(kpa)), ..quiet() };
        if bench.run(&air, 1).event.is_some_and(|event| event.to == GuardStage::Open) {
            break kpa;
        }
        assert!(kpa < level + 100.0, "never tripped");
        kpa += per_tick;
    };
    // The debounce's ticks pass while it rises on.
    let expected = level - lead + per_tick * f32::from(settings.stages.debounce_ticks - 1);
    assert!((tripped_at - expected).abs() <= 1.5 * per_tick, "tripped at {tripped_at}, expected {expected}");

    let mut bench = Bench::new();
    for step in 0..200_u16 {
        let falling = Air { exhaust: Some(Kilopascal(level - 1.0 - 0.5 * f32::from(step))), ..quiet() };
        bench.run(&falling, 1);
        assert_ne!(bench.guard.stage(), GuardStage::Open, "step {step}");
    }
}

#[test]
fn falling_boost_is_no_excess_over_a_target_that_fell() {
    let over = 180.0 + GuardSettings::default().limits.boost_over_target.0 + 5.0;
    let mut bench = Bench::new();
    bench.run(&boost(over - 10.0), 100);
    for tick in 0..30_u16 {
        bench.run(&boost(over + 0.01 * f32::from(tick)), 1);
    }
    assert_eq!(bench.guard.stage(), GuardStage::Open);
    let mut bench = Bench::new();
    bench.settings.limits.boost_over_target = Kilopascal(300.0);
    bench.run(&boost(over + 10.0), 100);
    bench.run(&boost(over + 9.0), 3);
    bench.settings.limits.boost_over_target = GuardSettings::default().limits.boost_over_target;
    for tick in 0..30_u16 {
        bench.run(&boost(over + 9.0 - 0.1 * f32::from(tick)), 1);
    }
    assert_ne!(bench.guard.stage(), GuardStage::Open);
}

/// One jump of 60 kPa counts as a rate of 6 kPa a tick, which fades by a tenth each tick: five ticks later 3.9, so that
/// what stands 40 kPa below its level is forecast 7 kPa above it.
#[test]
fn a_jump_is_forecast_by_a_tenth_of_it() {
    let settings = GuardSettings::default();
    let level = settings.limits.exhaust.0 - settings.limits.exhaust_lag_margin.0;
    let at = |kpa| Air { exhaust: Some(Kilopascal(kpa)), ..quiet() };
    for (below, stage) in [(40.0, GuardStage::Open), (55.0, GuardStage::Ease)] {
        let mut bench = Bench::new();
        bench.run(&at(level - below - 60.0), 100);
        bench.run(&at(level - below), settings.stages.debounce_ticks);
        assert_eq!(bench.guard.stage(), stage, "{below} kPa below");
    }
}
