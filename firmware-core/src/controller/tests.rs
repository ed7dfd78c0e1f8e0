extern crate std;

use super::*;
use crate::calibration::{Contact, LearnedStop, Setup, Warmth};
use crate::sample::{EngineDemand, Mode};
use crate::units::{Counts, Kilopascal, Load, Rpm};
use proptest::prelude::*;

fn stop(at: f32) -> LearnedStop {
    LearnedStop {
        zero_push_counts: at,
        pressed_counts: at,
        released_counts: at,
        compliance_counts_per_a: 20.0,
        repeat_range_counts: 1.0,
        contact: Contact::ActuatorInternal,
    }
}

/// Opening lowers counts, as on bench actuator A.
pub(super) fn calibration() -> Calibration {
    Calibration {
        closed: stop(13_500.0),
        open: stop(2_800.0),
        setup: Setup::Free,
        warmth: Warmth::Cold,
        supply: Volt(12.0),
        temperature: None,
        clearance: Opening::try_new(0.01).unwrap(),
    }
}

fn calibrated() -> Controller {
    let mut controller = Controller::new(Settings::default());
    controller.set_calibration(Some(calibration()));
    controller
}

fn sample(tick: u32, position: i16) -> Sample {
    Sample {
        tick: Tick(tick),
        position: Counts(position),
        motor_current: Ampere(0.0),
        supply: Volt(12.0),
        temperature: None,
        boost: Kilopascal(101.3),
        barometer: Kilopascal(101.3),
        exhaust: None,
        turbo_speed: None,
    }
}

fn any_opening() -> impl Strategy<Value = Opening> {
    (0.0f32..=1.0).prop_map(|value| Opening::try_new(value).unwrap())
}

fn any_float() -> impl Strategy<Value = f32> {
    prop_oneof![any::<u32>().prop_map(f32::from_bits), -10.0f32..400.0]
}

fn any_sample() -> impl Strategy<Value = Sample> {
    (
        any::<i16>(),
        any_float(),
        any_float(),
        any_float(),
        any_float(),
        any::<Option<u32>>(),
        any::<Option<u32>>(),
    )
        .prop_map(|(position, current, supply, boost, barometer, exhaust, speed)| Sample {
            tick: Tick(0),
            position: Counts(position),
            motor_current: Ampere(current),
            supply: Volt(supply),
            temperature: None,
            boost: Kilopascal(boost),
            barometer: Kilopascal(barometer),
            exhaust: exhaust.map(|bits| Kilopascal(f32::from_bits(bits))),
            turbo_speed: speed.map(|bits| Rpm(f32::from_bits(bits))),
        })
}

fn any_request() -> impl Strategy<Value = Request> {
    let mode = prop_oneof![Just(Mode::Idle), Just(Mode::Boost), Just(Mode::Brake), Just(Mode::Limp)];
    let engine = (mode, any_float(), any_float(), 0.0f32..=1.0).prop_map(|(mode, target, speed, load)| {
        Request::Engine(EngineDemand {
            mode,
            boost_target: Kilopascal(target),
            engine_speed: Rpm(speed),
            load: Load::try_new(load).unwrap(),
        })
    });
    prop_oneof![
        Just(Request::Release),
        engine,
        (-1.0f32..=1.0).prop_map(|duty| Request::Bench(Command::Duty(Duty::try_new(duty).unwrap()))),
        any_float().prop_map(|current| Request::Bench(Command::Current(Ampere(current)))),
        any_opening().prop_map(|opening| Request::Bench(Command::Opening(opening))),
    ]
}

#[test]
fn an_opening_without_calibration_leaves_the_drive_off_and_says_why() {
    let mut controller = Controller::new(Settings::default());
    let output = controller.tick(&sample(0, 8000), &Request::Bench(Command::Opening(Opening::OPEN)));
    assert_eq!(output.duty, Duty::ZERO);
    assert!(output.limits.contains(Limit::NoPosition));
    assert!(output.faults.contains(Fault::NotCalibrated));
}

#[test]
fn a_learner_may_push_two_amperes_for_a_second() {
    let mut controller = calibrated();
    for tick in 0..1000 {
        let mut pushed = sample(tick, 2800);
        pushed.motor_current = Ampere(2.0);
        let output = controller.tick(&pushed, &Request::Bench(Command::Current(Ampere(2.0))));
        assert!((output.duty.get() - 2.0 * 1.6 / 12.0).abs() < 1.0e-3, "tick {tick}: {:?}", output);
    }
}

#[test]
fn a_push_without_travel_is_taken_back_in_the_stated_time() {
    let settings = Settings::default();
    let mut controller = calibrated();
    let request = Request::Bench(Command::Duty(Duty::try_new(0.3).unwrap()));
    let mut first = None;
    for tick in 0..6000 {
        let mut pushed = sample(tick, 2800);
        pushed.motor_current = Ampere(2.25);
        if controller.tick(&pushed, &request).faults.contains(Fault::Stalled) {
            first = first.or(Some(tick));
        }
    }
    let allowed = u32::from(settings.limits.stall_ticks);
    assert!(first.is_some_and(|tick| tick.abs_diff(allowed) <= 2), "{first:?}");
}

proptest! {
    #[test]
    fn any_input_gives_a_duty_inside_its_limits(ticks in prop::collection::vec((any_sample(), any_request()), 1..80)) {
        let mut controller = calibrated();
        for (sample, request) in ticks {
            let output = controller.tick(&sample, &request);
            prop_assert!((-1.0..=1.0).contains(&output.duty.get()));
        }
    }

    #[test]
    fn a_latched_guard_stays_latched_until_cleared(ticks in prop::collection::vec(any_sample(), 1..200)) {
        let mut controller = calibrated();
        let request = Request::Engine(EngineDemand {
            mode: Mode::Boost, boost_target: Kilopascal(200.0), engine_speed: Rpm(2000.0), load: Load::MAX,
        });
        for tick in 0..3000 {
            let mut over = sample(tick, 3000);
            over.boost = Kilopascal(300.0);
            controller.tick(&over, &request);
        }
        prop_assert_eq!(controller.guard.stage(), GuardStage::Latched);
        for sample in ticks {
            let output = controller.tick(&sample, &request);
            prop_assert!(matches!(output.stage, GuardStage::Latched | GuardStage::CannotOpen));
            prop_assert_ne!(output.fuel, FuelRequest::Free);
        }
        controller.clear_latch();
        prop_assert_eq!(controller.guard.stage(), GuardStage::Normal);
    }
}
