use firmware_core::sample::Sample;
use firmware_core::units::{Duty, Tick};

use super::*;
use crate::friction::RingCondition;
use crate::sensor::{ChannelFault, PositionFault};

fn world_with(faults: Vec<FaultKind>) -> World {
    let faults = faults.into_iter().map(Fault::standing).collect();
    World::new(&WorldConfig { faults, ..WorldConfig::default() }, 7).unwrap()
}

/// Drives for so many ticks; gives the last sample.
fn drive(world: &mut World, duty: f32, ticks: u32) -> Sample {
    for _ in 0..ticks {
        world.step(Duty::try_new(duty).unwrap(), &EngineState::Standing).unwrap();
    }
    world.sample(Tick(0))
}

#[test]
fn lost_power_leaves_the_vanes_open() {
    let mut world = world_with(vec![]);
    world.place(0.2);
    drive(&mut world, 0.0, 1000);
    assert!((world.truth().opening - 1.0).abs() < 0.01, "{:?}", world.truth());
}

#[test]
fn negative_duty_closes_and_current_is_negative_then() {
    let mut world = world_with(vec![]);
    let sample = drive(&mut world, -0.3, 800);
    assert!(world.truth().opening.abs() < 0.02, "{:?}", world.truth());
    assert!(sample.motor_current.0 < -1.0);
    let closed = world.stop_truth().closed_counts.unwrap();
    assert!((f64::from(sample.position.0) - closed).abs() < 60.0, "{} against {closed}", sample.position.0);
}

#[test]
fn stop_truth_takes_up_half_the_play_at_each_end() {
    let stops = world_with(vec![]).stop_truth();
    let counts_per_deg = 10_700.0 / 70.0;
    assert!((stops.open_counts.unwrap() - (2600.0 - 0.2 * counts_per_deg)).abs() < 1e-6);
    assert!((stops.closed_counts.unwrap() - (13_300.0 + 0.2 * counts_per_deg)).abs() < 1e-6);
}

#[test]
fn a_rod_that_is_off_shows_the_lever_s_own_stops() {
    let stops = world_with(vec![FaultKind::RodOff]).stop_truth();
    let counts_per_deg = 10_700.0 / 70.0;
    assert!((stops.closed_counts.unwrap() - (2600.0 + 75.0 * counts_per_deg)).abs() < 1e-6);
}

#[test]
fn a_seized_ring_does_not_move() {
    let mut world = world_with(vec![FaultKind::Ring(RingCondition::Seized)]);
    drive(&mut world, -1.0, 500);
    assert!(world.truth().opening > 0.95, "{:?}", world.truth());
}

#[test]
fn a_broken_winding_draws_nothing_and_swapped_leads_turn_the_other_way() {
    let mut world = world_with(vec![FaultKind::WindingOpen]);
    assert!(drive(&mut world, -1.0, 300).motor_current.0.abs() < 0.05);
    let mut world = world_with(vec![FaultKind::MotorReversed]);
    // The current is sensed in the leads: it follows the duty, whichever way the motor turns.
    assert!(drive(&mut world, 0.4, 500).motor_current.0 > 1.0);
    assert!(world.truth().opening < 0.1 && world.truth().current_a < -1.0, "{:?}", world.truth());
}

#[test]
fn a_reversed_sensor_counts_the_other_way() {
    let (mut sound, mut reversed) =
        (world_with(vec![]), world_with(vec![FaultKind::PositionSensor(PositionFault::Reversed)]));
    let before = (sound.sample(Tick(0)).position.0, reversed.sample(Tick(0)).position.0);
    let after = (drive(&mut sound, -0.4, 300).position.0, drive(&mut reversed, -0.4, 300).position.0);
    assert!(after.0 > before.0 + 1000 && after.1 < before.1 - 1000, "{before:?} {after:?}");
}

#[test]
fn a_fault_sets_in_and_heals_at_its_times() {
    let what = FaultKind::PositionSensor(PositionFault::Channel(ChannelFault::Offset(1000.0)));
    let fault = Fault { at_s: 0.1, until_s: Some(0.2), what };
    let config = WorldConfig { faults: vec![fault], ..WorldConfig::default() };
    let mut world = World::new(&config, 1).unwrap();
    let counts = [50, 100, 100].map(|ticks| drive(&mut world, 0.0, ticks).position.0);
    let around = |value: i16, expected: i16| (value - expected).abs() < 60;
    assert!(around(counts[1], counts[0] + 1000) && around(counts[2], counts[0]), "{counts:?}");
}

#[test]
fn a_loose_stop_is_met_somewhere_else_each_time() {
    let loose = StopFault::Loose { play_rad: 0.02, drift_rad: 0.0 };
    let mut world = world_with(vec![FaultKind::RingStop(TravelEnd::High, loose)]);
    let touches: Vec<i16> = (0..4)
        .map(|_| {
            let pressed = drive(&mut world, -0.3, 600).position.0;
            drive(&mut world, 0.3, 300);
            pressed
        })
        .collect();
    let spread = touches.iter().max().unwrap() - touches.iter().min().unwrap();
    assert!(spread > 30, "{touches:?}");
}

#[test]
fn the_same_seed_gives_the_same_bits_and_another_seed_other_noise() {
    let run = |seed| {
        let mut world = World::new(&WorldConfig::default(), seed).unwrap();
        let inputs = EngineInputs::new(2000.0, 25.0);
        world.settle(0.4, &inputs).unwrap();
        (0..200)
            .map(|i| {
                let duty = Duty::try_new(if i % 20 < 10 { 0.2 } else { -0.3 }).unwrap();
                world.step(duty, &EngineState::Running(inputs)).unwrap();
                let sample = world.sample(Tick(i));
                (sample.position.0, sample.boost.0.to_bits(), sample.motor_current.0.to_bits())
            })
            .collect::<Vec<_>>()
    };
    assert_eq!(run(3), run(3));
    assert_ne!(run(3), run(4));
}

#[test]
fn a_diverging_air_path_is_named_with_its_time() {
    let mut config = WorldConfig::default();
    config.engine.air.exhaust_volume_m3 = 1e-9;
    let mut world = World::new(&config, 1).unwrap();
    let running = EngineState::Running(EngineInputs::new(2000.0, 25.0));
    let error = (0..100).find_map(|_| world.step(Duty::ZERO, &running).err()).unwrap().to_string();
    assert!(error.starts_with("at 0.00") && error.contains("the air path diverged"), "{error}");
}

#[test]
fn a_leaking_and_a_blocked_hose_cost_boost_and_the_tap_shows_where() {
    let boost = |fault: Option<FaultKind>, tap: BoostTap| {
        let faults = fault.into_iter().map(Fault::standing).collect();
        let mut config = WorldConfig { faults, ..WorldConfig::default() };
        config.sensors.boost_tap = tap;
        let mut world = World::new(&config, 1).unwrap();
        let inputs = EngineInputs::new(2000.0, 25.0);
        world.settle(0.3, &inputs).unwrap();
        let opening = world.truth().opening;
        for _ in 0..4000 {
            world.place(opening);
            world.step(Duty::ZERO, &EngineState::Running(inputs)).unwrap();
        }
        (world.truth().boost_kpa, f64::from(world.sample(Tick(0)).boost.0))
    };
    let (sound, _) = boost(None, BoostTap::Manifold);
    assert!(boost(Some(FaultKind::HoseLeakMm2(60.0)), BoostTap::Manifold).0 < sound - 5.0);
    let (manifold, before_hose) = boost(Some(FaultKind::HoseBlockedKpa(30.0)), BoostTap::CompressorOutlet);
    assert!(manifold < sound - 5.0 && before_hose > manifold + 10.0, "{sound} {manifold} {before_hose}");
}
