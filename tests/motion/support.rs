//! A unit in the simulated world under the board's own motion and controller, with the plant's truth beside it.

use firmware_core::calibration::{Calibration, Setup};
use firmware_core::command::Command;
use firmware_core::controller::Controller;
use firmware_core::motion::{Ending, Motion, MotionProfile, MotionStep, Seen, Segment};
use firmware_core::sample::Request;
use firmware_core::settings::Settings;
use firmware_core::units::{Opening, TICKS_PER_SECOND, Tick};
use plant::actuator::{LeverJoint, TravelEnd};
use plant::world::{EngineState, World, WorldConfig};
use rand::RngExt;
use rand_pcg::Pcg64Mcg;
use study::catalogue::Case;
use study::run::perfect_calibration;
use vanebench::procedure::{friction_ramps, full_stroke, slow_reversal, staircase, steps};

/// Whether an ending of the motion's own is obeyed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Rule {
    On,
    /// The profile runs on whatever the watch says: what was before there was one.
    Off,
}

/// The truth in a tick.
#[derive(Debug, Clone, Copy)]
pub struct Row {
    /// Opening that the position loop follows, where it runs.
    pub wanted: Option<f64>,
    /// Where the lever stands, as opening.
    pub lever: f64,
    pub current_a: f64,
    /// Resistance of the winding at its temperature, Ω.
    pub winding_ohm: f64,
}

/// How a motion ended.
#[derive(Debug)]
pub struct Told {
    /// Its own ending, with the tick of the motion; none when the profile came to its end.
    pub ending: Option<(Ending, usize)>,
    /// Largest lever speed from the end of the profile until the lever rests, opening/s.
    pub parting_speed: f64,
    /// Mean square of the winding's own current at the end, as a part of what it takes for ever.
    pub heat_used: f64,
    /// Travel of the lever during the last open-loop ramp, opening.
    pub last_ramp_travel: f64,
    pub rows: Vec<Row>,
}

impl Told {
    /// The same, with the truth summed up and put away.
    pub fn without_rows(mut self) -> Self {
        let ramp = self.rows.rsplit(|row| row.wanted.is_some()).next().unwrap_or_default();
        let last = &ramp[ramp.len().saturating_sub(RAMP_TICKS)..];
        let range = |pick: fn(f64, f64) -> f64, from| last.iter().map(|row| row.lever).fold(from, pick);
        self.last_ramp_travel = range(f64::max, f64::MIN) - range(f64::min, f64::MAX);
        self.rows = Vec::new();
        self
    }
}

/// Ticks of a friction ramp in the bench's own profile.
const RAMP_TICKS: usize = 4000;

/// A unit on the bench.
pub struct Unit {
    world: World,
    controller: Controller,
    calibration: Calibration,
    sound_ohm: f64,
    copper_per_k: f64,
    /// Mean square of the winding's own current, A².
    mean_square: f64,
    tick: u32,
}

/// Temperature at which a winding's resistance is stated, °C.
const REFERENCE_C: f64 = 20.0;
/// Ticks after a motion in which the lever comes to rest.
const REST_TICKS: u32 = 300;

impl Unit {
    /// A unit with the faults of `case`, under the calibration that it had before them.
    pub fn new(case: &Case, place: Option<f64>, seed: u64) -> Self {
        let mut world = World::new(&case.world, seed).expect("a valid world");
        if let Some(opening) = place {
            world.place(opening);
        }
        let sound = WorldConfig { faults: Vec::new(), ..case.world.clone() };
        let calibration =
            Calibration { setup: Setup::Attached, ..perfect_calibration(&sound).expect("both stops") };
        let mut controller = Controller::new(Settings::default());
        controller.set_calibration(Some(calibration));
        let motor = &case.world.actuator.motor;
        let copper_per_k = motor.heat.map_or(0.0, |heat| heat.copper_per_k);
        Self {
            world,
            controller,
            calibration,
            sound_ohm: motor.resistance_ohm,
            copper_per_k,
            mean_square: 0.0,
            tick: 0,
        }
    }

    /// Runs one motion and lets the lever come to rest.
    pub fn run(&mut self, segments: &[Segment], rule: Rule) -> Told {
        let (mut motion, mut profile) = (Motion::new(), MotionProfile::new());
        for segment in segments {
            motion.push(*segment).expect("room in the profile");
            profile.push(*segment).expect("room in the profile");
        }
        let here = self.calibration.opening(self.world.sample(Tick(self.tick)).position);
        motion.rewind(here).expect("segments");
        profile.rewind(here).expect("segments");
        let mut told = Told {
            ending: None,
            parting_speed: 0.0,
            heat_used: 0.0,
            last_ramp_travel: 0.0,
            rows: Vec::new(),
        };
        loop {
            let step = match rule {
                Rule::On => motion.tick(),
                Rule::Off => profile.tick().map_or(MotionStep::Done, MotionStep::Go),
            };
            let command = match step {
                MotionStep::Go(command) => command,
                MotionStep::Ease(command) => {
                    let before = self.lever();
                    let seen = self.advance(command);
                    told.parting_speed = told.parting_speed.max(self.speed_since(before));
                    motion.see(self.controller.settings(), Some(&self.calibration), &seen);
                    continue;
                }
                MotionStep::Done => break,
                MotionStep::Cut(ending) => {
                    told.ending = Some((ending, told.rows.len()));
                    break;
                }
            };
            let seen = self.advance(command);
            told.rows.push(self.row(seen.target));
            motion.see(self.controller.settings(), Some(&self.calibration), &seen);
        }
        let continuous = f64::from(self.controller.settings().limits.continuous_current.0);
        told.heat_used = self.mean_square / continuous.powi(2);
        for _ in 0..REST_TICKS {
            let before = self.lever();
            self.advance(Command::Release);
            told.parting_speed = told.parting_speed.max(self.speed_since(before));
        }
        told
    }

    /// Lever speed over a tick, opening/s.
    fn speed_since(&self, before: f64) -> f64 {
        (self.lever() - before).abs() * f64::from(TICKS_PER_SECOND)
    }

    fn advance(&mut self, command: Command) -> Seen {
        let sample = self.world.sample(Tick(self.tick));
        self.tick += 1;
        let output = self.controller.tick(&sample, &Request::Bench(command));
        self.world.step(output.duty, &EngineState::Standing).expect("a sound world");
        let heat_time_s = f64::from(self.controller.settings().limits.heat_time_s);
        self.mean_square += (self.world.truth().current_a.powi(2) - self.mean_square) * 1e-3 / heat_time_s;
        Seen {
            position: sample.position,
            supply: sample.supply,
            duty: output.duty,
            target: output.target,
            opening: output.opening,
            faults: output.faults,
            limits: output.limits,
        }
    }

    /// Lever position as opening: what the sensor would say without noise.
    fn lever(&self) -> f64 {
        let counts = self.world.config().sensors.position.counts_at(self.world.truth().lever_rad);
        let closed = f64::from(self.calibration.closed.zero_push_counts);
        (counts - closed) / f64::from(self.calibration.span_counts())
    }

    fn row(&self, wanted: Option<Opening>) -> Row {
        let truth = self.world.truth();
        let ohm = self.sound_ohm * (1.0 + self.copper_per_k * (truth.winding_c - REFERENCE_C));
        Row {
            wanted: wanted.map(|opening| f64::from(opening.get())),
            lever: self.lever(),
            current_a: truth.current_a,
            winding_ohm: ohm,
        }
    }
}

/// The bench's motions, each with its name.
pub fn motions(profile: &vanebench::profile::Profile) -> Vec<(String, Vec<Segment>)> {
    let plan = &profile.plan;
    let mut motions = vec![("staircase".to_owned(), staircase(&plan.sweep))];
    motions.push(("slow reversal".to_owned(), slow_reversal(plan.sweep.reversals[1])));
    motions.push(("friction ramps".to_owned(), friction_ramps(&plan.friction)));
    let sizes = plan.step.sizes_percent.iter();
    motions.extend(sizes.map(|size| (format!("steps of {size} %"), steps(&plan.step, *size))));
    motions.push(("full stroke".to_owned(), full_stroke(&plan.step, &plan.sweep)));
    motions
}

/// A sound unit of the wide spread, all widths invented: what a harness may be handed without anything being wrong.
pub fn wide_unit(rng: &mut Pcg64Mcg) -> WorldConfig {
    let mut unit = WorldConfig::default();
    let actuator = &mut unit.actuator;
    actuator.bridge.supply_v = rng.random_range(9.0..16.0);
    actuator.bridge.source_resistance_ohm = rng.random_range(0.04..0.25);
    let motor = &mut actuator.motor;
    if let Some(heat) = &mut motor.heat {
        heat.surroundings_c = rng.random_range(-20.0..120.0);
    }
    motor.resistance_ohm *= rng.random_range(0.85..1.2);
    motor.torque_constant_nm_per_a *= rng.random_range(0.96..1.04);
    motor.rotor_inertia_kg_m2 *= rng.random_range(0.5..2.0);
    actuator.gear.efficiency = rng.random_range(0.64..0.95);
    let friction = rng.random_range(0.7..2.0);
    actuator.ring.friction.coulomb *= friction;
    actuator.ring.friction.breakaway *= friction * rng.random_range(1.0..1.2);
    actuator.ring.inertia_kg_m2 *= rng.random_range(0.5..2.0);
    if let Some(spring) = &mut actuator.spring {
        let factor = rng.random_range(0.7..1.5);
        spring.preload_nm *= factor;
        spring.rate_nm_per_rad *= factor;
    }
    actuator.linkage = LeverJoint::with_play_deg(rng.random_range(0.1..1.2));
    for end in [TravelEnd::Low, TravelEnd::High] {
        if let Some(stop) = actuator.ring.stops.at_mut(end) {
            stop.stiffness_nm_per_rad *= rng.random_range(0.8..1.2);
        }
    }
    unit.sensors.position.noise_counts = rng.random_range(0.5..5.0);
    unit
}
