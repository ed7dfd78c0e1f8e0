//! The drive's limits on the world's motor: what the README promises of the current, and what a released lever
//! must not be blamed for. The world's winding, bridge and spring are its own; nothing of the limits is in them.

use firmware_core::command::Command;
use firmware_core::controller::{Controller, TickOutput};
use firmware_core::faults::{Fault, FaultSet, Limit};
use firmware_core::sample::{Conversions, Request, Sample};
use firmware_core::settings::Settings;
use firmware_core::units::{Ampere, Duty, Tick};
use plant::world::{EngineState, World, WorldConfig};

struct Bench {
    world: World,
    controller: Controller,
    tick: u32,
}

impl Bench {
    fn new(config: &WorldConfig, seed: u64) -> Self {
        let world = World::new(config, seed).expect("a valid world");
        Self { world, controller: Controller::new(Settings::default()), tick: 0 }
    }

    fn tick(&mut self, command: Command) -> TickOutput {
        let sample = self.world.sample(Tick(self.tick));
        self.tick += 1;
        let output = self.controller.tick(&sample, &Request::Bench(command));
        self.world.step(output.duty, &EngineState::Standing).expect("a finite world");
        output
    }
}

/// Pushes into one stop and then the other, long enough for the current to settle at each.
fn pushes() -> impl Iterator<Item = Command> {
    [1.0, -1.0]
        .into_iter()
        .flat_map(|duty| (0..700).map(move |_| Command::Duty(Duty::try_new(duty).expect("a duty"))))
}

/// Time at more than 1.2 times the limit in two blows at a stop, ms: a lever stopped dead has its back-EMF in
/// the filtered speed for a few time constants (3 ms) more, and a short answers that with the more current.
/// By share of the nominal resistance: sound and cold windings, then shorts. The most of 100 seeds is 10, 25,
/// 63 and 114 ms, half of them stay under 10, 19, 33 and 76.
const BLOWS_MS: [(f64, u32); 4] = [(1.0, 15), (0.69, 30), (0.4, 75), (0.15, 130)];

#[test]
fn no_winding_draws_more_than_the_limit_but_for_the_blow_at_a_stop() {
    const SEEDS: u64 = 10;
    for (share, allowed_ms) in BLOWS_MS {
        for seed in 0..SEEDS {
            push_into_both_stops(share, allowed_ms, seed);
        }
    }
}

fn push_into_both_stops(share: f64, allowed_ms: u32, seed: u64) {
    let most = f64::from(Settings::default().actuator.max_current.0);
    let mut config = WorldConfig::default();
    config.actuator.motor.resistance_ohm *= share;
    let mut bench = Bench::new(&config, seed);
    let (mut over_ms, mut highest, mut named, mut held) = (0, 0.0_f64, FaultSet::NONE, false);
    for command in pushes() {
        let output = bench.tick(command);
        let amperes = bench.world.truth().current_a.abs();
        over_ms += u32::from(amperes > 1.2 * most);
        highest = highest.max(amperes);
        named = named.union(output.faults);
        held |= output.limits.contains(Limit::Current);
    }
    let told = format!("{share} of the resistance, seed {seed}");
    assert!(held, "the push never met the limit at {told}");
    assert!(over_ms <= allowed_ms, "{over_ms} ms over, {highest} A at {told}");
    // 0.4 with bridge and leads stands too close to what cold explains: held to the limit, not named.
    assert_eq!(named.contains(Fault::OverCurrent), share < 0.4, "{named:?} at {told}");
}

#[test]
fn a_lever_that_its_spring_opens_after_a_release_misses_no_current() {
    let mut bench = Bench::new(&WorldConfig::default(), 1);
    let close = Command::Duty(Duty::try_new(-0.4).expect("a duty"));
    for _ in 0..500 {
        bench.tick(close);
    }
    let closed = bench.world.truth().lever_rad;
    for _ in 0..1500 {
        assert_eq!(bench.tick(Command::Release).faults, FaultSet::NONE);
    }
    let coasted = (bench.world.truth().lever_rad - closed).abs().to_degrees();
    assert!(coasted > 60.0, "the spring opened the lever by {coasted}° only");
}

/// A cable short of 0.1 Ω without inductance: the very first reading lies far over what a winding can draw.
#[test]
fn a_dead_short_is_cut_back_to_the_limit_in_ten_ticks_and_named() {
    const SHORT_OHM: f32 = 0.1;
    let settings = Settings::default();
    let mut controller = Controller::new(settings);
    let at_rest = World::new(&WorldConfig::default(), 1).expect("a valid world").sample(Tick(0));
    let full = Request::Bench(Command::Duty(Duty::MAX));
    let (mut current, mut named) = (0.0_f32, FaultSet::NONE);
    for tick in 0..1000 {
        let sample = Sample {
            tick: Tick(tick),
            motor_current: Ampere(current),
            conversions: Conversions::all(tick as u8),
            ..at_rest
        };
        let output = controller.tick(&sample, &full);
        current = output.duty.get() * sample.supply.0 / SHORT_OHM;
        named = named.union(output.faults);
        assert!(
            tick < 10 || current.abs() < 1.1 * settings.actuator.max_current.0,
            "{current} A at {tick} ms"
        );
    }
    assert!(named.contains(Fault::OverCurrent) && !named.contains(Fault::CurrentRange), "{named:?}");
}
