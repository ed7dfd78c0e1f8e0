//! A step of the tuned loop: as the linear model predicts it, and as the controller makes it on the
//! identified actuator with friction, spring, limits and sensor counts.

use std::collections::VecDeque;

use firmware_core::calibration::{Calibration, Contact, LearnedStop, Setup, Warmth};
use firmware_core::command::Command;
use firmware_core::controller::Controller;
use firmware_core::sample::{BridgeLine, Conversions, Request, Sample};
use firmware_core::settings::Settings;
use firmware_core::units::{Ampere, Counts, Kilopascal, Opening, Tick, Volt};

use super::identify::Identified;
use super::margins::Loop;
use super::process::ProcessInTime;

/// One step response, sampled each millisecond.
#[derive(Debug, Clone, PartialEq, serde::Serialize, schemars::JsonSchema)]
pub struct StepRecord {
    /// Opening after each millisecond.
    pub opening: Vec<f64>,
    /// Time to 86.5 % of the step, dead time included, ms.
    pub t86_ms: Option<usize>,
    /// Largest excess over the step, % of the step.
    pub overshoot_percent: f64,
    /// Mean error over the last fifth, opening.
    pub steady_error: f64,
}

impl StepRecord {
    fn of(opening: Vec<f64>, from: f64, to: f64) -> Self {
        let part = |value: f64| (value - from) / (to - from);
        let t86_ms = opening.iter().position(|value| part(*value) >= 0.865).map(|index| index + 1);
        let peak = opening.iter().map(|value| part(*value)).fold(0.0, f64::max);
        let tail = &opening[opening.len() - opening.len() / 5..];
        let steady_error = tail.iter().map(|value| value - to).sum::<f64>() / tail.len() as f64;
        Self { t86_ms, overshoot_percent: (peak - 1.0).max(0.0) * 100.0, steady_error, opening }
    }
}

/// Length of a response, ms.
const RESPONSE_MS: usize = 1000;
/// Steps of the actuator in a millisecond.
const FINE_STEPS: usize = 10;
/// Steps of the linear loop in a millisecond: its steepest rise is 4 % in one.
const LINEAR_STEPS: usize = 50;

/// Unit step of the linear loop without path, friction or limits, derivative on the measurement.
#[must_use]
pub fn predicted(tuned: &Loop, from: f64, to: f64) -> StepRecord {
    let dt = TICK_S / LINEAR_STEPS as f64;
    let gains = &tuned.gains;
    let mut plant = ProcessInTime::new(&tuned.process, dt);
    let (mut integral, mut slow, mut value) = (0.0, 0.0, 0.0);
    let opening = (0..RESPONSE_MS)
        .map(|_| {
            for _ in 0..LINEAR_STEPS {
                let error = (to - from) - value;
                integral += error * dt / gains.integral_time_s;
                let slope = (value - slow) / gains.derivative_filter_s.max(dt);
                slow += slope * dt;
                let input = gains.proportional * (error + integral - gains.derivative_time_s * slope);
                value = plant.step(input);
            }
            from + value
        })
        .collect();
    StepRecord::of(opening, from, to)
}

const TICK_S: f64 = 1e-3;
/// Sticking friction over sliding friction where only sliding was measured: as bench actuator A has it.
const STICKING: f64 = 1.45;

/// The step that the controller itself makes on the identified actuator.
#[must_use]
pub fn simulated(settings: &Settings, found: &Identified, from: f64, to: f64) -> StepRecord {
    let mut actuator = IdentifiedActuator::at_rest(found, from);
    let mut controller = Controller::new(*settings);
    let calibration = calibration(settings);
    controller.set_calibration(Some(calibration));
    let mut tick = 0;
    let mut lead = |opening: f64, ticks: usize, actuator: &mut IdentifiedActuator| -> Vec<f64> {
        let wanted = Opening::saturating(opening as f32, Opening::OPEN);
        (0..ticks)
            .map(|_| {
                let sample = actuator.sample(settings, &calibration, tick);
                tick += 1;
                let output = controller.tick(&sample, &Request::Bench(Command::Opening(wanted)));
                actuator.step(f64::from(output.duty.get()) * f64::from(settings.actuator.nominal_supply.0));
                actuator.opening
            })
            .collect()
    };
    lead(from, RESPONSE_MS, &mut actuator);
    let start = actuator.opening;
    StepRecord::of(lead(to, RESPONSE_MS, &mut actuator), start, to)
}

/// Identified actuator with friction that sticks.
struct IdentifiedActuator {
    found: Identified,
    delayed: VecDeque<f64>,
    opening: f64,
    speed: f64,
}

impl IdentifiedActuator {
    fn at_rest(found: &Identified, opening: f64) -> Self {
        let dead = (found.dead_time_s / TICK_S * FINE_STEPS as f64).round() as usize;
        Self { found: *found, delayed: VecDeque::from(vec![found.hold_v; dead]), opening, speed: 0.0 }
    }

    fn step(&mut self, volts: f64) {
        for _ in 0..FINE_STEPS {
            self.fine_step(volts, TICK_S / FINE_STEPS as f64);
        }
    }

    fn fine_step(&mut self, volts: f64, dt: f64) {
        let found = &self.found;
        self.delayed.push_back(volts);
        let volts = self.delayed.pop_front().unwrap_or(volts);
        let push = volts - found.hold_v - found.spring_v * (self.opening - 0.5);
        let per_volt = found.gain_per_s_v / found.time_constant_s * dt;
        let keep = 1.0 - dt / found.time_constant_s;
        if self.speed == 0.0 && push.abs() <= STICKING * found.friction_v {
            return;
        }
        let direction = if self.speed == 0.0 { push.signum() } else { self.speed.signum() };
        let next = self.speed * keep + per_volt * (push - found.friction_v * direction);
        // Friction stops a motion, it never turns it round.
        self.speed = if self.speed * next < 0.0 { 0.0 } else { next };
        self.opening += self.speed * dt;
    }

    fn sample(&self, settings: &Settings, calibration: &Calibration, tick: u32) -> Sample {
        let counts = f64::from(calibration.closed.zero_push_counts)
            + self.opening * f64::from(calibration.span_counts());
        Sample {
            tick: Tick(tick),
            position: Counts(counts.round() as i16),
            motor_current: Ampere(0.0),
            supply: settings.actuator.nominal_supply,
            temperature: None,
            boost: Kilopascal(0.0),
            barometer: Kilopascal(0.0),
            exhaust: None,
            turbo_speed: None,
            conversions: Conversions::all(tick.to_le_bytes()[0]),
            bridge: BridgeLine::Quiet,
        }
    }
}

/// Stops in the middle of the sensor's range, one nominal span apart.
fn calibration(settings: &Settings) -> Calibration {
    let actuator = &settings.actuator;
    let middle = 0.5 * (actuator.sensor_min.as_f32() + actuator.sensor_max.as_f32());
    let half = 0.5 * actuator.nominal_span_counts * actuator.counts_direction.sign();
    let stop = |counts: f32, contact| LearnedStop {
        zero_push_counts: counts,
        pressed_counts: counts,
        released_counts: counts,
        compliance_counts_per_a: 0.0,
        repeat_range_counts: 0.0,
        contact,
    };
    Calibration {
        closed: stop(middle - half, Contact::MinimumFlow),
        open: stop(middle + half, Contact::RingContact),
        setup: Setup::Free,
        warmth: Warmth::Cold,
        supply: Volt(actuator.nominal_supply.0),
        temperature: None,
        clearance: Opening::CLOSED,
    }
}
