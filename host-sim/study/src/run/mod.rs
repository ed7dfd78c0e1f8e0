//! Closes the loop: a scenario's world under a controller, tick by tick.
//!
//! In: a scenario, the controller's settings, a seed. Out: metrics, guard events, and a trace where one is
//! wanted. The controller is `firmware-core`, unchanged. Its calibration is what a perfect learner would
//! have found on the unit before any fault. Refuses bad settings, and stops with the time when the world
//! diverges.

mod closed_loop;
mod lanes;
mod schedule;

pub(crate) use lanes::{Member, run_in_lanes};
pub(crate) use schedule::Played;
pub use schedule::{Schedule, ScheduleKnot};

use firmware_core::calibration::{Calibration, Contact, LearnedStop, Setup, Warmth};
use firmware_core::faults::FaultSet;
use firmware_core::guard::GuardEvent;
use firmware_core::settings::Settings;
use firmware_core::target::{BuiltInLaw, Law};
use firmware_core::units::{Opening, Volt};

use crate::metrics::{Meter, Metrics};
use crate::scenario::Scenario;
use crate::trace::RunTrace;
use closed_loop::ClosedLoop;
use plant::airpath::NoSteadyState;
use plant::check::BadParameter;
use plant::world::{Diverged, TICK_S, World, WorldConfig};

/// What is kept of a run besides its metrics.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Record {
    /// Nothing: campaigns.
    Nothing,
    /// A row every so many ticks, at least 1.
    EveryTicks(u32),
}

/// Why a run could not be made or finished.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum RunError {
    /// The world's parameters.
    #[error(transparent)]
    World(#[from] BadParameter),
    /// The controller's settings.
    #[error("controller settings: {0}")]
    Settings(String),
    /// No steady state to start from.
    #[error(transparent)]
    Start(#[from] NoSteadyState),
    /// The world ran away.
    #[error(transparent)]
    Diverged(#[from] Diverged),
}

/// A change of the guard's stage with its time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TimedEvent {
    /// Time, s.
    pub t_s: f64,
    /// What changed and why.
    pub event: GuardEvent,
}

/// What the controller finds wrong from here on, until the next change.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TimedFaults {
    /// Time, s.
    pub t_s: f64,
    /// All faults that it sees; none where the last one is over.
    pub faults: FaultSet,
}

/// What came of a run.
#[derive(Debug, Clone, PartialEq)]
pub struct RunOutcome {
    /// Metrics of the whole run.
    pub metrics: Metrics,
    /// Guard events, the first [`MOST_EVENTS`].
    pub events: Vec<TimedEvent>,
    /// Faults that the controller saw at any time of the run.
    pub faults: FaultSet,
    /// The same over time, the first [`MOST_EVENTS`] changes.
    pub fault_changes: Vec<TimedFaults>,
    /// Rows, where recording was asked for.
    pub trace: RunTrace,
}

/// Guard events kept; of further ones only the count is.
pub(crate) const MOST_EVENTS: usize = 200;

/// Runs a scenario with a row every 10 ms.
///
/// # Errors
/// [`RunError`].
pub fn run_scenario(scenario: &Scenario, settings: &Settings, seed: u64) -> Result<RunOutcome, RunError> {
    run_world(scenario, &scenario.world, settings, seed, Record::EveryTicks(10))
}

/// Runs a scenario's demand on another world, as a campaign does.
///
/// # Errors
/// [`RunError`].
pub fn run_world(
    scenario: &Scenario,
    world: &WorldConfig,
    settings: &Settings,
    seed: u64,
    record: Record,
) -> Result<RunOutcome, RunError> {
    run_under(BuiltInLaw::default(), scenario, world, settings, seed, record)
}

/// As [`run_world`], under a law of one's own in place of the one that the settings name.
///
/// # Errors
/// [`RunError`].
pub fn run_under<L: Law>(
    law: L,
    scenario: &Scenario,
    world: &WorldConfig,
    settings: &Settings,
    seed: u64,
    record: Record,
) -> Result<RunOutcome, RunError> {
    let mut run = RunUnderWay::new(scenario, world, settings, law, seed)?;
    let ClosedLoop { world, start, .. } = &mut run.bench;
    world.settle(start.opening, &start.inputs)?;
    for tick in 0..run.last_tick() {
        run.plan(tick)?;
        let ClosedLoop { world, planned, .. } = &mut run.bench;
        world.step(planned.duty, &planned.engine)?;
        if run.note()
            && let Record::EveryTicks(every) = record
            && run.tick_in_scenario(tick).is_multiple_of(every.max(1))
        {
            run.outcome.trace.rows.push(run.bench.planned.row);
        }
    }
    Ok(run.finish())
}

/// A run on its way.
struct RunUnderWay<'a, L = BuiltInLaw> {
    bench: ClosedLoop<'a, L>,
    meter: Meter,
    outcome: RunOutcome,
    warm_up_ticks: u32,
    ticks: u32,
}

impl<'a, L: Law> RunUnderWay<'a, L> {
    /// A run whose world is still to settle.
    fn new(
        scenario: &'a Scenario,
        world: &WorldConfig,
        settings: &Settings,
        law: L,
        seed: u64,
    ) -> Result<Self, RunError> {
        let bench = ClosedLoop::new(scenario, world, settings, law, seed)?;
        let meter = Meter::new(scenario.limits, scenario.step_at_s, world);
        let outcome = RunOutcome {
            metrics: meter.finish(),
            events: Vec::new(),
            faults: FaultSet::NONE,
            fault_changes: Vec::new(),
            trace: RunTrace::default(),
        };
        let (warm_up_ticks, ticks) = (ticks(scenario.warm_up_s), ticks(scenario.duration_s));
        Ok(Self { bench, meter, outcome, warm_up_ticks, ticks })
    }

    /// Ticks of warm-up and scenario.
    fn last_tick(&self) -> u32 {
        self.warm_up_ticks + self.ticks
    }

    /// Tick since the end of the warm-up; 0 during it.
    fn tick_in_scenario(&self, tick: u32) -> u32 {
        tick.saturating_sub(self.warm_up_ticks)
    }

    /// What the controller makes of a tick.
    fn plan(&mut self, tick: u32) -> Result<(), BadParameter> {
        let t_s = f64::from(self.tick_in_scenario(tick)) * TICK_S;
        self.bench.plan(tick, t_s, tick < self.warm_up_ticks)
    }

    /// Takes a tick that is done into the metrics. False: it belongs to the warm-up.
    fn note(&mut self) -> bool {
        let planned = &self.bench.planned;
        if planned.is_warm_up {
            return false;
        }
        self.meter.add(&planned.row);
        self.outcome.faults = self.outcome.faults.union(planned.faults);
        let changes = &mut self.outcome.fault_changes;
        let before = changes.last().map_or(FaultSet::NONE, |change| change.faults);
        if planned.faults != before && changes.len() < MOST_EVENTS {
            changes.push(TimedFaults { t_s: planned.row.t_s, faults: planned.faults });
        }
        if let (Some(event), true) = (planned.event, self.outcome.events.len() < MOST_EVENTS) {
            self.outcome.events.push(TimedEvent { t_s: planned.row.t_s, event });
        }
        true
    }

    fn finish(mut self) -> RunOutcome {
        self.outcome.metrics = self.meter.finish();
        self.outcome
    }
}

fn ticks(span_s: f64) -> u32 {
    libm::round(span_s / TICK_S) as u32
}

/// Part of the travel that is kept free at each stop.
const CLEARANCE: f32 = 0.01;

/// The calibration that a perfect learner would have found before any fault.
///
/// # Errors
/// When the world's parameters are out of range.
pub fn perfect_calibration(world: &WorldConfig) -> Result<Calibration, BadParameter> {
    let sound = WorldConfig { faults: Vec::new(), ..world.clone() };
    let stops = World::new(&sound, 0)?.stop_truth();
    let missing = || BadParameter::new("actuator", "no stop at one end", "a stop at both ends");
    let stop = |counts: Option<f64>, contact: Contact| {
        let counts = counts.ok_or_else(missing)? as f32;
        Ok(LearnedStop {
            zero_push_counts: counts,
            pressed_counts: counts,
            released_counts: counts,
            compliance_counts_per_a: 0.0,
            repeat_range_counts: 0.0,
            contact,
        })
    };
    Ok(Calibration {
        closed: stop(stops.closed_counts, Contact::MinimumFlow)?,
        open: stop(stops.open_counts, Contact::RingContact)?,
        setup: Setup::OnEngine,
        warmth: Warmth::Cold,
        supply: Volt(world.actuator.bridge.supply_v as f32),
        temperature: None,
        clearance: Opening::saturating(CLEARANCE, Opening::CLOSED),
    })
}
