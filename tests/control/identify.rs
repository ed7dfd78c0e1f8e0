//! Identification against the numbers that the invented bench actuator A is made of (hand calculation from
//! motor, gear, spring and friction), on records that the world itself produced.

use firmware_core::calibration::{Calibration, Contact, LearnedStop, Setup, Warmth};
use firmware_core::command::Command;
use firmware_core::controller::Controller;
use firmware_core::sample::Request;
use firmware_core::settings::Settings;
use firmware_core::units::{Opening, Tick, Volt};
use plant::actuator::ActuatorParams;
use plant::world::{EngineState, World, WorldConfig};
use tune::{IdentifyError, Loop, Process, Rule, TunePoint, identify, predicted, simulated, tuned_settings};
use vanebench_checks::assert_near;

fn calibration(world: &World) -> Calibration {
    let truth = world.stop_truth();
    let stop = |counts: Option<f64>, contact| {
        let counts = counts.expect("a stop") as f32;
        LearnedStop {
            zero_push_counts: counts,
            pressed_counts: counts,
            released_counts: counts,
            compliance_counts_per_a: 20.0,
            repeat_range_counts: 1.0,
            contact,
        }
    };
    Calibration {
        closed: stop(truth.closed_counts, Contact::MinimumFlow),
        open: stop(truth.open_counts, Contact::RingContact),
        setup: Setup::Attached,
        warmth: Warmth::Cold,
        supply: Volt(12.0),
        temperature: None,
        clearance: Opening::try_new(0.01).expect("inside"),
    }
}

/// Steps of several sizes in both directions, recorded as the bench records them.
fn step_record(actuator: ActuatorParams) -> Vec<TunePoint> {
    let config = WorldConfig { actuator, ..WorldConfig::default() };
    let mut world = World::new(&config, 7).expect("a valid world");
    let mut controller = Controller::new(Settings::default());
    controller.set_calibration(Some(calibration(&world)));
    let openings = [0.3, 0.7, 0.4, 0.9, 0.2, 0.6, 0.5, 0.8, 0.1, 0.5];
    let mut points = Vec::new();
    for (index, opening) in openings.into_iter().enumerate() {
        let wanted = Request::Bench(Command::Opening(Opening::try_new(opening).expect("inside")));
        for at in 0..600 {
            let tick = (index * 600 + at) as u32;
            let sample = world.sample(Tick(tick));
            let output = controller.tick(&sample, &wanted);
            let opening = controller.calibration().expect("calibrated").unclamped_opening(sample.position);
            let volts = f64::from(output.duty.get()) * f64::from(sample.supply.0);
            points.push(TunePoint { tick, volts, opening: f64::from(opening) });
            world.step(output.duty, &EngineState::Standing).expect("a sound world");
        }
    }
    points
}

#[test]
fn the_plain_actuator_is_found_again_from_its_steps() {
    let found = identify(&step_record(ActuatorParams::bench_actuator_a())).expect("identified");
    let (travel, nk, resistance) = (70.0_f64.to_radians(), 48.0 * 0.018, 1.6);
    // 6 V without load end at 6.524891252 rad/s (closed form of the linear motor).
    assert_near("gain", found.gain_per_s_v, 6.524_891_252 / 6.0 / travel, 0.03);
    // (NK)² + Rb over RJ: 10.711294 ms.
    assert_near("time constant", found.time_constant_s, 10.711_294e-3, 0.12);
    assert_near("sliding friction", found.friction_v, 0.18 / nk * resistance, 0.15);
    // The spring's rate is a twentieth of the volts in play, so it comes out roughly only.
    assert_near("spring", found.spring_v, 0.20 * travel / nk * resistance, 0.4);
    let hold = -(0.30 + 0.20 * travel / 2.0) / nk * resistance;
    assert_near("hold at mid travel", found.hold_v, hold, 0.1);
    // Half a tick of holding the duty, the winding's 0.56 ms, and the tick in which the sample was taken.
    assert!((0.0005..0.003).contains(&found.dead_time_s), "dead time {}", found.dead_time_s);
    assert!(found.explained > 0.98, "explains {}", found.explained);
    assert!(matches!(found.process(0.012), Process::Integrating { .. }), "a weak spring integrates");
}

#[test]
fn the_tuned_loop_steps_as_predicted_and_improves_nothing_by_luck() {
    let found = identify(&step_record(WorldConfig::default().actuator)).expect("identified");
    let process = found.process(0.012);
    let gains = Rule::Simc { closed_loop_s: 0.012 }.gains(&process);
    let margins = Loop { process, gains }.margins().expect("a crossover");
    assert!(margins.sensitivity < 1.7, "Ms {}", margins.sensitivity);
    let tuned = tuned_settings(&Settings::default(), &found, &gains).expect("inside the ranges");
    let (linear, real) =
        (predicted(&Loop { process, gains }, 0.45, 0.55), simulated(&tuned, &found, 0.45, 0.55));
    assert!(linear.t86_ms.is_some_and(|t| t < 60), "{:?}", linear.t86_ms);
    assert!(real.t86_ms.is_some_and(|t| t < 120), "{:?}", real.t86_ms);
    assert!(real.overshoot_percent < 5.0, "{}", real.overshoot_percent);
    assert!(real.steady_error.abs() < 0.003, "{}", real.steady_error);
}

#[test]
fn a_record_without_motion_is_refused_with_what_to_record() {
    let still: Vec<TunePoint> = (0..2000).map(|tick| TunePoint { tick, volts: 0.1, opening: 0.5 }).collect();
    let refusal = identify(&still).expect_err("nothing moves");
    assert_eq!(refusal, IdentifyError::TooStill { seen: 0, needed: 200 });
    assert!(refusal.to_string().contains("record steps"));
}
