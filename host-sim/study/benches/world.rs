//! What a simulated millisecond costs, part by part, and how many times real time the closed loop runs.
//!
//! Run with `cargo bench -p study --bench world`. Criterion prints the time per tick of each part alone; the
//! last lines print the whole closed loop, one run after the other and as a campaign. A debug build or a busy
//! machine makes the figures worse.

use std::hint::black_box;
use std::time::Instant;

use criterion::{Criterion, criterion_group, criterion_main};
use firmware_core::controller::Controller;
use firmware_core::sample::{EngineDemand, Mode, Request};
use firmware_core::settings::Settings;
use firmware_core::units::{Duty, Kilopascal, Load, Rpm, Tick};
use plant::actuator::{Actuator, ActuatorParams, WindingDrive};
use plant::airpath::{EngineInputs, Operating, ReducedModel, ReducedParams, rk4};
use plant::atmosphere::Ambient;
use plant::friction::{LuGre, LuGreParams};
use plant::world::{ACTUATOR_STEP_S, ACTUATOR_STEPS, EngineState, TICK_S, World, WorldConfig};
use study::campaign::{CampaignPlan, KeepRuns, Next, PartOrder, Spread, run_campaign};
use study::metrics::Meter;
use study::run::{Record, perfect_calibration, run_world};
use study::scenario::{BuiltIn, Scenario, wanted_boost_kpa};
use study::trace::TraceRow;

/// A duty that keeps the ring moving through its travel and over its stops: ± 25 %, 0.4 s each way.
fn swing(tick: u32) -> f64 {
    if (tick / 400).is_multiple_of(2) { 0.25 } else { -0.25 }
}

fn parts(c: &mut Criterion) {
    friction(c);
    actuators(c);
    air_path(c);
    whole_world(c);
    around_the_world(c);
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
                let drive = WindingDrive::Bridge { duty: swing(tick), supply_v: 12.0 };
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
    let inputs = EngineInputs::new(2000.0, 25.0);
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

/// What belongs to a tick besides the world: demand, controller, metrics.
fn around_the_world(c: &mut Criterion) {
    let scenario = load_pulses();
    c.bench_function("demand: one tick", |b| {
        let (mut cursor, mut t_s) = (scenario.cursor(), 0.0);
        b.iter(|| {
            t_s += TICK_S;
            let demand = cursor.at(black_box(t_s));
            wanted_boost_kpa(demand.speed_rpm, demand.fuel_mg / 40.0)
        });
    });
    let mut world = World::new(&scenario.world, 1).expect("bench unit");
    world.settle(0.4, &EngineInputs::new(2000.0, 25.0)).expect("steady");
    let sample = world.sample(Tick(0));
    let mut controller = Controller::new(Settings::default());
    controller.set_calibration(Some(perfect_calibration(&scenario.world).expect("bench unit")));
    let request = Request::Engine(EngineDemand {
        mode: Mode::Boost,
        boost_target: Kilopascal(170.0),
        engine_speed: Rpm(2000.0),
        load: Load::saturating(0.6, Load::MIN),
    });
    c.bench_function("controller: one tick", |b| {
        b.iter(|| controller.tick(black_box(&sample), black_box(&request)));
    });
    let mut meter = Meter::new(scenario.limits, scenario.step_at_s, &scenario.world);
    let row = TraceRow { boost_kpa: 160.0, opening: 0.4, ..TraceRow::default() };
    c.bench_function("metrics: one tick", |b| b.iter(|| meter.add(black_box(&row))));
}

fn load_pulses() -> Scenario {
    BuiltIn::named("load-pulses").expect("built in").scenario().expect("sound")
}

/// The closed loop, one run after the other and as a campaign on one thread and on two; the best of several tries.
fn closed_loop(_: &mut Criterion) {
    let scenario = load_pulses();
    let ticks = ((scenario.duration_s + scenario.warm_up_s) / TICK_S).round();
    const RUNS: u32 = 16;
    tell("closed loop, run after run", f64::from(RUNS) * ticks, || {
        for seed in 0..RUNS {
            let seed = u64::from(seed);
            run_world(&scenario, &scenario.world, &Settings::default(), seed, Record::Nothing)
                .expect("a sound run");
        }
    });
    let (settings, spread) = (Settings::default(), Spread::default());
    // Enough that the last chunk, which one thread may have to itself, weighs little.
    const CAMPAIGN: u32 = 128;
    let plan = CampaignPlan {
        scenario: scenario.clone(),
        settings,
        spread,
        seed: 1,
        runs: u64::from(CAMPAIGN),
        keep: KeepRuns::None,
    };
    for threads in [1, 2] {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("threads");
        let what = format!("closed loop, campaign, threads: {threads}");
        tell(&what, f64::from(CAMPAIGN) * ticks, || {
            let stats = pool.install(|| run_campaign(&plan, &PartOrder::WHOLE, |_| Next::GoOn));
            black_box(stats.expect("a sound campaign"));
        });
    }
}

/// Prints nanoseconds per tick and the multiple of real time.
fn tell(what: &str, ticks: f64, work: impl Fn()) {
    const TRIES: usize = 10;
    let tried = (0..TRIES).map(|_| {
        let start = Instant::now();
        work();
        start.elapsed().as_secs_f64()
    });
    let seconds = tried.fold(f64::INFINITY, f64::min);
    let (ns, times) = (1e9 * seconds / ticks, ticks * TICK_S / seconds);
    println!("{what}: {ns:.0} ns per tick, {times:.0} x real time (best of {TRIES})");
}

criterion_group!(benches, parts);
criterion_main!(benches);
