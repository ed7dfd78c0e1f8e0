//! What is added around the bare air path, against closed forms and SciPy, and what each does to the time to
//! boost.
//!
//! Sources: `tests/reference/world/c5_heat_soak.py`, `c6_volume.py`, `c7_turbine.py` (SciPy 1.17.1, Radau
//! rtol 1e-11, and closed forms). Firing frequency of a four-stroke engine: cylinders × speed / 120.
//! `cargo test -p vanebench-checks --test world effects -- --ignored` writes the table in `host-sim/SIMULATE.md`.

use std::fmt::Write as _;
use std::path::PathBuf;

use crate::reference::column;
use firmware_core::settings::Settings;
use firmware_core::units::{Duty, Tick};
use plant::airpath::{
    Effects, EngineInputs, ExhaustWalls, GasHeat, HeatSoak, Operating, ReducedModel, ReducedParams,
    Switchable, WallGas, rk4,
};
use plant::atmosphere::Ambient;
use plant::sensor::ChannelParams;
use plant::world::{EngineState, World, WorldConfig};
use study::run::{Record, run_world};
use study::scenario::{BuiltIn, Scenario};
use vanebench_checks::assert_near;

/// The two masses of the reference: C 180 and 900 J/K; gas to wall 4, wall to body 1.5, body to air 2.5 W/K.
const REFERENCE_SOAK: HeatSoak = HeatSoak {
    wall_j_per_k: 180.0,
    body_j_per_k: 900.0,
    gas_wall_w_per_k: 4.0,
    wall_body_w_per_k: 1.5,
    body_air_w_per_k: 2.5,
};

#[test]
fn walls_heat_up_and_soak_back_as_the_closed_form_says() {
    let file = "ref_heat_soak.csv";
    let [times, wall, body] = ["t_s", "wall_K", "body_K"].map(|name| column(file, name));
    let heating = WallGas { gas_k: 900.0, w_per_k: 4.0, air_k: 300.0 };
    let soaking = WallGas { gas_k: 330.0, w_per_k: 0.3, air_k: 300.0 };
    // After shut-down the body gives off less: 0.8 W/K.
    let standing = HeatSoak { body_air_w_per_k: 0.8, ..REFERENCE_SOAK };
    let mut walls = ExhaustWalls { wall_k: 300.0, body_k: 300.0 };
    let mut step = 0_u32;
    for ((t_s, wall_k), body_k) in times.into_iter().zip(wall).zip(body) {
        while f64::from(step) < t_s * 100.0 - 0.5 {
            let (soak, gas) = if step < 30_000 { (&REFERENCE_SOAK, &heating) } else { (&standing, &soaking) };
            walls = walls.after(soak, gas, 0.01);
            step += 1;
        }
        assert_near("wall, K", walls.wall_k, wall_k, 1e-7);
        assert_near("body, K", walls.body_k, body_k, 1e-7);
    }
    let rest = ExhaustWalls::at_rest(&REFERENCE_SOAK, &heating);
    assert_near("wall at rest, K", rest.wall_k, 786.075_949, 1e-8);
    assert_near("body at rest, K", rest.body_k, 482.278_481, 1e-8);
}

/// The bare air path with an intake of this volume, no engine turning, a hole of 50 mm².
fn emptied(volume_m3: f64, span_s: f64) -> f64 {
    let params = ReducedParams { intake_volume_m3: volume_m3, ..ReducedParams::default() };
    let model = ReducedModel::try_new(params, Ambient::SEA_LEVEL).unwrap();
    // So slow an engine takes nothing; at no speed at all its exhaust would have no temperature.
    let op = Operating { leak_area_m2: 50e-6, ..Operating::new(1e-9, 0.0) };
    let start = [250e3, 101_325.0 * 1.000_1, 50.0];
    let steps = (span_s * 1e4).round() as u32;
    (0..steps).fold(start, |x, _| rk4(x, 1e-4, |_, x| model.rates(x, model.vanes(0.5), &op)))[0]
}

#[test]
fn a_volume_empties_as_the_closed_form_says_and_a_larger_one_later() {
    // Choked and isothermal: 250 kPa e^(−t/τ), τ 0.578289130 s at 6 litres and 320 K.
    assert_near("6 litres, 0.1 s, Pa", emptied(6e-3, 0.1), 210_300.411_2, 1e-7);
    assert_near("9 litres, 0.15 s, Pa", emptied(9e-3, 0.15), 210_300.411_2, 1e-7);
    assert_near("6 litres, 0.2 s, past choking, Pa", emptied(6e-3, 0.2), 176_925.380_1, 1e-7);
}

/// Turbine efficiency at a blade-speed ratio and opening, at 850 K and 220 kPa.
fn efficiency(params: ReducedParams, ratio: f64, opening: f64) -> (f64, f64) {
    let model = ReducedModel::try_new(params, Ambient::SEA_LEVEL).unwrap();
    // All of the excess over a wall of 850 K given off: the gas before the turbine has that temperature.
    let heat = GasHeat { given_off: 1.0, wall_k: 850.0, ..GasHeat::NONE };
    let op = Operating { heat, ..Operating::new(2000.0, 25.0) };
    let drop =
        params.exhaust_cp * 850.0 * (1.0 - (101.325_f64 / 220.0).powf(1.0 - 1.0 / params.exhaust_gamma));
    let turbo_rad_s = ratio * (2.0 * drop).sqrt() / params.turbine_radius_m;
    let flows = model.flows(&[150e3, 220e3, turbo_rad_s], model.vanes(opening), &op);
    (flows.turbine_w / (flows.turbine_kg_s * drop), flows.turbine_w / turbo_rad_s / flows.turbine_kg_s)
}

#[test]
fn efficiency_falls_from_its_best_as_the_parabola_says() {
    let built_in = ReducedParams { turbine_least: 0.001, ..ReducedParams::default() };
    let best = built_in.turbine_best;
    for (ratio, lost_pct) in [(0.4, 17.92), (0.5, 7.405_714), (0.6, 1.462_857)] {
        let (got, _) = efficiency(built_in, ratio, built_in.opening_best);
        assert_near("lost, %", 100.0 * (1.0 - got / best), lost_pct, 1e-6);
    }
    // η = η_m (2y − y²), through zero: its torque falls on a straight line with speed.
    let fall = best / (built_in.blade_speed_best * built_in.blade_speed_best);
    let through_zero = ReducedParams { blade_speed_fall: fall, ..built_in };
    let drop = 1149.0 * 850.0 * (1.0 - (101.325_f64 / 220.0).powf(1.0 - 1.0 / 1.33));
    let at_120_krpm = 120_000.0 * core::f64::consts::PI / 30.0 * 0.0230 / (2.0 * drop).sqrt();
    let (_, torque) = efficiency(through_zero, at_120_krpm, built_in.opening_best);
    assert_near("torque at 0.06 kg/s, N m", 0.06 * torque, 0.528_647_634, 1e-8);
}

#[test]
fn the_best_blade_speed_ratio_moves_with_the_vanes() {
    let moving = ReducedParams { blade_speed_rise: 0.08, ..ReducedParams::default() };
    for opening in [0.1, 0.42, 0.9] {
        // The vertex of a parabola through three points.
        let (low, mid, high) = (
            efficiency(moving, 0.6, opening).0,
            efficiency(moving, 0.65, opening).0,
            efficiency(moving, 0.7, opening).0,
        );
        let vertex = 0.65 + 0.5 * 0.05 * (low - high) / (low - 2.0 * mid + high);
        assert_near("best ratio", vertex, 0.68 + 0.08 * (opening - 0.42), 1e-9);
    }
}

fn running(config: &WorldConfig, opening: f64, inputs: &EngineInputs) -> World {
    let mut world = World::new(config, 1).unwrap();
    world.settle(opening, inputs).unwrap();
    world
}

#[test]
fn a_lagging_boost_sensor_holds_back_its_time_constant_of_every_change() {
    // Of a first-order lag: ∫ (true − read) dt = τ × change of the reading, whatever the course.
    let mut config = WorldConfig::default();
    config.sensors.boost = ChannelParams::new(0.0, 10.0, 400.0, 0.0);
    config.sensors.boost_lag_s = 0.02;
    let mut world = running(&config, 0.4, &EngineInputs::new(1600.0, 10.0));
    let first = f64::from(world.sample(Tick(0)).boost.0);
    let (mut held_back, mut last) = (0.0, first);
    for tick in 1..2000 {
        world.step(Duty::ZERO, &EngineState::Running(EngineInputs::new(2400.0, 36.0))).unwrap();
        last = f64::from(world.sample(Tick(tick)).boost.0);
        held_back += (world.truth().boost_kpa - last) * 1e-3;
    }
    assert!(last - first > 5.0, "{first} to {last}");
    assert_near("held back, kPa s", held_back, 0.02 * (last - first), 1e-3);
}

#[test]
fn the_gas_torque_swings_with_the_exhaust_strokes() {
    let mut config = WorldConfig::default();
    let inputs = EngineInputs::new(3000.0, 25.0);
    let mut swing = |effects: Effects| {
        config.engine.effects = effects;
        let mut world = running(&config, 0.3, &inputs);
        let torques: Vec<f64> = (0..1000)
            .map(|_| {
                world.place(0.3);
                world.step(Duty::ZERO, &EngineState::Running(inputs)).unwrap();
                world.truth().gas_torque_nm
            })
            .collect();
        let mean = torques.iter().sum::<f64>() / 1000.0;
        let rises = torques.windows(2).filter(|pair| pair[0] < mean && pair[1] >= mean).count();
        let most = torques.iter().fold(0.0_f64, |most, torque| most.max(*torque));
        (mean, rises, most / mean)
    };
    let (steady, _, flat) = swing(Effects { pulsation: Switchable::Off, ..Effects::default() });
    let (mean, rises, peak) = swing(Effects::default());
    assert_near("mean torque, N m", mean, steady, 2e-3);
    assert!((99..=101).contains(&rises), "4 × 3000 / 120 = 100 Hz, counted {rises}");
    assert_near("peak over mean", peak, 1.3, 0.03);
    assert!(flat < 1.01, "{flat}");
}

#[test]
fn a_hot_housing_makes_the_ring_rub_as_its_factor_says() {
    let world = running(&WorldConfig::default(), 0.3, &EngineInputs::new(2400.0, 36.0));
    let body_k = world.engine().walls().unwrap().body_k;
    let stated = WorldConfig::default().actuator.ring.friction.coulomb;
    let now = world.actuator().params().ring.friction.coulomb;
    assert!(body_k > 400.0, "{body_k} K");
    assert_near("sliding friction", now / stated, 1.0 + 4e-4 * (body_k - 293.0), 6e-3);
}

/// Seconds from the pedal until boost has gone 90 % of its way to what is wanted.
fn time_to_boost(effects: Effects, boost_lag_s: f64) -> Option<f64> {
    let mut scenario: Scenario = BuiltIn::named("tip-in").unwrap().scenario().unwrap();
    scenario.world.engine.effects = effects;
    scenario.world.sensors.boost_lag_s = boost_lag_s;
    scenario.duration_s = 5.0;
    let (world, settings) = (scenario.world.clone(), Settings::default());
    let rows = run_world(&scenario, &world, &settings, 1, Record::EveryTicks(1)).unwrap().trace.rows;
    let before = rows.iter().find(|row| row.t_s >= 0.999).unwrap().boost_kpa;
    let wanted = rows.last().unwrap().boost_target_kpa;
    let reached = rows.iter().find(|row| row.t_s > 1.0 && row.boost_kpa >= before + 0.9 * (wanted - before));
    reached.map(|row| row.t_s - 1.0)
}

/// The table of the page, made afresh.
fn table() -> String {
    let (all, off) = (Effects::default(), Effects::OFF);
    let lag_s = WorldConfig::default().sensors.boost_lag_s;
    let rows = [
        ("none: the bare air path", off, 0.0),
        ("exhaust heat soak alone", Effects { heat_soak: all.heat_soak, ..off }, 0.0),
        ("charge-air cooler and its volume alone", Effects { cooler: all.cooler, ..off }, 0.0),
        ("blade-speed ratio with vane angle alone", Effects { vane_angle: all.vane_angle, ..off }, 0.0),
        ("pulsating torque on the ring alone", Effects { pulsation: all.pulsation, ..off }, 0.0),
        (
            "hot ring alone (with heat soak)",
            Effects { heat_soak: all.heat_soak, ring_heat: all.ring_heat, ..off },
            0.0,
        ),
        ("boost sensor and hose lag alone", off, lag_s),
        ("all of them: the default", all, lag_s),
    ];
    let mut text = String::from("| effect on | time to boost, s |\n|---|---|\n");
    for (name, effects, lag_s) in rows {
        let time = time_to_boost(effects, lag_s).map_or("never".to_owned(), |time_s| format!("{time_s:.2}"));
        writeln!(text, "| {name} | {time} |").unwrap();
    }
    text
}

const BEGIN: &str = "<!-- time to boost -->\n";
const END: &str = "<!-- end -->";

fn page() -> (PathBuf, String) {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("host-sim/SIMULATE.md");
    let text = std::fs::read_to_string(&path).unwrap();
    (path, text)
}

fn between_marks(text: &str) -> (&str, &str, &str) {
    let (before, rest) = text.split_once(BEGIN).expect("a mark before the table");
    let (table, after) = rest.split_once(END).expect("a mark after the table");
    (before, table, after)
}

#[test]
fn the_page_tells_what_each_effect_does_to_the_time_to_boost() {
    let (_, text) = page();
    assert_eq!(between_marks(&text).1, table(), "write it afresh with `-- --ignored`");
}

#[test]
#[ignore = "writes the table in host-sim/SIMULATE.md"]
fn write_the_table_of_the_page() {
    let (path, text) = page();
    let (before, _, after) = between_marks(&text);
    std::fs::write(path, format!("{before}{BEGIN}{}{END}{after}", table())).unwrap();
}
