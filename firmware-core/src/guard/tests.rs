use super::*;
use crate::faults::LimitSet;
use crate::sample::{EngineDemand, Mode};
use crate::units::{Kilopascal, Load, Rpm};

mod levels;
mod transitions;

/// Quiet air at sea level, every sensor fitted.
fn quiet() -> Air {
    Air {
        boost: Some(Kilopascal(150.0)),
        boost_floor: None,
        boost_saturated: false,
        barometer: Kilopascal(101.3),
        exhaust: Some(Kilopascal(200.0)),
        turbo_speed: Some(Rpm(90_000.0)),
        demand: EngineDemand {
            mode: Mode::Boost,
            boost_target: Kilopascal(180.0),
            engine_speed: Rpm(2000.0),
            load: Load::MAX,
        },
    }
}

struct Bench {
    guard: Guard,
    settings: GuardSettings,
    measured: Option<Opening>,
    is_at_minimum: bool,
}

impl Bench {
    fn new() -> Self {
        let guard = Guard::default();
        Self {
            guard,
            settings: GuardSettings::default(),
            measured: Some(Opening::OPEN),
            is_at_minimum: false,
        }
    }

    fn run(&mut self, air: &Air, ticks: u16) -> Guarded {
        let wanted = Wanted {
            opening: Opening::CLOSED,
            boost_target: Some(Kilopascal(180.0)),
            is_at_minimum: self.is_at_minimum,
            limits: LimitSet::NONE,
        };
        let vane = Vane { measured: self.measured, reach: Opening::OPEN };
        let mut last = self.guard.tick(&self.settings, air, &wanted, vane);
        for _ in 1..ticks {
            last = self.guard.tick(&self.settings, air, &wanted, vane);
        }
        last
    }

    fn run_until(&mut self, air: &Air, stage: GuardStage) -> GuardEvent {
        let event = (0..20_000).find_map(|_| self.run(air, 1).event.filter(|event| event.to == stage));
        event.unwrap_or_else(|| panic!("{stage:?} not reached"))
    }
}

fn over_boost() -> Air {
    Air { boost: Some(Kilopascal(300.0)), ..quiet() }
}

#[test]
fn boost_short_is_not_left_by_a_trip_that_passes() {
    let mut bench = Bench::new();
    bench.is_at_minimum = true;
    bench.run_until(&Air { boost: Some(Kilopascal(120.0)), ..quiet() }, GuardStage::BoostShort);
    bench.is_at_minimum = false;
    bench.run(&over_boost(), 20);
    let after = bench.run(&quiet(), 5000);
    assert_eq!(bench.guard.stage(), GuardStage::Latched);
    assert_ne!(after.fuel, FuelRequest::Free);
}

#[test]
fn a_reading_judged_too_low_still_trips_and_never_lets_go() {
    let too_low = |kpa| Air { boost: None, boost_floor: Some(Kilopascal(kpa)), turbo_speed: None, ..quiet() };
    let mut bench = Bench::new();
    bench.run(&too_low(150.0), 1000);
    assert_eq!(bench.guard.stage(), GuardStage::Normal);
    bench.run_until(&too_low(300.0), GuardStage::Open);
    bench.run(&too_low(150.0), 1000);
    assert!(matches!(bench.guard.stage(), GuardStage::Open | GuardStage::Latched));
}

#[test]
fn losing_the_reading_that_tripped_is_no_calm() {
    let lost: [(Air, Air); 3] = [
        (over_boost(), Air { boost: None, ..quiet() }),
        (
            Air { turbo_speed: Some(Rpm(200_000.0)), ..quiet() },
            Air { turbo_speed: None, boost: Some(Kilopascal(120.0)), ..quiet() },
        ),
        (Air { exhaust: Some(Kilopascal(600.0)), ..quiet() }, Air { exhaust: None, ..quiet() }),
    ];
    for (over, unseen) in lost {
        let mut bench = Bench::new();
        bench.run_until(&over, GuardStage::Open);
        bench.run(&unseen, 5000);
        assert_eq!(bench.guard.stage(), GuardStage::Latched, "{over:?}");
        let mut bench = Bench::new();
        bench.run_until(&over, GuardStage::Open);
        bench.run(&quiet(), 5000);
        assert_eq!(bench.guard.stage(), GuardStage::Normal, "seen calm lets go: {over:?}");
    }
}

#[test]
fn a_level_that_margins_have_eaten_up_trips_at_once() {
    let mut bench = Bench::new();
    bench.settings.limits.exhaust_lag_margin = Kilopascal(600.0);
    bench.run(&quiet(), 10);
    assert_eq!(bench.guard.stage(), GuardStage::Open);
}

#[test]
fn losing_the_speed_sensor_is_no_rise_of_speed() {
    let mut bench = Bench::new();
    // The estimate for this boost, 137 000 rpm, is far over the measured speed and far under the limit.
    let pressed = Air { boost: Some(Kilopascal(200.0)), turbo_speed: Some(Rpm(30_000.0)), ..quiet() };
    bench.run(&pressed, 100);
    bench.run(&Air { turbo_speed: None, ..pressed }, 100);
    assert_eq!(bench.guard.stage(), GuardStage::Normal);
}

#[test]
fn a_gap_in_a_reading_is_no_rise_of_it() {
    for unseen in [true, false] {
        let mut bench = Bench::new();
        bench.run(&Air { exhaust: Some(Kilopascal(110.0)), ..quiet() }, 100);
        if unseen {
            bench.run(&Air { exhaust: None, ..quiet() }, 100);
        } else {
            bench.guard.interrupt();
        }
        bench.run(&Air { exhaust: Some(Kilopascal(360.0)), ..quiet() }, 100);
        assert_eq!(bench.guard.stage(), GuardStage::Normal, "unseen: {unseen}");
    }
}

#[test]
fn vanes_that_could_not_open_have_not_travelled_because_nobody_sees_them() {
    let mut bench = Bench::new();
    bench.measured = Some(Opening::CLOSED);
    bench.run_until(&over_boost(), GuardStage::CannotOpen);
    bench.measured = None;
    bench.run(&over_boost(), 1000);
    assert_eq!(bench.guard.stage(), GuardStage::CannotOpen);
    bench.measured = Some(Opening::OPEN);
    assert_eq!(bench.run_until(&over_boost(), GuardStage::Latched).cause, GuardCause::Travelled);
}

#[test]
fn without_a_speed_sensor_the_pressure_ratio_trips() {
    let mut bench = Bench::new();
    (bench.settings.limits.boost, bench.settings.limits.boost_ratio) = (Kilopascal(900.0), 8.0);
    bench.settings.limits.boost_over_target = Kilopascal(500.0);
    let pressed = Air { boost: Some(Kilopascal(400.0)), turbo_speed: None, ..quiet() };
    assert_eq!(bench.run_until(&pressed, GuardStage::Open).cause, GuardCause::TurboSpeedEstimated);
}

#[test]
fn ease_opens_while_a_level_is_near_and_closes_once_it_is_not() {
    let mut bench = Bench::new();
    bench.measured = Some(Opening::CLOSED);
    let limits = bench.settings.limits;
    let level = limits.exhaust.0 - limits.exhaust_lag_margin.0;
    let near =
        Air { exhaust: Some(Kilopascal(level * (1.0 - bench.settings.stages.ease_band / 2.0))), ..quiet() };
    bench.run_until(&near, GuardStage::Ease);
    let opened = bench.run(&near, 50).opening;
    assert!(opened > Opening::CLOSED, "{opened:?}");
    let closing = bench.run(&quiet(), 20).opening;
    assert_eq!(bench.guard.stage(), GuardStage::Ease);
    assert!(closing < opened, "{closing:?} after {opened:?}");
}

#[test]
fn boost_is_short_only_at_the_least_opening_and_far_below_its_target() {
    for (is_at_minimum, boost) in [(false, 120.0), (true, 179.0)] {
        let mut bench = Bench::new();
        bench.is_at_minimum = is_at_minimum;
        bench.run(&Air { boost: Some(Kilopascal(boost)), ..quiet() }, 20_000);
        assert_eq!(bench.guard.stage(), GuardStage::Normal, "{is_at_minimum} {boost}");
    }
}
