//! What a simulated millisecond costs, part by part, and how many times real time the closed loop runs.
//!
//! Run with `cargo bench -p host-sim --bench world`. Criterion prints the time per tick of each part; the
//! last lines print nanoseconds per tick and the multiple of real time of the whole closed loop, which a
//! debug build or a busy machine makes smaller.

use std::hint::black_box;
use std::time::Instant;

use criterion::{Criterion, criterion_group, criterion_main};
use firmware_core::settings::Settings;
use firmware_core::units::{Duty, Tick};
use host_sim::actuator::{Actuator, ActuatorParams, Drive};
use host_sim::airpath::{Operating, ReducedModel, ReducedParams, rk4};
use host_sim::atmosphere::Ambient;
use host_sim::friction::{LuGre, LuGreParams};
use host_sim::run::{Record, run_world};
use host_sim::scenario::BuiltIn;
use host_sim::world::{ACTUATOR_STEP_S, ACTUATOR_STEPS, EngineState, TICK_S, World, WorldConfig};

/// A duty that keeps the ring moving through its travel and over its stops: ± 25 %, 0.4 s each way.
fn swing(tick: u32) -> f64 {
    if (tick / 400).is_multiple_of(2) { 0.25 } else { -0.25 }
}

fn parts(c: &mut Criterion) {
    friction(c);
    actuators(c);
    air_path(c);
    whole_world(c);
    closed_loop(c);
}

fn friction(c: &mut Criterion) {
    let ring = LuGre::try_new(LuGreParams::bench_ring_a()).expect("the bench ring is valid");
    c.bench_function("friction level", |b| b.iter(|| ring.level(black_box(0.07))));
}

fn actuators(c: &mut Criterion) {
    let mut one = |name: &str, params: ActuatorParams| {
        let mut actuator = Actuator::try_new(params).expect("the bench actuator is valid");
        let mut tick = 0_u32;
        c.bench_function(name, |b| {
            b.iter(|| {
                let drive = Drive::Bridge { duty: swing(tick), supply_v: 12.0 };
                for _ in 0..ACTUATOR_STEPS {
                    actuator.step(black_box(drive), 0.05, ACTUATOR_STEP_S);
                }
                tick = tick.wrapping_add(1);
                actuator.state().lever_rad
            });
        });
    };
    one("actuator, rigid joint: 10 steps", ActuatorParams::bench_actuator_a());
    one("actuator, play in the joint: 10 steps", ActuatorParams::bench_actuator_a_in_service());
}

fn air_path(c: &mut Criterion) {
    let model = ReducedModel::try_new(ReducedParams::default(), Ambient::SEA_LEVEL).expect("bench engine");
    let (vanes, op) = (model.vanes(0.35), Operating::new(2000.0, 25.0));
    let mut state = model.steady(vanes, &op).expect("steady");
    c.bench_function("air path: one Runge-Kutta step", |b| {
        b.iter(|| {
            state = rk4(black_box(state), TICK_S, |_, x| model.rates(x, vanes, &op));
            state[0]
        });
    });
}

fn whole_world(c: &mut Criterion) {
    let mut world = World::new(&WorldConfig::default(), 1).expect("bench unit");
    let inputs = host_sim::airpath::EngineInputs::new(2000.0, 25.0);
    world.settle(0.4, &inputs).expect("steady");
    let mut tick = 0_u32;
    c.bench_function("sensors: one sample", |b| b.iter(|| world.sample(Tick(0))));
    c.bench_function("world: one tick", |b| {
        b.iter(|| {
            let duty = Duty::saturating(swing(tick) as f32, Duty::ZERO);
            tick = tick.wrapping_add(1);
            world.step(duty, &EngineState::Running(inputs))
        });
    });
}

fn closed_loop(c: &mut Criterion) {
    let scenario = BuiltIn::named("load-pulses").expect("built in").scenario().expect("sound");
    let ticks = ((scenario.duration_s + scenario.warm_up_s) / TICK_S).round();
    let run = || run_world(&scenario, &scenario.world, &Settings::default(), 1, Record::Nothing);
    let mut group = c.benchmark_group("closed loop");
    group.sample_size(10);
    group.bench_function("load-pulses, whole run", |b| b.iter(run));
    group.finish();
    const RUNS: u32 = 20;
    let start = Instant::now();
    for _ in 0..RUNS {
        black_box(run().expect("a sound run"));
    }
    let seconds = start.elapsed().as_secs_f64() / f64::from(RUNS);
    println!(
        "closed loop: {:.0} ns per tick, {:.0} x real time",
        1e9 * seconds / ticks,
        ticks * TICK_S / seconds
    );
}

criterion_group!(benches, parts);
criterion_main!(benches);
