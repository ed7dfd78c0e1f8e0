extern crate std;

use super::*;
use crate::calibration::{Contact, LearnedStop, Setup, Warmth};
use crate::sample::Mode;
use crate::sample::testing::{any_float, any_mode, any_sample, engine, fresh, sample};
use crate::units::{Ampere, Kilopascal, TICK_SECONDS, Volt};
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

fn any_opening() -> impl Strategy<Value = Opening> {
    (0.0f32..=1.0).prop_map(|value| Opening::try_new(value).unwrap())
}

fn any_request() -> impl Strategy<Value = Request> {
    let engine = (any_mode(), any_float(), any_float(), 0.0f32..=1.0)
        .prop_map(|(mode, target, speed, load)| engine(mode, target, speed, load));
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
    let output = controller.tick(&fresh(&sample(0, 8000)), &Request::Bench(Command::Opening(Opening::OPEN)));
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
        let output = controller.tick(&fresh(&pushed), &Request::Bench(Command::Current(Ampere(2.0))));
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
        if controller.tick(&fresh(&pushed), &request).faults.contains(Fault::Stalled) {
            first = first.or(Some(tick));
        }
    }
    let allowed = u32::from(settings.limits.stall_ticks);
    assert!(first.is_some_and(|tick| tick.abs_diff(allowed) <= 2), "{first:?}");
}

#[test]
fn letting_the_drive_go_ends_a_stall_either_way() {
    for way in [1.0, -1.0] {
        let mut controller = calibrated();
        let mut pushed = sample(0, 8000);
        pushed.motor_current = Ampere(way * 2.25);
        let push = Request::Bench(Command::Duty(Duty::try_new(way * 0.3).unwrap()));
        let mut last = controller.tick(&fresh(&pushed), &push);
        for _ in 0..3000 {
            last = controller.tick(&fresh(&pushed), &push);
        }
        assert!(last.faults.contains(Fault::Stalled), "{way}");
        controller.tick(&fresh(&sample(0, 8000)), &Request::Release);
        let again = controller.tick(&fresh(&pushed), &push);
        assert!(!again.faults.contains(Fault::Stalled), "{way}");
    }
}

#[test]
fn a_current_held_back_by_a_limit_does_not_wind_up_behind_it() {
    let mut controller = calibrated();
    let mut reading = sample(0, 8000);
    // The winding takes half an ampere whatever is asked, so the loop asks for more and more.
    reading.motor_current = Ampere(0.5);
    for _ in 0..2000 {
        controller.tick(&fresh(&reading), &Request::Bench(Command::Current(Ampere(4.0))));
    }
    reading.motor_current = Ampere(0.0);
    let after = controller.tick(&fresh(&reading), &Request::Bench(Command::Current(Ampere(0.0))));
    let most = settings_room(&Settings::default());
    assert!(after.duty.get().abs() <= most * 0.1, "{:?} wound up", after.duty);
}

/// Duty at which the largest current flows through a resting winding.
fn settings_room(settings: &Settings) -> f32 {
    let actuator = &settings.actuator;
    actuator.max_current.0 * actuator.winding_resistance_ohm / actuator.nominal_supply.0
}

/// A largest duty well inside what the random commands ask for, and inside the duty into a stop.
const TIGHT_DUTY: f32 = 0.3;

fn tight() -> Controller {
    let mut settings = Settings::default();
    settings.actuator.max_duty = Duty::try_new(TIGHT_DUTY).unwrap();
    settings.limits.end_stop_duty = Duty::MAX;
    settings.validate().unwrap();
    let mut controller = Controller::new(settings);
    controller.set_calibration(Some(calibration()));
    controller
}

proptest! {
    #[test]
    fn any_input_gives_a_duty_inside_its_limits(ticks in prop::collection::vec((any_sample(), any_request()), 1..80)) {
        let mut controller = tight();
        for (sample, request) in ticks {
            let output = controller.tick(&sample, &request);
            prop_assert!((-TIGHT_DUTY..=TIGHT_DUTY).contains(&output.duty.get()));
        }
    }

    #[test]
    fn a_latched_guard_stays_latched_until_cleared(ticks in prop::collection::vec(any_sample(), 1..200)) {
        let mut controller = calibrated();
        let request = engine(Mode::Boost, 200.0, 2000.0, 1.0);
        for tick in 0..3000 {
            let mut over = sample(tick, 3000);
            over.boost = Kilopascal(300.0);
            controller.tick(&fresh(&over), &request);
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

    #[test]
    fn no_change_of_mode_moves_the_wanted_opening_faster_than_the_slew(
        modes in prop::collection::vec((any_mode(), 1usize..200, 110.0f32..240.0, 800.0f32..3600.0, 0.0f32..=1.0), 2..12),
    ) {
        let mut controller = calibrated();
        let (mut last, mut wobble): (Option<f32>, i16) = (None, 0);
        let bound = controller.settings().slew.normal_per_s * TICK_SECONDS + 1.0e-6;
        for (mode, ticks, boost_target, speed, load) in modes {
            for _ in 0..ticks {
                // The vanes follow at once, with a count of noise.
                wobble ^= 1;
                let at = last.and_then(|last| Opening::try_new(last).ok()).unwrap_or(Opening::OPEN);
                let position = (calibration().counts(at) as i16).saturating_add(wobble);
                let output = controller.tick(&fresh(&sample(0, position)), &engine(mode, boost_target, speed, load));
                prop_assert_eq!(output.stage, GuardStage::Normal);
                let target = output.target.unwrap().get();
                prop_assert!(last.is_none_or(|last| (target - last).abs() <= bound), "{last:?} to {target}");
                last = Some(target);
            }
        }
    }

    #[test]
    fn once_tripped_the_vanes_are_never_told_to_close(boosts in prop::collection::vec(90.0f32..340.0, 1..300)) {
        let mut controller = calibrated();
        let request = engine(Mode::Boost, 200.0, 2000.0, 1.0);
        let mut over = sample(0, 9000);
        over.boost = Kilopascal(275.0);
        for _ in 0..30 {
            controller.tick(&fresh(&over), &request);
        }
        let mut last = 0.0;
        for boost in boosts {
            let mut reading = sample(0, 9000);
            reading.boost = Kilopascal(boost);
            let output = controller.tick(&fresh(&reading), &request);
            prop_assert!(matches!(output.stage, GuardStage::Open | GuardStage::Latched | GuardStage::CannotOpen));
            if let Some(target) = output.target {
                prop_assert!(target.get() >= last);
                last = target.get();
            }
        }
    }
}

#[test]
fn over_boost_cuts_the_fuel_within_the_stated_reaction() {
    let settings = Settings::default();
    let mut controller = calibrated();
    let request = engine(Mode::Boost, 230.0, 2000.0, 1.0);
    // Rising at 100 kPa/s, as the runaway of the invented engine does.
    let (mut boost, mut crossed_at) = (230.0, None);
    let trip = settings.guard.limits.boost.0 - settings.guard.limits.boost_lag_margin.0;
    for tick in 0..600 {
        let mut reading = sample(tick, 9000);
        boost += 0.1;
        reading.boost = Kilopascal(boost);
        let output = controller.tick(&fresh(&reading), &request);
        if boost >= trip {
            crossed_at = crossed_at.or(Some(tick));
        }
        if output.fuel == FuelRequest::Cut {
            let late = crossed_at.map_or(0, |at| tick - at);
            assert!(late <= u32::from(settings.guard.stages.reaction_ticks), "{late} ticks late");
            // Rate × reaction time is paid in advance, but no more than that.
            assert!(boost > trip - 3.0, "tripped at {boost} already");
            return;
        }
    }
    panic!("never tripped");
}

#[test]
fn letting_the_drive_go_does_not_give_the_fuel_back() {
    let mut controller = calibrated();
    let mut over = sample(0, 3000);
    over.boost = Kilopascal(300.0);
    let request = engine(Mode::Boost, 200.0, 2000.0, 1.0);
    for _ in 0..100 {
        controller.tick(&fresh(&over), &request);
    }
    assert_eq!(controller.guard.stage(), GuardStage::Open);
    for request in [Request::Release, Request::Bench(Command::Opening(Opening::OPEN))] {
        assert_eq!(controller.tick(&fresh(&over), &request).fuel, FuelRequest::Cut, "{request:?}");
    }
}

#[test]
fn a_cleared_latch_is_told_even_when_the_guard_trips_in_the_same_tick() {
    let mut controller = calibrated();
    let mut over = sample(0, 3000);
    over.boost = Kilopascal(300.0);
    let request = engine(Mode::Boost, 200.0, 2000.0, 1.0);
    for _ in 0..3000 {
        controller.tick(&fresh(&over), &request);
    }
    controller.clear_latch();
    let told: std::vec::Vec<_> =
        (0..3).filter_map(|_| controller.tick(&fresh(&over), &request).event).collect();
    assert!(told.iter().any(|event| event.to == GuardStage::Open), "{told:?}");
    assert!(told.iter().any(|event| event.to == GuardStage::Normal), "{told:?}");
}

#[test]
fn unknown_boost_limits_the_fuel() {
    let mut controller = calibrated();
    let mut broken = sample(0, 8000);
    broken.boost = Kilopascal(f32::NAN);
    let request = engine(Mode::Boost, 200.0, 2000.0, 1.0);
    let debounce = u32::from(controller.settings().plausibility.debounce_ticks);
    let last = (0..=debounce).map(|_| controller.tick(&fresh(&broken), &request)).last().unwrap();
    assert_eq!(last.fuel, FuelRequest::LimitTo(controller.settings().guard.stages.smoke_limit));
}

#[test]
fn a_broken_winding_is_named() {
    let mut controller = calibrated();
    let request = Request::Bench(Command::Duty(Duty::try_new(0.3).unwrap()));
    let seen = (0..200).any(|tick| {
        controller.tick(&fresh(&sample(tick, 8000)), &request).faults.contains(Fault::CurrentMissing)
    });
    assert!(seen);
}

/// A small generator: the test must not depend on a crate's stream.
struct Random(u64);

impl Random {
    fn bits(&mut self) -> u32 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 32) as u32
    }

    /// Any bits one time in eight, else a number of a reading's size.
    fn float(&mut self, most: f32) -> f32 {
        if self.bits().is_multiple_of(8) {
            f32::from_bits(self.bits())
        } else {
            self.bits() as f32 / u32::MAX as f32 * most
        }
    }
}

#[test]
fn ten_million_random_ticks_neither_panic_nor_pass_the_largest_duty() {
    let mut random = Random(1);
    let mut controller = tight();
    let mut reached = false;
    for tick in 0..10_000_000u32 {
        let mut reading = sample(tick, random.bits() as i16);
        reading.motor_current = Ampere(random.float(8.0));
        reading.supply = Volt(random.float(16.0));
        reading.boost = Kilopascal(random.float(320.0));
        reading.barometer = Kilopascal(random.float(105.0));
        reading.exhaust = (random.bits().is_multiple_of(2)).then(|| Kilopascal(random.float(600.0)));
        let mode = match random.bits() % 4 {
            0 => Mode::Idle,
            1 => Mode::Boost,
            2 => Mode::Brake,
            _ => Mode::Limp,
        };
        let request = match random.bits() % 5 {
            0 => Request::Release,
            1 => Request::Bench(Command::Opening(Opening::saturating(random.float(1.0), Opening::OPEN))),
            2 => Request::Bench(Command::Current(Ampere(random.float(6.0) - 3.0))),
            _ => engine(mode, random.float(300.0), random.float(4000.0), random.float(1.0)),
        };
        let output = controller.tick(&fresh(&reading), &request);
        assert!((-TIGHT_DUTY..=TIGHT_DUTY).contains(&output.duty.get()), "tick {tick}");
        reached |= output.limits.contains(Limit::Duty);
        if random.bits().is_multiple_of(4096) {
            controller.clear_latch();
        }
    }
    assert!(reached, "a run that never meets the limit tests nothing");
}
