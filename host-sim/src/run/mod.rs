//! Closes the loop: a scenario's world under a controller, tick by tick.
//!
//! In: a scenario, the controller's settings, a seed. Out: metrics, guard events, and a trace where one is
//! wanted. The controller is `firmware-core`, unchanged. Its calibration is what a perfect learner would
//! have found on the unit before any fault. Refuses bad settings, and stops with the time when the world
//! diverges.

mod trace;

pub use trace::{COLUMNS, Trace, TraceColumn, TraceRow};

use firmware_core::calibration::{Calibration, Contact, LearnedStop, Setup, Warmth};
use firmware_core::controller::{Controller, TickOutput};
use firmware_core::faults::FaultSet;
use firmware_core::guard::{FuelRequest as AskedFuel, GuardEvent};
use firmware_core::sample::{EngineDemand, Request};
use firmware_core::settings::Settings;
use firmware_core::units::{Kilopascal, Load, Opening, Rpm, Tick, Volt};

use crate::airpath::{EngineInputs, FuelRequest, NoSteadyState};
use crate::check::BadParameter;
use crate::metrics::{Meter, Metrics};
use crate::scenario::{Demand, Scenario, wanted_boost_kpa};
use crate::world::{Diverged, EngineState, TICK_S, World, WorldConfig};

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

/// What came of a run.
#[derive(Debug, Clone, PartialEq)]
pub struct RunOutcome {
    /// Metrics of the whole run.
    pub metrics: Metrics,
    /// Guard events, the first [`MOST_EVENTS`].
    pub events: Vec<TimedEvent>,
    /// Faults that the controller saw at any time of the run.
    pub faults: FaultSet,
    /// Rows, where recording was asked for.
    pub trace: Trace,
}

/// Guard events kept: a guard that changes more often is told by its count.
pub const MOST_EVENTS: usize = 200;

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
    let mut bench = Loop::new(scenario, world, settings, seed)?;
    let warm_up_ticks = ticks(scenario.warm_up_s);
    for tick in 0..warm_up_ticks {
        bench.tick(tick, 0.0)?;
    }
    let mut meter = Meter::new(scenario.limits, scenario.step_at_s, world);
    let mut outcome = RunOutcome {
        metrics: meter.finish(),
        events: Vec::new(),
        faults: FaultSet::NONE,
        trace: Trace::default(),
    };
    for tick in 0..ticks(scenario.duration_s) {
        let t_s = f64::from(tick) * TICK_S;
        let row = bench.tick(warm_up_ticks + tick, t_s)?;
        meter.add(&row);
        outcome.faults = outcome.faults.union(bench.faults);
        if let (Some(event), true) = (bench.last_event, outcome.events.len() < MOST_EVENTS) {
            outcome.events.push(TimedEvent { t_s, event });
        }
        if let Record::EveryTicks(every) = record
            && tick.is_multiple_of(every.max(1))
        {
            outcome.trace.rows.push(row);
        }
    }
    outcome.metrics = meter.finish();
    Ok(outcome)
}

fn ticks(span_s: f64) -> u32 {
    libm::round(span_s / TICK_S) as u32
}

/// World and controller with what passes between them.
struct Loop<'a> {
    world: World,
    controller: Controller,
    demand: crate::scenario::DemandCursor<'a>,
    full_load_mg: f64,
    altitude_m: Option<f64>,
    fuel_request: FuelRequest,
    last_event: Option<GuardEvent>,
    faults: FaultSet,
}

/// Altitude is followed in steps of this size, m: 0.12 kPa.
const ALTITUDE_STEP_M: f64 = 10.0;

impl<'a> Loop<'a> {
    fn new(
        scenario: &'a Scenario,
        world: &WorldConfig,
        settings: &Settings,
        seed: u64,
    ) -> Result<Self, RunError> {
        settings.validate().map_err(|error| RunError::Settings(error.to_string()))?;
        let mut config = world.clone();
        // Faults are timed from the end of the warm-up; standing ones are there all along.
        for fault in &mut config.faults {
            if fault.at_s > 0.0 {
                fault.at_s += scenario.warm_up_s;
            }
            fault.until_s = fault.until_s.map(|until_s| until_s + scenario.warm_up_s);
        }
        let mut controller = Controller::new(*settings);
        controller.set_calibration(Some(perfect_calibration(world)?));
        let first = scenario.cursor().at(0.0);
        let mut bench = Self {
            world: World::new(&config, seed)?,
            controller,
            demand: scenario.cursor(),
            full_load_mg: world.engine.full_load_mg,
            altitude_m: None,
            fuel_request: FuelRequest::Free,
            last_event: None,
            faults: FaultSet::NONE,
        };
        bench.follow_altitude(&first)?;
        let inputs = EngineInputs::new(first.speed_rpm, first.fuel_mg);
        bench.world.settle(scenario.start_opening, &inputs)?;
        Ok(bench)
    }

    fn follow_altitude(&mut self, demand: &Demand) -> Result<(), BadParameter> {
        let Some(wanted_m) = demand.altitude_m else { return Ok(()) };
        if self.altitude_m.is_some_and(|now_m| (wanted_m - now_m).abs() < ALTITUDE_STEP_M) {
            return Ok(());
        }
        self.altitude_m = Some(wanted_m);
        self.world.set_altitude(wanted_m)
    }

    fn tick(&mut self, tick: u32, t_s: f64) -> Result<TraceRow, RunError> {
        let demand = self.demand.at(t_s);
        self.follow_altitude(&demand)?;
        let load = (demand.fuel_mg / self.full_load_mg).clamp(0.0, 1.0);
        let boost_target_kpa = demand.boost_kpa.unwrap_or_else(|| wanted_boost_kpa(demand.speed_rpm, load));
        let request = Request::Engine(EngineDemand {
            mode: demand.vanes.into(),
            boost_target: Kilopascal(boost_target_kpa as f32),
            engine_speed: Rpm(demand.speed_rpm as f32),
            load: Load::saturating(load as f32, Load::MIN),
        });
        let sample = self.world.sample(Tick(tick));
        let output = self.controller.tick(&sample, &request);
        self.last_event = output.event;
        self.faults = output.faults;
        self.fuel_request = asked(output.fuel);
        let inputs = EngineInputs {
            speed_rpm: demand.speed_rpm,
            fuel_mg: demand.fuel_mg,
            egr_area_m2: demand.egr_mm2 * 1e-6,
            fuel_request: self.fuel_request,
        };
        let row = self.row(t_s, &demand, boost_target_kpa, &output);
        self.world.step(output.duty, &EngineState::Running(inputs))?;
        Ok(row)
    }

    fn row(&self, t_s: f64, demand: &Demand, boost_target_kpa: f64, output: &TickOutput) -> TraceRow {
        let truth = self.world.truth();
        TraceRow {
            t_s,
            speed_rpm: demand.speed_rpm,
            fuel_asked_mg: demand.fuel_mg,
            fuel_mg: truth.fuel_mg,
            boost_target_kpa,
            boost_kpa: truth.boost_kpa,
            exhaust_kpa: truth.exhaust_kpa,
            turbo_rpm: truth.turbo_rpm,
            opening_target: output.target.map_or(truth.opening, |opening| f64::from(opening.get())),
            opening: truth.opening,
            duty: f64::from(output.duty.get()),
            current_a: truth.current_a,
            stage: output.stage,
        }
    }
}

fn asked(fuel: AskedFuel) -> FuelRequest {
    match fuel {
        AskedFuel::Free => FuelRequest::Free,
        AskedFuel::LimitTo(load) => FuelRequest::LimitTo(f64::from(load.get())),
        AskedFuel::Cut => FuelRequest::LimitTo(0.0),
    }
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
