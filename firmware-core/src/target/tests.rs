//! The stage under its default law.

mod laws;
mod reversal;
mod trim;

use super::*;
use crate::sample::EngineDemand;
use crate::units::{Load, Rpm};
use proptest::prelude::*;

fn air(mode: Mode, speed: f32, load: f32, boost: f32) -> Air {
    let demand = EngineDemand {
        mode,
        boost_target: Kilopascal(180.0),
        engine_speed: Rpm(speed),
        load: Load::saturating(load, Load::MIN),
    };
    Air {
        boost: Some(Kilopascal(boost)),
        boost_floor: None,
        boost_saturated: false,
        barometer: Kilopascal(101.325),
        exhaust: None,
        turbo_speed: None,
        demand,
    }
}

fn opening(target: &mut TargetMemory, settings: &TargetSettings, air: &Air) -> f32 {
    target.tick(settings, air, air.demand.mode, 0.0, Opening::OPEN).opening.get()
}

proptest! {
    #[test]
    fn a_rising_map_gives_a_rising_opening(
        mut entries in prop::collection::vec(0.0f32..1.0, 36), speed in 500.0f32..4000.0, a in 0.0f32..=1.0, b in 0.0f32..=1.0,
    ) {
        let mut settings = TargetSettings::default();
        entries.sort_by(f32::total_cmp);
        for (place, entry) in settings.feed_forward.0.iter_mut().flatten().zip(entries) {
            *place = entry;
        }
        settings.minimum_opening.0 = Default::default();
        let (low, high) = if a < b { (a, b) } else { (b, a) };
        let mut target = TargetMemory::default();
        let at_low = opening(&mut target, &settings, &air(Mode::Idle, speed, low, 101.0));
        let at_high = opening(&mut target, &settings, &air(Mode::Idle, speed, high, 101.0));
        prop_assert!(at_high >= at_low - 1.0e-6, "{at_low} then {at_high}");
    }

    #[test]
    fn the_trim_keeps_its_authority_and_the_least_opening(
        boosts in prop::collection::vec(90.0f32..300.0, 1..200), speed in 800.0f32..3600.0, load in 0.0f32..=1.0,
    ) {
        let settings = TargetSettings::default();
        let mut target = TargetMemory::default();
        let place = MapPlace::find(&settings, &air(Mode::Boost, speed, load, 101.0), 0.0);
        for boost in boosts {
            let opening = opening(&mut target, &settings, &air(Mode::Boost, speed, load, boost));
            prop_assert!(opening >= place.minimum - 1.0e-6);
            prop_assert!((opening - place.feed_forward).abs() <= settings.trim.authority + 1.0e-6);
        }
    }
}

#[test]
fn boost_short_at_the_least_opening_does_not_wind_up() {
    let settings = TargetSettings::default();
    let mut target = TargetMemory::default();
    for _ in 0..60_000 {
        opening(&mut target, &settings, &air(Mode::Boost, 2000.0, 0.625, 120.0));
    }
    // A minute short; once boost arrives above its target the vanes leave the minimum within 0.1 s.
    let least = opening(&mut target, &settings, &air(Mode::Boost, 2000.0, 0.625, 120.0));
    let after = (0..100)
        .map(|_| opening(&mut target, &settings, &air(Mode::Boost, 2000.0, 0.625, 185.0)))
        .fold(0.0, f32::max);
    assert!(after > least + 0.02, "still at {after} from {least}");
}

#[test]
fn the_brake_opens_over_its_exhaust_pressure_and_speed() {
    let settings = TargetSettings::default();
    let mut target = TargetMemory::default();
    let mut braking = air(Mode::Brake, 2500.0, 0.0, 120.0);
    braking.exhaust = Some(Kilopascal(settings.modes.brake_exhaust.0 - 10.0));
    assert_eq!(opening(&mut target, &settings, &braking), settings.modes.brake_opening.get());
    braking.exhaust = Some(Kilopascal(settings.modes.brake_exhaust.0 + 50.0));
    assert!(opening(&mut target, &settings, &braking) > settings.modes.brake_opening.get() + 0.4);
    braking.demand.engine_speed = Rpm(settings.modes.brake_speed_max.0 + 1.0);
    assert_eq!(opening(&mut target, &settings, &braking), 1.0);
}

#[test]
fn a_brake_says_when_it_cannot_hold_what_it_should() {
    let settings = TargetSettings::default();
    let asked = settings.modes.brake_exhaust.0;
    for (exhaust, is_held) in [(Some(asked), true), (Some(asked - 20.0), false), (None, false)] {
        let mut braking = air(Mode::Brake, 2500.0, 0.0, 120.0);
        braking.exhaust = exhaust.map(Kilopascal);
        let wanted = TargetMemory::default().tick(&settings, &braking, Mode::Brake, 0.0, Opening::OPEN);
        assert_eq!(wanted.limits.contains(Limit::Brake), !is_held, "{exhaust:?}");
    }
}

#[test]
fn exhaust_pressure_over_its_soft_limit_raises_the_least_opening() {
    let mut settings = TargetSettings::default();
    settings.modes.pumping_soft = Kilopascal(2000.0);
    let short = |exhaust: f32| {
        let mut short = air(Mode::Boost, 2000.0, 0.625, 120.0);
        (short.exhaust, short.turbo_speed) = (Some(Kilopascal(exhaust)), Some(Rpm(100_000.0)));
        let mut target = TargetMemory::default();
        (0..2000).map(|_| opening(&mut target, &settings, &short)).fold(1.0, f32::min)
    };
    let soft = settings.modes.exhaust_soft.0;
    assert_eq!(short(soft), short(200.0));
    let raised = short(soft + 30.0) - short(200.0);
    assert!((raised - 30.0 * settings.modes.exhaust_soft_per_kpa).abs() < 1.0e-6, "{raised}");
}

#[test]
fn exhaust_pressure_too_far_over_boost_raises_the_least_opening() {
    let settings = TargetSettings::default();
    let least = |boost: f32, exhaust: f32| {
        let mut short = air(Mode::Boost, 2000.0, 0.625, boost);
        (short.exhaust, short.turbo_speed) = (Some(Kilopascal(exhaust)), Some(Rpm(100_000.0)));
        let mut target = TargetMemory::default();
        (0..2000).map(|_| opening(&mut target, &settings, &short)).fold(1.0, f32::min)
    };
    let (boost, pumping) = (120.0, settings.modes.pumping_soft.0);
    assert!(boost + pumping + 30.0 < settings.modes.exhaust_soft.0);
    assert_eq!(least(boost, boost + pumping), least(boost, 150.0));
    let raised = least(boost, boost + pumping + 30.0) - least(boost, 150.0);
    assert!((raised - 30.0 * settings.modes.exhaust_soft_per_kpa).abs() < 1.0e-6, "{raised}");
}

#[test]
fn the_trim_closes_less_far_while_no_turbo_speed_is_seen() {
    let settings = TargetSettings::default();
    let least = |turbo_speed: Option<Rpm>| {
        let mut short = air(Mode::Boost, 2000.0, 0.625, 120.0);
        short.turbo_speed = turbo_speed;
        let mut target = TargetMemory::default();
        (0..2000).map(|_| opening(&mut target, &settings, &short)).fold(1.0, f32::min)
    };
    let forward = settings.feed_forward.0[3][3];
    assert!((least(None) - (forward - settings.trim.unseen_authority)).abs() < 1.0e-6);
    assert!(least(Some(Rpm(100_000.0))) < least(None));
}

#[test]
fn doubt_raises_the_brakes_opening() {
    let settings = TargetSettings::default();
    let braking = air(Mode::Brake, 2500.0, 0.0, 120.0);
    let at = |raise| {
        TargetMemory::default().tick(&settings, &braking, Mode::Brake, raise, Opening::OPEN).opening.get()
    };
    assert!((at(0.05) - at(0.0) - 0.05).abs() < 1.0e-6, "{}", at(0.05));
}

#[test]
fn target_and_boost_are_shaped_at_their_rates() {
    let settings = TargetSettings::default();
    let mut target = TargetMemory::default();
    let wanted = |target: &mut TargetMemory, boost: f32| {
        target
            .tick(&settings, &air(Mode::Boost, 2000.0, 0.6, boost), Mode::Boost, 0.0, Opening::OPEN)
            .boost_target
            .unwrap()
            .0
    };
    let step = settings.modes.boost_target_rate_kpa_per_s * TICK_SECONDS;
    for ticks in 1..5_u8 {
        let shaped = wanted(&mut target, 120.0);
        assert!((shaped - 120.0 - f32::from(ticks) * step).abs() < 1.0e-3, "{shaped} after {ticks}");
    }
    wanted(&mut target, 150.0);
    let quiet = 120.0 + 30.0 * TICK_SECONDS / (settings.trim.filter_s + TICK_SECONDS);
    assert!((target.quiet_boost - quiet).abs() < 1.0e-3, "{} for {quiet}", target.quiet_boost);
}

#[test]
fn the_reversal_is_searched_only_at_the_least_opening_and_forgotten_afterwards() {
    let settings = TargetSettings::default();
    let raised = |turbo_speed: Option<Rpm>| {
        let mut short = air(Mode::Boost, 2000.0, 0.625, 120.0);
        short.turbo_speed = turbo_speed;
        let mut target = TargetMemory::default();
        for _ in 0..2000 {
            opening(&mut target, &settings, &short);
        }
        target
    };
    // Without a turbo speed the trim's authority ends first.
    assert_eq!(raised(None).reversal.raise(), 0.0);
    let mut target = raised(Some(Rpm(100_000.0)));
    assert!(target.reversal.raise() > 0.0);
    opening(&mut target, &settings, &air(Mode::Idle, 2000.0, 0.0, 120.0));
    opening(&mut target, &settings, &air(Mode::Boost, 2000.0, 0.625, 120.0));
    assert_eq!(target.reversal.raise(), 0.0);
}

#[test]
fn what_the_search_raises_is_added_to_the_least_opening() {
    let settings = TargetSettings::default();
    let mut short = air(Mode::Boost, 2000.0, 0.625, 120.0);
    short.turbo_speed = Some(Rpm(100_000.0));
    let mut target = TargetMemory::default();
    let least = (0..450).map(|_| opening(&mut target, &settings, &short)).fold(1.0, f32::min);
    assert_eq!(target.reversal.raise(), 0.0);
    for _ in 0..1000 {
        let raise = target.reversal.raise();
        let raised = opening(&mut target, &settings, &short) - least;
        assert!((raised - raise).abs() < 1.0e-6, "{raised}, raise {raise}");
    }
    assert!(target.reversal.raise() > 0.02);
}
