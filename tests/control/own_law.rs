//! A law of one's own, without a change of the core: openings played by time, in the closed loop of the simulator.

use firmware_core::position::regulator::OutputRange;
use firmware_core::settings::{Settings, TargetSettings};
use firmware_core::target::{Aim, Forward, Law};
use firmware_core::units::TICK_SECONDS;
use study::run::{Record, RunOutcome, run_under};
use study::scenario::{BuiltIn, Scenario};

/// Plays openings by the time that boost control has run.
#[derive(Debug, Clone)]
struct Schedule {
    /// From when, s, which opening.
    steps: &'static [(f32, f32)],
    ticks: u32,
}

impl Schedule {
    fn of(steps: &'static [(f32, f32)]) -> Self {
        Self { steps, ticks: 0 }
    }

    fn now(&self) -> f32 {
        let now_s = self.ticks as f32 * TICK_SECONDS;
        self.steps.iter().rfind(|(from_s, _)| *from_s <= now_s).map_or(1.0, |(_, opening)| *opening)
    }
}

impl Law for Schedule {
    fn forward(&mut self, _: &TargetSettings, aim: &Aim<'_>) -> Forward {
        Forward { opening: aim.minimum, closes: 0.0, opens: 1.0 }
    }

    fn start(&mut self, _: &TargetSettings, _: &Aim<'_>, _: f32) {
        self.ticks = 0;
    }

    fn tick(&mut self, _: &TargetSettings, aim: &Aim<'_>, _: OutputRange) -> f32 {
        self.ticks += 1;
        self.now() - aim.minimum
    }
}

fn scenario() -> Scenario {
    let mut scenario = BuiltIn::named("boost-step").unwrap().scenario().unwrap();
    scenario.warm_up_s = 0.0;
    scenario
}

fn played(steps: &'static [(f32, f32)]) -> RunOutcome {
    let (scenario, settings) = (scenario(), Settings::default());
    run_under(Schedule::of(steps), &scenario, &scenario.world, &settings, 1, Record::EveryTicks(1)).unwrap()
}

/// Opening that the controller asked for at a time.
fn asked_at(outcome: &RunOutcome, t_s: f64) -> f64 {
    outcome.trace.rows.iter().find(|row| row.t_s >= t_s).unwrap().opening_target
}

/// Openings end this far before the stops.
const CLEARANCE: f64 = 0.01;

#[test]
fn the_simulator_runs_a_law_of_ones_own() {
    let outcome = played(&[(0.0, 0.5), (1.0, 0.8)]);
    for (t_s, opening) in [(0.9, 0.5), (1.9, 0.8)] {
        assert!((asked_at(&outcome, t_s) - opening).abs() < 1.0e-6, "at {t_s}: {}", asked_at(&outcome, t_s));
    }
}

#[test]
fn the_core_holds_a_law_of_ones_own_to_the_least_opening() {
    let least = Settings::default().target.minimum_opening.0;
    let least = least.iter().flatten().copied().fold(1.0, f32::min);
    for (opening, from) in [(0.0, f64::from(least)), (-1.0e30, f64::from(least)), (f32::NAN, 1.0 - CLEARANCE)]
    {
        let steps: &'static [(f32, f32)] = Box::leak(Box::new([(0.0, opening)]));
        let asked = asked_at(&played(steps), 0.5);
        assert!(asked >= from - 1.0e-6, "{opening}: {asked}");
    }
}
