//! One world through its drive, and what became of its limits.

use std::ops::Range;

use firmware_core::controller::{Controller, TickOutput};
use firmware_core::guard::FuelRequest;
use firmware_core::sample::{EngineDemand, Mode, Request, Sample};
use firmware_core::settings::Settings;
use firmware_core::units::{Kilopascal, Load, Rpm, Tick};
use rand::SeedableRng;
use rand_pcg::Pcg64Mcg;

use super::demand::{self, DriveKind};
use super::ending::WorldFigures;
use super::fault::{DrawnWorld, GuardFault};
use super::watch::{RunWatch, TrueLimits};
use super::{GuardCampaign, GuardCampaignError};
use crate::run::perfect_calibration;
use crate::scenario::{Demand, DemandCursor};
use plant::airpath::{EngineInputs, FuelAsked};
use plant::world::{EngineState, TICK_S, World};

/// Length of a run, ticks.
pub(super) const RUN_TICKS: u32 = 12_000;
/// Opening at which the cruise begins.
const CRUISE_OPENING: f64 = 0.35;
/// Climbs are followed in steps of this size, m.
const ALTITUDE_STEP_M: f64 = 10.0;

/// Runs one world of a campaign, with its guard and without: as one world for as long as both ask the same of it.
///
/// # Errors
/// When the drawn world is refused or runs away.
pub fn run_one(campaign: &GuardCampaign, index: u32) -> Result<WorldFigures, GuardCampaignError> {
    let plan = campaign.draw(index);
    let limits = TrueLimits::of(&campaign.settings.guard.limits);
    let mut drive = UnderDrive::start(&plan, campaign.seed, index)?;
    let mut guarded = controller(&plan, &campaign.settings, index)?;
    let mut unguarded = controller(&plan, &without_guard(&campaign.settings), index)?;
    let (mut watch, mut is_demanding) = (RunWatch::new(limits), None);
    for tick in 0..RUN_TICKS {
        let (wanted, sample) = drive.read(tick)?;
        let output = ask(&mut guarded, &wanted, &sample);
        if is_demanding.is_none() {
            let alone = ask(&mut unguarded, &wanted, &sample);
            if (alone.duty, alone.fuel) != (output.duty, output.fuel) {
                let mut other = drive.clone();
                other.go_on(&wanted, &alone)?;
                is_demanding = Some(other.passes(&mut unguarded, &limits, tick + 1..RUN_TICKS)?);
            }
        }
        drive.go_on(&wanted, &output)?;
        watch.look(&campaign.settings, &sample, &output, &drive.world, wanted.fuel_mg);
        if watch.has_passed() && is_demanding.is_none() {
            is_demanding = Some(true);
        }
    }
    Ok(watch.figures(index, &plan, is_demanding.unwrap_or(false)))
}

/// Whether a world passes a limit without its guard.
pub(super) fn is_demanding(campaign: &GuardCampaign, index: u32) -> Result<bool, GuardCampaignError> {
    let plan = campaign.draw(index);
    let mut unguarded = controller(&plan, &without_guard(&campaign.settings), index)?;
    let limits = TrueLimits::of(&campaign.settings.guard.limits);
    UnderDrive::start(&plan, campaign.seed, index)?.passes(&mut unguarded, &limits, 0..RUN_TICKS)
}

/// Runs one world with its guard alone.
pub(super) fn run_guarded(
    campaign: &GuardCampaign,
    settings: &Settings,
    index: u32,
) -> Result<RunWatch, GuardCampaignError> {
    let limits = TrueLimits::of(&campaign.settings.guard.limits);
    drive_through(&campaign.draw(index), settings, &limits, campaign.seed, index)
}

/// Drives a world with nothing wrong.
pub(super) fn drive_sound(campaign: &GuardCampaign, index: u32) -> Result<RunWatch, GuardCampaignError> {
    let limits = TrueLimits::of(&campaign.settings.guard.limits);
    let plan =
        campaign.draw_with(GuardFault::Sound, DriveKind::ALL[index as usize % DriveKind::ALL.len()], index);
    drive_through(&plan, &campaign.settings, &limits, campaign.seed, index)
}

impl GuardCampaign {
    /// Draws a world: faults take turns, and for each of them kinds of drive.
    #[must_use]
    pub fn draw(&self, index: u32) -> DrawnWorld {
        let faults = GuardFault::ALL.len();
        let fault = GuardFault::ALL[index as usize % faults];
        self.draw_with(fault, DriveKind::ALL[index as usize / faults % DriveKind::ALL.len()], index)
    }

    fn draw_with(&self, fault: GuardFault, drive: DriveKind, index: u32) -> DrawnWorld {
        let mut rng = Pcg64Mcg::seed_from_u64(self.seed.wrapping_add(u64::from(index)));
        DrawnWorld::draw(fault, drive, &mut rng)
    }
}

/// Settings whose guard trips on nothing, and which believe and satisfy any boost reading.
fn without_guard(settings: &Settings) -> Settings {
    let mut settings = *settings;
    let (limits, stages) = (&mut settings.guard.limits, &mut settings.guard.stages);
    (limits.boost, limits.boost_ratio) = (Kilopascal(900.0), 8.0);
    limits.boost_over_target = Kilopascal(300.0);
    limits.turbo_speed = Rpm(500_000.0);
    limits.exhaust = Kilopascal(2000.0);
    (stages.open_travel_ticks, stages.short_ticks) = (5000, 60_000);
    settings.plausibility.boost_frozen_ticks = 5000;
    settings.plausibility.exhaust_over_boost = 10.0;
    settings.target.trim.unseen_authority = settings.target.trim.authority;
    settings.target.modes.exhaust_soft = Kilopascal(2000.0);
    settings.target.modes.pumping_soft = Kilopascal(2000.0);
    settings
}

fn drive_through(
    plan: &DrawnWorld,
    settings: &Settings,
    limits: &TrueLimits,
    seed: u64,
    index: u32,
) -> Result<RunWatch, GuardCampaignError> {
    let mut drive = UnderDrive::start(plan, seed, index)?;
    let mut controller = controller(plan, settings, index)?;
    let mut watch = RunWatch::new(*limits);
    for tick in 0..RUN_TICKS {
        let (wanted, sample) = drive.read(tick)?;
        let output = ask(&mut controller, &wanted, &sample);
        drive.go_on(&wanted, &output)?;
        watch.look(settings, &sample, &output, &drive.world, wanted.fuel_mg);
    }
    Ok(watch)
}

fn controller(plan: &DrawnWorld, settings: &Settings, index: u32) -> Result<Controller, GuardCampaignError> {
    let calibration = perfect_calibration(&plan.world)
        .map_err(|reason| GuardCampaignError::World { index, reason: reason.to_string() })?;
    let mut controller = Controller::new(*settings);
    controller.set_calibration(Some(calibration));
    Ok(controller)
}

fn ask(controller: &mut Controller, wanted: &Demand, sample: &Sample) -> TickOutput {
    controller.tick(sample, &Request::Engine(asked_of_controller(wanted)))
}

/// A drawn world under its drive.
#[derive(Clone)]
struct UnderDrive<'a> {
    world: World,
    cursor: DemandCursor<'a>,
    altitude_m: f64,
    index: u32,
}

impl<'a> UnderDrive<'a> {
    fn start(plan: &'a DrawnWorld, seed: u64, index: u32) -> Result<Self, GuardCampaignError> {
        let refused = |reason: String| GuardCampaignError::World { index, reason };
        let mut world =
            World::new(&plan.world, seed ^ u64::from(index)).map_err(|reason| refused(reason.to_string()))?;
        let cursor = plan.drive.cursor();
        let first = cursor.clone().at(0.0);
        world
            .settle(CRUISE_OPENING, &EngineInputs::new(first.speed_rpm, first.fuel_mg))
            .map_err(|reason| refused(reason.to_string()))?;
        Ok(Self { world, cursor, altitude_m: plan.world.altitude_m, index })
    }

    /// What is wanted of the engine in a tick, and what the sensors read.
    fn read(&mut self, tick: u32) -> Result<(Demand, Sample), GuardCampaignError> {
        let wanted = self.cursor.at(f64::from(tick) * TICK_S);
        let climbed = |now_m: &f64| (now_m - self.altitude_m).abs() >= ALTITUDE_STEP_M;
        if let Some(now_m) = wanted.altitude_m.filter(climbed) {
            self.altitude_m = now_m;
            self.world.set_altitude(now_m).map_err(|reason| GuardCampaignError::World {
                index: self.index,
                reason: reason.to_string(),
            })?;
        }
        Ok((wanted, self.world.sample(Tick(tick))))
    }

    /// Ends the tick with what the controller asks for.
    fn go_on(&mut self, wanted: &Demand, output: &TickOutput) -> Result<(), GuardCampaignError> {
        self.world
            .step(output.duty, &engine_under(wanted, output.fuel))
            .map_err(|reason| GuardCampaignError::Diverged { index: self.index, reason })
    }

    /// Whether a limit is passed now or in one of these ticks; none after that is run.
    fn passes(
        &mut self,
        controller: &mut Controller,
        limits: &TrueLimits,
        ticks: Range<u32>,
    ) -> Result<bool, GuardCampaignError> {
        for tick in ticks {
            if limits.are_passed(&self.world.truth()) {
                return Ok(true);
            }
            let (wanted, sample) = self.read(tick)?;
            let output = ask(controller, &wanted, &sample);
            self.go_on(&wanted, &output)?;
        }
        Ok(limits.are_passed(&self.world.truth()))
    }
}

fn asked_of_controller(wanted: &Demand) -> EngineDemand {
    if demand::stands(wanted) {
        return EngineDemand {
            mode: Mode::Idle,
            boost_target: Kilopascal(0.0),
            engine_speed: Rpm(0.0),
            load: Load::MIN,
        };
    }
    demand::request(wanted)
}

fn engine_under(wanted: &Demand, fuel: FuelRequest) -> EngineState {
    if demand::stands(wanted) {
        return EngineState::Standing;
    }
    EngineState::Running(EngineInputs {
        speed_rpm: wanted.speed_rpm,
        fuel_mg: wanted.fuel_mg,
        egr_area_m2: wanted.egr_mm2 * 1e-6,
        fuel_request: asked(fuel),
    })
}

fn asked(fuel: FuelRequest) -> FuelAsked {
    match fuel {
        FuelRequest::Free => FuelAsked::Free,
        FuelRequest::LimitTo(load) => FuelAsked::LimitTo(f64::from(load.get())),
        FuelRequest::Cut => FuelAsked::LimitTo(0.0),
    }
}
