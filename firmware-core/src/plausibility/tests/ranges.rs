//! Each reading against its own range: just inside is sound, just outside is a fault by its own name and no other.

use super::*;
use crate::plausibility::air::{AT_REST_RPM, DEMAND_MAX, LEAST_SPEED_SHARE};
use crate::tables::Place;
use crate::units::{Kilopascal, Load, Rpm};

/// What stands once a sample has been read for longer than any debounce.
fn settled(sample: &Sample) -> Vetted {
    settled_under(sample, &engine(Mode::Boost, 180.0, 2000.0, 0.6))
}

fn settled_under(sample: &Sample, request: &Request) -> Vetted {
    let settings = Settings::default();
    let mut plausibility = Plausibility::default();
    let long = u32::from(settings.plausibility.heal_ticks) + 1;
    let judged =
        (0..long).map(|_| plausibility.tick(&settings, &fresh(sample), request, LoopState::OnTarget));
    judged.last().unwrap()
}

/// Holds `fault` to be the only one with the reading outside, and none to be there with it inside.
#[track_caller]
fn assert_edge(fault: Fault, inside: &Sample, outside: &Sample) -> Vetted {
    let sound = settled(inside);
    assert!(sound.faults.is_empty(), "inside: {:?}", sound.faults);
    let wrong = settled(outside);
    assert!(wrong.faults.iter().eq([fault]), "outside: {:?}", wrong.faults);
    wrong
}

/// A sample with one thing changed.
fn with(change: impl FnOnce(&mut Sample)) -> Sample {
    let mut changed = sample(0, 8000);
    change(&mut changed);
    changed
}

#[test]
fn position_outside_its_sensors_range_is_lost() {
    let actuator = Settings::default().actuator;
    let (low, high) = (actuator.sensor_min.0, actuator.sensor_max.0);
    for (inside, outside) in [(low, low - 1), (high, high + 1)] {
        let [inside, outside] = [inside, outside].map(|counts| sample(0, counts));
        assert_eq!(assert_edge(Fault::PositionRange, &inside, &outside).position, None);
    }
}

#[test]
fn a_supply_outside_its_range_counts_as_the_nominal_one() {
    let limits = Settings::default().plausibility;
    for (volts, by) in [(limits.supply_min.0, -0.1), (limits.supply_max.0, 0.1)] {
        let [inside, outside] = [volts, volts + by].map(|volts| with(|sample| sample.supply = Volt(volts)));
        let vetted = assert_edge(Fault::SupplyRange, &inside, &outside);
        assert_eq!(vetted.supply, Settings::default().actuator.nominal_supply);
        assert_eq!(settled(&inside).supply, Volt(volts));
    }
}

#[test]
fn a_current_over_what_any_winding_draws_is_told_as_the_most_that_is_believed() {
    let settings = Settings::default();
    let stall = settings.plausibility.supply_max.0 / settings.actuator.winding_resistance_ohm;
    let most = CURRENT_HEADROOM * stall;
    let told = |amperes: f32| settled(&with(|sample| sample.motor_current = Ampere(amperes))).motor_current;
    for (reading, believed) in
        [(0.9 * most, 0.9 * most), (2.0 * most, most), (-3.0 * most, -most), (f32::INFINITY, most)]
    {
        assert_eq!(told(reading), Some(Ampere(believed)));
    }
    let none = with(|sample| sample.motor_current = Ampere(f32::NAN));
    assert_eq!(assert_edge(Fault::CurrentRange, &sample(0, 8000), &none).motor_current, None);
}

#[test]
fn a_housing_temperature_is_judged_where_a_sensor_is_fitted() {
    let limits = Settings::default().plausibility;
    for (celsius, by) in [(limits.temperature_min.0, -1.0), (limits.temperature_max.0, 1.0)] {
        let [inside, outside] = [celsius, celsius + by]
            .map(|celsius| with(|sample| sample.temperature = Some(crate::units::Celsius(celsius))));
        assert_edge(Fault::TemperatureRange, &inside, &outside);
    }
}

#[test]
fn a_barometer_out_of_range_keeps_its_last_sound_value() {
    let limits = Settings::default().plausibility;
    for (kpa, by) in [(limits.barometer_min.0, -1.0), (limits.barometer_max.0, 1.0)] {
        let [inside, outside] = [kpa, kpa + by].map(|kpa| with(|sample| sample.barometer = Kilopascal(kpa)));
        let vetted = assert_edge(Fault::BarometerRange, &inside, &outside);
        assert_eq!(vetted.air.unwrap().barometer, limits.barometer_min, "none was ever sound");
    }
    let mut plausibility = Plausibility::default();
    judge(&mut plausibility, &with(|sample| sample.barometer = Kilopascal(88.0)));
    let lost = with(|sample| sample.barometer = Kilopascal(f32::NAN));
    let vetted = (0..1000).map(|_| judge(&mut plausibility, &lost)).last().unwrap();
    assert_eq!(vetted.air.unwrap().barometer, Kilopascal(88.0));
}

#[test]
fn exhaust_and_turbo_speed_out_of_range_are_gone() {
    let limits = Settings::default().plausibility;
    let most = limits.exhaust_max.0;
    let at = |kpa: f32| with(|sample| sample.exhaust = Some(Kilopascal(kpa)));
    let vetted = assert_edge(Fault::ExhaustRange, &at(limits.boost_min.0), &at(limits.boost_min.0 - 1.0));
    assert_eq!(vetted.air.unwrap().exhaust, None);
    // A pressure that high stands far over boost, which is judged only without a turbo speed.
    let fast = |kpa: f32| with(|s| (s.exhaust, s.turbo_speed) = (Some(Kilopascal(kpa)), Some(Rpm(50_000.0))));
    assert_edge(Fault::ExhaustRange, &fast(most), &fast(most + 1.0));

    let most = limits.turbo_speed_max.0;
    let wrong = settled(&with(|sample| sample.turbo_speed = Some(Rpm(most + 100.0))));
    assert!(wrong.faults.contains(Fault::TurboSpeedRange));
    assert_eq!(wrong.air.unwrap().turbo_speed, None);
    assert!(!settled(&with(|s| s.turbo_speed = Some(Rpm(most)))).faults.contains(Fault::TurboSpeedRange));
}

#[test]
fn boost_below_its_range_is_gone_and_at_its_top_it_counts_as_the_top() {
    let limits = Settings::default().plausibility;
    let at = |kpa: f32| with(|sample| sample.boost = Kilopascal(kpa));
    let low = limits.boost_min.0;
    assert_eq!(assert_edge(Fault::BoostRange, &at(low), &at(low - 1.0)).air.unwrap().boost, None);
    let top = limits.boost_saturated;
    let saturated = assert_edge(Fault::BoostSaturated, &at(top.0 - 1.0), &at(top.0 + 40.0)).air.unwrap();
    assert_eq!((saturated.boost, saturated.boost_saturated), (Some(top), true));
    assert!(settled(&at(top.0)).faults.contains(Fault::BoostSaturated));
}

#[test]
fn a_turbo_faster_than_its_boost_allows_takes_boost_away() {
    let settings = Settings::default();
    let map = &settings.guard.limits;
    let highest = Place::on(&map.speed_estimate_ratio, 1.6).along(&map.speed_estimate_rpm)
        * (1.0 + settings.plausibility.boost_speed_excess);
    let at = |rpm: f32| {
        with(|sample| {
            sample.boost = Kilopascal(1.6 * sample.barometer.0);
            sample.turbo_speed = Some(Rpm(rpm));
        })
    };
    let outrun = assert_edge(Fault::BoostSpeedMismatch, &at(0.999 * highest), &at(1.001 * highest));
    let air = outrun.air.unwrap();
    assert_eq!((air.boost, air.boost_floor), (None, Some(Kilopascal(1.6 * 101.3))));
}

#[test]
fn a_compressor_that_holds_boost_turns_at_least_a_quarter_of_its_highest_speed() {
    let settings = Settings::default();
    let map = &settings.guard.limits;
    let least = LEAST_SPEED_SHARE * Place::on(&map.speed_estimate_ratio, 1.6).along(&map.speed_estimate_rpm);
    let at = |rpm: f32, ratio: f32| {
        with(|sample| {
            sample.boost = Kilopascal(ratio * sample.barometer.0);
            sample.turbo_speed = Some(Rpm(rpm));
        })
    };
    assert_edge(Fault::TurboSpeedRange, &at(1.01 * least, 1.6), &at(0.99 * least, 1.6));
    assert!(settled(&at(0.0, 1.49)).faults.is_empty(), "below that ratio a turbo may stand");
}

#[test]
fn boost_of_an_engine_at_rest_reads_the_barometer() {
    let allowed = Settings::default().plausibility.rest_mismatch.0;
    let at = |kpa: f32| with(|sample| sample.boost = Kilopascal(sample.barometer.0 + kpa));
    let rest = engine(Mode::Idle, 0.0, 0.0, 0.0);
    for sign in [1.0, -1.0] {
        let sound = settled_under(&at(sign * (allowed - 0.1)), &rest);
        assert!(sound.faults.is_empty(), "{:?}", sound.faults);
        let wrong = settled_under(&at(sign * (allowed + 0.1)), &rest);
        assert!(wrong.faults.iter().eq([Fault::BoostBarometerMismatch]), "{:?}", wrong.faults);
        assert_eq!(wrong.air.unwrap().boost, None);
    }
    for running in [engine(Mode::Idle, 0.0, AT_REST_RPM, 0.0), engine(Mode::Limp, 0.0, 0.0, 0.0)] {
        assert!(settled_under(&at(allowed + 5.0), &running).faults.is_empty());
    }
}

#[test]
fn a_demand_that_is_no_number_is_limp_at_the_least_load() {
    for demand in [
        engine(Mode::Boost, f32::NAN, 2000.0, 0.6),
        engine(Mode::Boost, DEMAND_MAX + 1.0, 2000.0, 0.6),
        engine(Mode::Boost, 180.0, DEMAND_MAX + 1.0, 0.6),
        engine(Mode::Boost, 180.0, -1.0, 0.6),
    ] {
        let vetted = settled_under(&sample(0, 8000), &demand);
        assert!(vetted.faults.iter().eq([Fault::DemandRange]), "{:?}", vetted.faults);
        let demand = vetted.air.unwrap().demand;
        assert_eq!((demand.mode, demand.load), (Mode::Limp, Load::MIN));
        assert_eq!((demand.boost_target, demand.engine_speed), (Kilopascal(0.0), Rpm(0.0)));
    }
    let most = engine(Mode::Boost, DEMAND_MAX, DEMAND_MAX, 0.6);
    assert!(settled_under(&sample(0, 8000), &most).faults.is_empty());
}

#[test]
fn a_step_of_position_or_boost_counts_from_the_last_sound_reading() {
    let limits = Settings::default().plausibility;
    let step = limits.position_step_counts as i16;
    // Wrong readings in between give the lever time: twice the step after one of them.
    for (readings, sound) in [([8000, 8000 + step, 8000], true), ([8000, 16_000, 8000 + 2 * step], true)] {
        let mut plausibility = Plausibility::default();
        let last = readings.map(|counts| judge(&mut plausibility, &sample(0, counts)));
        assert_eq!(last[2].position == Some(Counts(readings[2])), sound, "{last:?}");
    }
    for (from, to, fault) in
        [(8000, 8000 + step + 1, true), (8000, 8000 - step - 1, true), (8000, 8000 - step, false)]
    {
        let mut plausibility = Plausibility::default();
        judge(&mut plausibility, &sample(0, from));
        let vetted = judge(&mut plausibility, &sample(0, to));
        assert_eq!(vetted.position, Some(Counts(if fault { from } else { to })), "bridged or taken");
    }
}

#[test]
fn a_bridge_that_says_so_is_at_fault() {
    let at_fault = with(|sample| sample.bridge = BridgeLine::Fault);
    assert_edge(Fault::BridgeFault, &sample(0, 8000), &at_fault);
}
