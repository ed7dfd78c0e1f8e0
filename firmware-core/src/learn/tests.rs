//! The learner against a small plant of its own: voltage → current → lever with friction, spring and two
//! stops. The full world, with its faults, is host-sim's; here each refusal is provoked by one change.

extern crate std;
use std::vec::Vec;

use super::*;
use crate::sample::{BridgeLine, Conversions, Sample};
use crate::settings::Settings;
use crate::units::{Ampere, Counts, Kilopascal, Tick, Volt};

/// Lever of "bench actuator A", angle from the open stop, SI units at the lever shaft.
struct Plant {
    angle: f64,
    speed: f64,
    bristle: f64,
    current: f64,
    low: f64,
    high: f64,
    stiffness: f64,
    friction: f64,
    resistance: f64,
    motor_sign: f64,
    sensor_sign: f64,
    frozen: Option<i16>,
    tick: u32,
    fastest_hit: f64,
}

const KT: f64 = 0.018 * 48.0;
const INERTIA: f64 = 5.3188e-3;
const COUNTS_PER_RAD: f64 = 152.857 * 180.0 / core::f64::consts::PI;
const STEP: f64 = 1.0e-4;

impl Plant {
    fn healthy() -> Self {
        Self {
            angle: -0.001,
            speed: 0.0,
            bristle: 0.0,
            current: 0.0,
            low: 0.0,
            high: 70.0_f64.to_radians(),
            stiffness: 400.0,
            friction: 1.0,
            resistance: 1.6,
            motor_sign: 1.0,
            sensor_sign: 1.0,
            frozen: None,
            tick: 0,
            fastest_hit: 0.0,
        }
    }

    fn run(&mut self, command: Command) {
        for _ in 0..10 {
            self.current = match command {
                Command::Current(wanted) => f64::from(wanted.0) * self.connected(),
                Command::Duty(duty) => {
                    (f64::from(duty.get()) * 12.0 + self.motor_sign * KT * self.speed) / self.resistance
                }
                Command::Release | Command::Opening(_) => 0.0,
            };
            self.step();
        }
        self.tick = self.tick.wrapping_add(1);
    }

    /// 1 with a whole winding, 0 with an open one.
    fn connected(&self) -> f64 {
        if self.resistance < 1.0e6 { 1.0 } else { 0.0 }
    }

    /// One 0.1 ms step; friction's bristle is implicit in the speed, so that it cannot blow up.
    fn step(&mut self) {
        let drive = -KT * self.motor_sign * self.current;
        let spring = -(0.30 + 0.20 * self.angle);
        let stop = if self.angle > self.high {
            -(self.stiffness * (self.angle - self.high) + 0.6 * self.speed).max(0.0)
        } else if self.angle < self.low {
            -(self.stiffness * (self.angle - self.low) + 0.6 * self.speed).min(0.0)
        } else {
            0.0
        };
        let level = self.friction * (0.18 + 0.08 * (-(self.speed / 0.05).powi(2)).exp());
        let shrink = 1.0 + STEP * 200.0 * self.speed.abs() / level;
        let pull = 200.0 * self.bristle / shrink;
        let grip = 200.0 * STEP / shrink + 0.03;
        self.speed = (INERTIA * self.speed + STEP * (drive + spring + stop - pull)) / (INERTIA + STEP * grip);
        let was_inside = self.angle > self.low && self.angle < self.high;
        self.bristle = (self.bristle + STEP * self.speed) / (1.0 + STEP * 200.0 * self.speed.abs() / level);
        self.angle += STEP * self.speed;
        if was_inside && (self.angle <= self.low || self.angle >= self.high) {
            self.fastest_hit = self.fastest_hit.max(self.speed.abs());
        }
    }

    #[allow(clippy::cast_possible_truncation)]
    fn sample(&self) -> Sample {
        // One count of flicker, as a live 14-bit sensor has.
        let flicker = f64::from((self.tick.wrapping_mul(2_654_435_761) >> 16) % 3) - 1.0;
        let counts = 2600.0 + self.angle * COUNTS_PER_RAD + flicker;
        let counts = if self.sensor_sign < 0.0 { 15_900.0 - counts } else { counts };
        Sample {
            tick: Tick(self.tick),
            position: Counts(self.frozen.unwrap_or(counts.round() as i16)),
            motor_current: Ampere(self.current as f32),
            supply: Volt(12.0),
            temperature: None,
            boost: Kilopascal(100.0),
            barometer: Kilopascal(100.0),
            exhaust: None,
            turbo_speed: None,
            conversions: Conversions::all(self.tick.to_le_bytes()[0]),
            bridge: BridgeLine::Quiet,
        }
    }
}

struct Run {
    outcome: LearnOutcome,
    touches: Vec<Touch>,
    ticks: u32,
}

fn learn(plant: &mut Plant, order: LearnOrder) -> Run {
    let mut learner = Learner::new(&Settings::default(), order);
    let mut touches = Vec::new();
    let start = plant.tick;
    for _ in 0..30_000 {
        let tick = learner.tick(&plant.sample());
        match tick.event {
            Some(LearnEvent::Outcome(outcome)) => {
                return Run { outcome, touches, ticks: plant.tick.wrapping_sub(start) };
            }
            Some(LearnEvent::Touch(touch)) => touches.push(touch),
            Some(LearnEvent::Phase(_)) | None => {}
        }
        plant.run(tick.command);
    }
    panic!("the learner gave no outcome");
}

fn full() -> LearnOrder {
    LearnOrder::full(Setup::Attached, Warmth::Cold, CheckSet::ALL)
}

fn refusal(plant: &mut Plant) -> LearnRefusal {
    match learn(plant, full()).outcome {
        LearnOutcome::Refused(refusal) => refusal,
        other => panic!("expected a refusal, got {other:?}"),
    }
}

fn accepted(run: &Run) -> Calibration {
    match run.outcome {
        LearnOutcome::Accepted(calibration) => calibration,
        other => panic!("expected a calibration, got {other:?}; touches {:#?}", run.touches),
    }
}

/// 0.1 % of travel, counts.
const TENTH_OF_A_PERCENT: f32 = 10.7;

#[test]
fn a_supply_reading_that_dips_to_nothing_does_not_become_full_duty() {
    for dip in [0.0, -0.1, 0.1] {
        let mut plant = Plant::healthy();
        let order = LearnOrder::full(Setup::Free, Warmth::Cold, CheckSet::ALL);
        let mut learner = Learner::new(&Settings::default(), order);
        let mut dips = 0;
        for tick in 0..5000 {
            let mut sample = plant.sample();
            let is_dip = tick % 25 == 24;
            if is_dip {
                sample.supply = Volt(dip);
            }
            let command = learner.tick(&sample).command;
            if let Command::Duty(duty) = command {
                dips += u32::from(is_dip);
                assert!(duty.get().abs() < 0.9, "{duty:?} at {dip} V in tick {tick}");
            }
            plant.run(command);
        }
        assert!(dips > 10, "only {dips} dips while driving");
    }
}

#[test]
fn a_healthy_actuator_is_learned_within_a_tenth_of_a_percent_in_ten_seconds() {
    let mut plant = Plant::healthy();
    let run = learn(&mut plant, full());
    let calibration = accepted(&run);
    assert!((calibration.open.zero_push_counts - 2600.0).abs() < TENTH_OF_A_PERCENT, "{calibration:?}");
    assert!((calibration.closed.zero_push_counts - 13_300.0).abs() < TENTH_OF_A_PERCENT, "{calibration:?}");
    assert!(run.ticks <= 10_000, "{} ticks", run.ticks);
    assert!(plant.fastest_hit < 0.5, "hit a stop at {} rad/s", plant.fastest_hit);
}

#[test]
fn a_key_off_relearn_of_the_same_actuator_takes_three_seconds() {
    let mut plant = Plant::healthy();
    let first = accepted(&learn(&mut plant, full()));
    for _ in 0..1000 {
        plant.run(Command::Release);
    }
    let run = learn(&mut plant, LearnOrder::relearn(first, CheckSet::ALL));
    let again = accepted(&run);
    assert!((again.closed.zero_push_counts - first.closed.zero_push_counts).abs() < 5.0);
    assert!(run.ticks <= 3000, "{} ticks", run.ticks);
}

#[test]
fn a_relearn_from_a_calibration_past_todays_window_still_meets_the_stop_softly() {
    let mut plant = Plant::healthy();
    let mut previous = accepted(&learn(&mut plant, full()));
    let windows = Settings::default().learn.windows.of(Setup::Attached, Warmth::Cold);
    previous.closed.zero_push_counts = windows.closed.max.as_f32() + 2000.0;
    for _ in 0..1000 {
        plant.run(Command::Release);
    }
    plant.fastest_hit = 0.0;
    let run = learn(&mut plant, LearnOrder::relearn(previous, CheckSet::ALL));
    assert!(matches!(run.outcome, LearnOutcome::Refused(_)), "{:?}", run.outcome);
    assert!(plant.fastest_hit < 0.5, "hit a stop at {} rad/s", plant.fastest_hit);
}

/// The drive cuts a short's current back within a tick, so that it shows in single ticks only.
#[test]
fn too_much_current_in_single_ticks_is_told_when_there_are_ten() {
    let told_after = |spikes: u32| {
        let mut plant = Plant::healthy();
        let mut learner = Learner::new(&Settings::default(), full());
        for tick in 0..1500 {
            let mut sample = plant.sample();
            if tick % 40 == 39 && tick / 40 < spikes {
                sample.motor_current = Ampere(5.0);
            }
            let tick = learner.tick(&sample);
            if let Some(LearnEvent::Outcome(outcome)) = tick.event {
                return Some(outcome);
            }
            plant.run(tick.command);
        }
        None
    };
    assert!(matches!(told_after(10), Some(LearnOutcome::Refused(LearnRefusal::OverCurrent { .. }))));
    assert_eq!(told_after(9), None);
}

#[test]
fn without_a_persons_checks_a_sound_learn_is_not_proven() {
    let order = LearnOrder { checked: CheckSet::NONE, ..full() };
    let run = learn(&mut Plant::healthy(), order);
    let LearnOutcome::NotProven { check, .. } = run.outcome else { panic!("{:?}", run.outcome) };
    assert!(check.contains(Check::SensorScale));
}

#[test]
fn a_blocked_travel_is_named() {
    let mut plant = Plant { high: 0.5, ..Plant::healthy() };
    assert!(matches!(refusal(&mut plant), LearnRefusal::Obstructed { toward: Stop::Closed, .. }));
}

#[test]
fn a_lever_that_cannot_leave_the_open_stop_is_obstructed_or_has_no_motion() {
    let mut plant = Plant { high: 0.001, ..Plant::healthy() };
    let refusal = refusal(&mut plant);
    assert!(matches!(refusal, LearnRefusal::NoMotion { .. }), "{refusal}");
}

#[test]
fn a_dead_motor_has_no_motion() {
    let mut plant = Plant { resistance: 1.0e9, ..Plant::healthy() };
    let refusal = refusal(&mut plant);
    assert!(matches!(refusal, LearnRefusal::NoMotion { .. }), "{refusal}");
}

#[test]
fn reversed_sensor_and_reversed_motor_are_the_wrong_direction() {
    for plant in [
        &mut Plant { sensor_sign: -1.0, ..Plant::healthy() },
        &mut Plant { motor_sign: -1.0, ..Plant::healthy() },
    ] {
        let refusal = refusal(plant);
        assert!(matches!(refusal, LearnRefusal::WrongDirection { .. }), "{refusal}");
    }
}

#[test]
fn a_frozen_sensor_is_stuck_and_the_voltage_bound_keeps_the_hit_soft() {
    let mut plant = Plant { frozen: Some(2600), ..Plant::healthy() };
    let refusal = refusal(&mut plant);
    assert!(matches!(refusal, LearnRefusal::SensorStuck { .. }), "{refusal}");
    assert!(plant.fastest_hit < 4.0, "{} rad/s", plant.fastest_hit);
}

#[test]
fn a_sooted_stop_is_soft() {
    let mut plant = Plant { stiffness: 100.0, ..Plant::healthy() };
    let refusal = refusal(&mut plant);
    assert!(matches!(refusal, LearnRefusal::SoftStop { .. }), "{refusal}");
}

#[test]
fn a_tight_ring_is_refused() {
    let mut plant = Plant { friction: 2.6, ..Plant::healthy() };
    let refusal = refusal(&mut plant);
    assert!(matches!(refusal, LearnRefusal::TightTravel { .. }), "{refusal}");
}

#[test]
fn a_missing_stop_is_missed() {
    let mut plant = Plant { high: 1.5, ..Plant::healthy() };
    let refusal = refusal(&mut plant);
    assert!(matches!(refusal, LearnRefusal::StopMissing { stop: Stop::Closed, .. }), "{refusal}");
}

#[test]
fn every_event_fits_a_frame() {
    let calibration = accepted(&learn(&mut Plant::healthy(), full()));
    let event = LearnEvent::Outcome(LearnOutcome::NotProven { calibration, check: CheckSet::ALL });
    let mut buffer = [0; 256];
    let used = postcard::to_slice(&event, &mut buffer).unwrap();
    assert!(used.len() < 200, "{}", used.len());
}

proptest::proptest! {
    #[test]
    fn no_samples_make_the_learner_push_beyond_its_limits(
        samples in proptest::collection::vec((proptest::num::i16::ANY, proptest::num::u32::ANY, proptest::num::u32::ANY), 1..400),
    ) {
        let settings = Settings::default();
        let mut learner = Learner::new(&settings, full());
        let mut sample = Plant::healthy().sample();
        for (position, current, supply) in samples {
            sample.tick = sample.tick.after(1);
            sample.position = Counts(2600_i16.saturating_add(position / 2000));
            sample.motor_current = Ampere(f32::from_bits(current));
            sample.supply = Volt(f32::from_bits(supply));
            let command = learner.tick(&sample).command;
            let within = match command {
                Command::Current(current) => current.0.abs() <= settings.actuator.max_current.0,
                Command::Duty(_) | Command::Release => true,
                Command::Opening(_) => false,
            };
            proptest::prop_assert!(within, "{command:?}");
        }
    }
}
