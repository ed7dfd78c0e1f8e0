//! What every built-in law must keep, one suite over all of them.

use super::*;
use crate::settings::LawName;

fn settings(law: LawName) -> TargetSettings {
    TargetSettings { law, ..TargetSettings::default() }
}

/// Boost control with a turbo speed sensor.
fn seen(speed: f32, load: f32, boost: f32) -> Air {
    Air { turbo_speed: Some(Rpm(100_000.0)), ..air(Mode::Boost, speed, load, boost) }
}

fn tick(target: &mut TargetMemory, settings: &TargetSettings, air: &Air, standing: f32) -> f32 {
    let standing = Opening::saturating(standing, Opening::OPEN);
    target.tick(settings, air, air.demand.mode, 0.0, standing).opening.get()
}

/// The opening after so many ticks, the last one standing.
fn run(target: &mut TargetMemory, settings: &TargetSettings, air: &Air, ticks: u32, from: f32) -> f32 {
    (0..ticks).fold(from, |standing, _| tick(target, settings, air, standing))
}

fn law() -> impl Strategy<Value = LawName> {
    prop::sample::select(&LawName::ALL[..])
}

/// More than a tick of the integral moves the opening, less than anybody sees.
const BUMP: f32 = 2.0e-3;
const SOUND_TARGET: f32 = 180.0;

proptest! {
    #[test]
    fn boost_control_comes_back_without_a_bump(
        law in law(), speed in 900.0f32..3500.0, load in 0.1f32..=1.0, boost in 120.0f32..220.0, ticks in 1u32..800,
    ) {
        let (settings, mut target) = (settings(law), TargetMemory::default());
        let trimmed = seen(speed, load, boost);
        let before = run(&mut target, &settings, &trimmed, ticks, 0.5);
        target.interrupt();
        let after = tick(&mut target, &settings, &trimmed, before);
        prop_assert!((after - before).abs() < BUMP, "{law:?}: {before} then {after}");
    }

    #[test]
    fn another_law_takes_over_without_a_bump(
        law in law(), speed in 900.0f32..3500.0, load in 0.1f32..=1.0, boost in 120.0f32..220.0, ticks in 1u32..800,
    ) {
        let (one, mut target) = (settings(law), TargetMemory::default());
        let trimmed = seen(speed, load, boost);
        let before = run(&mut target, &one, &trimmed, ticks, 0.5);
        target.interrupt();
        // The one that reaches every opening.
        let after = tick(&mut target, &settings(LawName::FixedGain), &trimmed, before);
        prop_assert!((after - before).abs() < BUMP, "{law:?}: {before} then {after}");
    }

    #[test]
    fn no_law_goes_below_the_least_opening(
        law in law(), boosts in prop::collection::vec(90.0f32..300.0, 1..200), speed in 800.0f32..3600.0,
        load in 0.0f32..=1.0, exhaust in 100.0f32..500.0,
    ) {
        let (settings, mut target) = (settings(law), TargetMemory::default());
        let point = MapPlace::find(&settings, &seen(speed, load, 101.0), 0.0);
        let mut standing = 0.0;
        for boost in boosts {
            let air = Air { exhaust: Some(Kilopascal(exhaust)), ..seen(speed, load, boost) };
            standing = tick(&mut target, &settings, &air, standing);
            let least = point.minimum + over_soft(&settings.modes, &air, target.quiet_boost);
            prop_assert!(standing >= smaller(least, 1.0) - 1.0e-6, "{law:?}: {standing} below {least}");
        }
    }

    #[test]
    fn any_bits_give_an_opening_and_do_no_lasting_harm(
        law in law(), bits in prop::collection::vec(any::<[u32; 5]>(), 1..60),
    ) {
        let (settings, mut target) = (settings(law), TargetMemory::default());
        for [boost, target_kpa, speed, exhaust, barometer] in bits.into_iter().map(|it| it.map(f32::from_bits)) {
            let demand = EngineDemand {
                boost_target: Kilopascal(target_kpa),
                engine_speed: Rpm(speed),
                load: Load::saturating(speed, Load::MIN),
                mode: Mode::Boost,
            };
            let wild = Air {
                exhaust: Some(Kilopascal(exhaust)),
                barometer: Kilopascal(barometer),
                demand,
                ..seen(speed, 0.5, boost)
            };
            prop_assert!((0.0..=1.0).contains(&tick(&mut target, &settings, &wild, 0.5)));
        }
        // A mode later, boost that is far too high opens the vanes as ever.
        tick(&mut target, &settings, &air(Mode::Idle, 2000.0, 0.6, 180.0), 0.3);
        let high = seen(2000.0, 0.6, SOUND_TARGET + 60.0);
        let after = run(&mut target, &settings, &high, 3000, 0.3);
        prop_assert!(after > 0.4, "{law:?}: {after}");
    }

    #[test]
    fn boost_above_its_target_opens_and_below_it_closes(
        law in law(), speed in 1200.0f32..3500.0, load in 0.3f32..=1.0, error in 5.0f32..40.0,
    ) {
        let (settings, mut target) = (settings(law), TargetMemory::default());
        let at = |error: f32| seen(speed, load, SOUND_TARGET + error);
        let rest = run(&mut target, &settings, &at(0.0), 1000, 0.5);
        let opened = run(&mut target.clone(), &settings, &at(error), 2000, rest);
        // Boost that never moves has the reversal searched, and the vanes opened again.
        let low = &at(-error);
        let closed = (0..2000).map(|_| tick(&mut target, &settings, low, rest)).fold(1.0, f32::min);
        // The law may rest at an end of its reach already.
        prop_assert!(closed <= rest && rest <= opened && closed < opened, "{law:?}: {closed}, {rest}, {opened}");
    }
}

#[test]
fn no_law_winds_up_at_its_least_opening() {
    for law in LawName::ALL {
        let (settings, mut target) = (settings(law), TargetMemory::default());
        // A minute short; once boost is far above its target the vanes leave the minimum within 0.1 s.
        let least = run(&mut target, &settings, &seen(2000.0, 0.625, 120.0), 60_000, 0.5);
        let after = run(&mut target, &settings, &seen(2000.0, 0.625, SOUND_TARGET + 20.0), 100, least);
        assert!(after > least + 0.02, "{law:?}: still at {after} from {least}");
    }
}

#[test]
fn every_law_closes_less_far_while_no_turbo_speed_is_seen() {
    for law in LawName::ALL {
        let settings = settings(law);
        let least = |turbo_speed| {
            let short = Air { turbo_speed, ..seen(2000.0, 0.625, 120.0) };
            run(&mut TargetMemory::default(), &settings, &short, 3000, 0.5)
        };
        let (unseen, seen) = (least(None), least(Some(Rpm(100_000.0))));
        assert!(unseen > seen + 0.05, "{law:?}: {unseen} without a sensor, {seen} with one");
    }
}

#[test]
fn the_words_of_the_laws_are_those_of_a_controller_file() {
    for law in LawName::ALL {
        let read: LawName = serde::Deserialize::deserialize(serde::de::value::StrDeserializer::<
            serde::de::value::Error,
        >::new(law.word()))
        .unwrap();
        assert_eq!(read, law);
    }
}
