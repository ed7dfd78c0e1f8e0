//! One world, from cruise to full load, and what became of its limits.

use firmware_core::calibration::{Calibration, Contact, LearnedStop, Setup, Warmth};
use firmware_core::controller::{Controller, TickOutput};
use firmware_core::guard::{FuelRequest as Asked, GuardCause, GuardStage};
use firmware_core::sample::{Request, Sample};
use firmware_core::settings::Settings;
use firmware_core::units::{Opening, Tick, Volt};
use rand::SeedableRng;
use rand_pcg::Pcg64Mcg;

use super::fault::{DrawnWorld, GuardFault};
use super::{GuardCampaign, GuardCampaignError};
use plant::airpath::{EngineInputs, FuelRequest, FuelResponse};
use plant::world::{EngineState, Truth, World};

/// Length of a run, ticks.
const RUN_TICKS: u32 = 9000;
/// Opening at which the cruise begins.
const CRUISE_OPENING: f64 = 0.35;

/// Why limits were passed although the controller did what it could.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum PassedWhy {
    /// Nobody can open the vanes, and the engine refuses the fuel cut.
    NoVanesFuelRefused,
    /// Nobody can open the vanes, and the engine obeys the fuel cut late.
    NoVanesFuelLate,
    /// The only sensor that could know reads low, and no turbo speed sensor is fitted.
    SensorBlind,
    /// The turbo runs ahead of a leaking or clogged hose, and no turbo speed sensor is fitted.
    HoseHidesSpeed,
    /// Boost reads low by less than the turbo speed sensor can tell.
    SensorLowUnseen,
    /// The position sensor hides that the vanes are not open, and the fuel cut is refused or late.
    PositionHidesVanes,
}

impl PassedWhy {
    /// Name in the table.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::NoVanesFuelRefused => "vanes cannot open, fuel cut refused",
            Self::NoVanesFuelLate => "vanes cannot open, fuel cut late",
            Self::SensorBlind => "boost reads low, no turbo speed sensor",
            Self::SensorLowUnseen => "boost reads low by less than turbo speed can tell",
            Self::HoseHidesSpeed => "hose fault upstream of the sensor, no turbo speed sensor",
            Self::PositionHidesVanes => "position reads open, fuel cut refused or late",
        }
    }
}

/// What became of one world.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WorldVerdict {
    /// Limits kept.
    Held,
    /// Limits passed for a reason outside the controller.
    Lost(PassedWhy),
    /// Limits passed and no reason found, or the guard was slower than stated.
    Unhandled,
}

/// One world's figures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WorldFigures {
    /// Number of the world.
    pub index: u32,
    /// What was wrong.
    pub fault: GuardFault,
    /// What became of it.
    pub verdict: WorldVerdict,
    /// Highest true boost as a fraction of its limit.
    pub boost_used: f64,
    /// Highest true boost, kPa.
    pub boost_kpa: f64,
    /// Highest true turbo speed, rpm.
    pub turbo_rpm: f64,
    /// Highest true exhaust pressure, kPa.
    pub exhaust_kpa: f64,
    /// Longest time that a reading stood over its trip level before the guard opened, ticks.
    pub reaction_ticks: u32,
    /// The guard left normal.
    pub acted: bool,
    /// Why the guard first tripped (opened, could not open, or latched).
    pub trip: Option<GuardCause>,
}

/// Runs one world of a campaign.
///
/// # Errors
/// When the drawn world is refused or runs away.
pub fn run_one(campaign: &GuardCampaign, index: u32) -> Result<WorldFigures, GuardCampaignError> {
    let refused = |reason: String| GuardCampaignError::World { index, reason };
    let mut rng = Pcg64Mcg::seed_from_u64(campaign.seed.wrapping_add(u64::from(index)));
    let fault = GuardFault::ALL[index as usize % GuardFault::ALL.len()];
    let plan = DrawnWorld::draw(fault, &mut rng);
    let mut world = World::new(&plan.world, campaign.seed ^ u64::from(index))
        .map_err(|reason| refused(reason.to_string()))?;
    let mut controller = Controller::new(campaign.settings);
    controller.set_calibration(Some(learned(&world)));
    let (speed_rpm, load) = plan.drive.at(0.0);
    let cruise = EngineInputs::new(speed_rpm, load * plan.world.engine.full_load_mg);
    world.settle(CRUISE_OPENING, &cruise).map_err(|reason| refused(reason.to_string()))?;
    let mut watch = Peaks::new(&campaign.settings, world.truth().ambient_kpa);
    for tick in 0..RUN_TICKS {
        let time_s = world.time_s();
        let sample = world.sample(Tick(tick));
        let output = controller.tick(&sample, &Request::Engine(plan.drive.demand(time_s)));
        let (speed_rpm, load) = plan.drive.at(time_s);
        let inputs = EngineInputs {
            fuel_request: asked(output.fuel),
            ..EngineInputs::new(speed_rpm, load * plan.world.engine.full_load_mg)
        };
        world
            .step(output.duty, &EngineState::Running(inputs))
            .map_err(|reason| GuardCampaignError::Diverged { index, reason })?;
        watch.look(&campaign.settings, &sample, &output, &world.truth());
    }
    Ok(watch.outcome(index, &plan, &campaign.settings))
}

fn asked(fuel: Asked) -> FuelRequest {
    match fuel {
        Asked::Free => FuelRequest::Free,
        Asked::LimitTo(load) => FuelRequest::LimitTo(f64::from(load.get())),
        Asked::Cut => FuelRequest::LimitTo(0.0),
    }
}

/// The calibration that a perfect learner would have stored for this unit.
fn learned(world: &World) -> Calibration {
    let truth = world.stop_truth();
    let stop = |counts: Option<f64>, contact| {
        let counts = counts.unwrap_or_default() as f32;
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
        setup: Setup::OnEngine,
        warmth: Warmth::Hot,
        supply: Volt(12.0),
        temperature: None,
        clearance: Opening::saturating(0.01, Opening::CLOSED),
    }
}

/// Peaks and reaction, tick by tick.
struct Peaks {
    boost_limit_kpa: f64,
    trip_kpa: f32,
    last_kpa: f32,
    /// Ticks that a jump of the reading may be debounced before it counts.
    jump_ticks: u32,
    boost_kpa: f64,
    turbo_rpm: f64,
    exhaust_kpa: f64,
    over_ticks: u32,
    reaction_ticks: u32,
    acted: bool,
    trip: Option<GuardCause>,
}

impl Peaks {
    fn new(settings: &Settings, ambient_kpa: f64) -> Self {
        let limits = &settings.guard.limits;
        let limit = f64::from(limits.boost.0).min(f64::from(limits.boost_ratio) * ambient_kpa);
        Self {
            boost_limit_kpa: limit,
            trip_kpa: limit as f32 - limits.boost_lag_margin.0,
            last_kpa: ambient_kpa as f32,
            jump_ticks: 0,
            boost_kpa: 0.0,
            turbo_rpm: 0.0,
            exhaust_kpa: 0.0,
            over_ticks: 0,
            reaction_ticks: 0,
            acted: false,
            trip: None,
        }
    }

    fn look(&mut self, settings: &Settings, sample: &Sample, output: &TickOutput, truth: &Truth) {
        self.boost_kpa = self.boost_kpa.max(truth.boost_kpa);
        self.turbo_rpm = self.turbo_rpm.max(truth.turbo_rpm);
        self.exhaust_kpa = self.exhaust_kpa.max(truth.exhaust_kpa);
        let is_open = matches!(output.stage, GuardStage::Open | GuardStage::CannotOpen | GuardStage::Latched);
        self.acted |= output.stage != GuardStage::Normal;
        if is_open {
            self.trip = self.trip.or(output.event.map(|event| event.cause));
        }
        // A reading that jumps is first taken for a wild one.
        if (sample.boost.0 - self.last_kpa).abs() > settings.plausibility.boost_step.0 {
            self.jump_ticks = u32::from(settings.plausibility.debounce_ticks);
        }
        self.last_kpa = sample.boost.0;
        self.jump_ticks = self.jump_ticks.saturating_sub(1);
        let is_over = sample.boost.0 >= self.trip_kpa && self.jump_ticks == 0;
        self.over_ticks = if is_over && !is_open { self.over_ticks + 1 } else { 0 };
        self.reaction_ticks = self.reaction_ticks.max(self.over_ticks);
    }

    fn outcome(&self, index: u32, plan: &DrawnWorld, settings: &Settings) -> WorldFigures {
        let speed_limit = f64::from(settings.guard.limits.turbo_speed.0);
        let has_exhaust = plan.world.sensors.exhaust.fitted && plan.fault != GuardFault::ExhaustLost;
        let has_passed = self.boost_kpa > self.boost_limit_kpa
            || self.turbo_rpm > speed_limit
            || (has_exhaust && self.exhaust_kpa > f64::from(settings.guard.limits.exhaust.0));
        let is_slow = self.reaction_ticks > u32::from(settings.guard.stages.reaction_ticks);
        let excuse = excuse(plan, self.boost_kpa / self.boost_limit_kpa, self.turbo_rpm / speed_limit);
        let verdict = match (has_passed, is_slow, excuse) {
            (false, false, _) => WorldVerdict::Held,
            (true, false, Some(loss)) => WorldVerdict::Lost(loss),
            (_, _, _) => WorldVerdict::Unhandled,
        };
        WorldFigures {
            index,
            fault: plan.fault,
            verdict,
            boost_used: self.boost_kpa / self.boost_limit_kpa,
            boost_kpa: self.boost_kpa,
            turbo_rpm: self.turbo_rpm,
            exhaust_kpa: self.exhaust_kpa,
            reaction_ticks: self.reaction_ticks,
            acted: self.acted,
            trip: self.trip,
        }
    }
}

/// Boost over its limit, as a fraction of it, that a turbo speed sensor cannot tell from a sound unit's
/// spread: the excess allowed before boost is disbelieved, in pressure.
const UNSEEN_BOOST: f64 = 0.12;

/// Why this world may be lost whatever the controller does, if there is a reason.
fn excuse(plan: &DrawnWorld, boost_used: f64, speed_used: f64) -> Option<PassedWhy> {
    let fuel = plan.world.engine.fuel_response;
    if plan.fault.stops_opening() {
        return match fuel {
            FuelResponse::Obeys => None,
            FuelResponse::Late(_) => Some(PassedWhy::NoVanesFuelLate),
            FuelResponse::Refuses => Some(PassedWhy::NoVanesFuelRefused),
        };
    }
    let has_speed = plan.world.sensors.turbo_speed.fitted;
    if plan.fault.hides_boost() {
        let is_small = boost_used < 1.0 + UNSEEN_BOOST && speed_used <= 1.0;
        return match (has_speed, is_small) {
            (false, _) => Some(PassedWhy::SensorBlind),
            (true, true) => Some(PassedWhy::SensorLowUnseen),
            (true, false) => None,
        };
    }
    if plan.fault.hides_speed() && !has_speed {
        return Some(PassedWhy::HoseHidesSpeed);
    }
    let is_hidden = matches!(plan.fault, GuardFault::PositionSlipped | GuardFault::PositionFrozen);
    (is_hidden && fuel != FuelResponse::Obeys).then_some(PassedWhy::PositionHidesVanes)
}
