//! World and controller, and what passes between them in a tick.

use firmware_core::controller::{Controller, TickOutput};
use firmware_core::faults::FaultSet;
use firmware_core::guard::{FuelRequest, GuardEvent};
use firmware_core::sample::{EngineDemand, Request};
use firmware_core::settings::{ModeSettings, Settings};
use firmware_core::target::{BuiltInLaw, Law};
use firmware_core::units::{Duty, Kilopascal, Load, Rpm, Tick};

use super::{RunError, perfect_calibration};
use crate::scenario::{Demand, Scenario, wanted_boost_kpa};
use crate::trace::TraceRow;
use plant::airpath::{EngineInputs, FuelAsked};
use plant::check::BadParameter;
use plant::world::{EngineState, World, WorldConfig};

/// A tick as the controller will have it.
pub(super) struct Planned {
    pub(super) row: TraceRow,
    pub(super) duty: Duty,
    pub(super) engine: EngineState,
    pub(super) event: Option<GuardEvent>,
    pub(super) faults: FaultSet,
    pub(super) is_warm_up: bool,
}

impl Planned {
    fn nothing() -> Self {
        Self {
            row: TraceRow::default(),
            duty: Duty::ZERO,
            engine: EngineState::Standing,
            event: None,
            faults: FaultSet::NONE,
            is_warm_up: true,
        }
    }
}

/// Where the world is to come to rest before the first tick.
#[derive(Clone, Copy)]
pub(super) struct Start {
    pub(super) opening: f64,
    pub(super) inputs: EngineInputs,
}

/// World and controller with what passes between them.
pub(super) struct ClosedLoop<'a, L = BuiltInLaw> {
    pub(super) world: World,
    pub(super) planned: Planned,
    pub(super) start: Start,
    controller: Controller<L>,
    demand: crate::scenario::DemandCursor<'a>,
    modes: ModeSettings,
    full_load_mg: f64,
    altitude_m: Option<f64>,
    fuel_request: FuelAsked,
    wish: Wish,
}

/// A demand, and what becomes of it before it is asked of the controller: worked out once for as long as it
/// stands still.
#[derive(Clone, Copy)]
struct Wish {
    demand: Demand,
    request: Request,
    /// What the controller makes of the boost target in this air, kPa.
    boost_target_kpa: f64,
}

/// Altitude is followed in steps of this size, m: 0.12 kPa.
const ALTITUDE_STEP_M: f64 = 10.0;

impl<'a, L: Law> ClosedLoop<'a, L> {
    /// A loop whose world is still to settle at its [`Start`].
    pub(super) fn new(
        scenario: &'a Scenario,
        world: &WorldConfig,
        settings: &Settings,
        law: L,
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
        let mut controller = Controller::with_law(*settings, law);
        controller.set_calibration(Some(perfect_calibration(world)?));
        let first = scenario.cursor().at(0.0);
        let mut bench = Self {
            world: World::new(&config, seed)?,
            planned: Planned::nothing(),
            start: Start {
                opening: scenario.start_opening,
                inputs: EngineInputs::new(first.speed_rpm, first.fuel_mg),
            },
            controller,
            demand: scenario.cursor(),
            modes: settings.target.modes,
            full_load_mg: world.engine.full_load_mg,
            altitude_m: None,
            fuel_request: FuelAsked::Free,
            wish: Wish { demand: first, request: Request::Release, boost_target_kpa: 0.0 },
        };
        bench.follow(first)?;
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

    /// Reads the world and asks the controller; the world's own step is still to come. The plan stays here: it
    /// is too large to be handed round every tick.
    pub(super) fn plan(&mut self, tick: u32, t_s: f64, is_warm_up: bool) -> Result<(), BadParameter> {
        let demand = self.demand.at(t_s);
        if demand != self.wish.demand {
            self.follow(demand)?;
        }
        let sample = self.world.sample(Tick(tick));
        let output = self.controller.tick(&sample, &self.wish.request);
        self.fuel_request = asked(output.fuel);
        self.planned = Planned {
            row: self.row(t_s, &output),
            duty: output.duty,
            engine: EngineState::Running(inputs(&demand, self.fuel_request)),
            event: output.event,
            faults: output.faults,
            is_warm_up,
        };
        Ok(())
    }

    /// Takes on a demand that is not the last one.
    fn follow(&mut self, demand: Demand) -> Result<(), BadParameter> {
        self.follow_altitude(&demand)?;
        let load = (demand.fuel_mg / self.full_load_mg).clamp(0.0, 1.0);
        let boost_kpa = demand.boost_kpa.unwrap_or_else(|| wanted_boost_kpa(demand.speed_rpm, load));
        let boost_target = Kilopascal(boost_kpa as f32);
        let request = Request::Engine(EngineDemand {
            mode: demand.vanes.into(),
            boost_target,
            engine_speed: Rpm(demand.speed_rpm as f32),
            load: Load::saturating(load as f32, Load::MIN),
        });
        let ambient = Kilopascal(self.world.truth().ambient_kpa as f32);
        let boost_target_kpa = f64::from(self.modes.boost_target_at(boost_target, ambient).0);
        self.wish = Wish { demand, request, boost_target_kpa };
        Ok(())
    }

    fn row(&self, t_s: f64, output: &TickOutput) -> TraceRow {
        let (truth, demand) = (self.world.truth(), &self.wish.demand);
        TraceRow {
            t_s,
            speed_rpm: demand.speed_rpm,
            fuel_asked_mg: demand.fuel_mg,
            fuel_mg: truth.fuel_mg,
            boost_target_kpa: self.wish.boost_target_kpa,
            boost_kpa: truth.boost_kpa,
            exhaust_kpa: truth.exhaust_kpa,
            turbo_rpm: truth.turbo_rpm,
            opening_target: output.target.map_or(truth.opening, |opening| f64::from(opening.get())),
            opening: truth.opening,
            duty: f64::from(output.duty.get()),
            current_a: truth.current_a,
            stage: output.stage,
            air_per_fuel: self.world.engine().air_per_fuel(),
            recirculated_share: (demand.egr_mm2 > 0.0)
                .then(|| self.world.engine().recirculated_share(&inputs(demand, self.fuel_request))),
            wanted_share: demand.egr_share,
        }
    }
}

fn inputs(demand: &Demand, fuel_request: FuelAsked) -> EngineInputs {
    EngineInputs {
        speed_rpm: demand.speed_rpm,
        fuel_mg: demand.fuel_mg,
        egr_area_m2: demand.egr_mm2 * 1e-6,
        fuel_request,
    }
}

fn asked(fuel: FuelRequest) -> FuelAsked {
    match fuel {
        FuelRequest::Free => FuelAsked::Free,
        FuelRequest::LimitTo(load) => FuelAsked::LimitTo(f64::from(load.get())),
        FuelRequest::Cut => FuelAsked::LimitTo(0.0),
    }
}
