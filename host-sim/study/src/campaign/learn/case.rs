//! One learn of one simulated unit: world, controller and learner, tick by tick.
//!
//! In: a case, settings and an order. Out: how the learn ended, with its touches. The commands pass the
//! controller's heat, stall and duty limits as on the board.

use firmware_core::controller::Controller;
use firmware_core::faults::{Fault, FaultSet};
use firmware_core::learn::{LearnEvent, LearnOrder, LearnOutcome, LearnRefusal, Learner, Touch};
use firmware_core::sample::{Request, Sample};
use firmware_core::settings::Settings;
use firmware_core::units::Tick;

use crate::catalogue::Case;
use plant::check::BadParameter;
use plant::world::{Diverged, EngineState, World};

/// Ticks after which a learner without an outcome is a defect.
const GIVE_UP_TICKS: u32 = 60_000;
/// Ticks that a restarting controller loses.
const RESTART_TICKS: u32 = 350;

/// How a learn went.
#[derive(Debug, Clone, PartialEq)]
pub struct LearnRun {
    /// How it ended.
    pub outcome: LearnOutcome,
    /// Rig time, ticks.
    pub ticks: u32,
    /// Every touch.
    pub touches: Vec<Touch>,
    /// Largest duty magnitude that the drive was given.
    pub largest_duty: f32,
}

/// Why a run has no result.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum LearnRunError {
    /// The world could not be made.
    #[error(transparent)]
    World(#[from] BadParameter),
    /// The world ran away.
    #[error(transparent)]
    Diverged(#[from] Diverged),
    /// The learner never ended.
    #[error(
        "the learn gave no outcome within {ticks} ticks; that is a defect, please report it with the seed"
    )]
    Endless {
        /// Ticks waited.
        ticks: u32,
    },
}

/// Learns one unit from rest, or from an opening it was left at.
///
/// # Errors
/// [`LearnRunError`].
pub fn run(
    case: &Case,
    settings: &Settings,
    order: LearnOrder,
    start: Option<f64>,
    seed: u64,
) -> Result<LearnRun, LearnRunError> {
    let mut world = World::new(&case.world, seed)?;
    if let Some(opening) = start {
        world.place(opening);
    }
    learn_in(&mut world, case, settings, order, 0)
}

/// A full learn and, in the same world, a key-off relearn after a pause with the drive off.
///
/// # Errors
/// [`LearnRunError`].
pub fn relearn(
    case: &Case,
    settings: &Settings,
    order: LearnOrder,
    pause_ticks: u32,
    seed: u64,
) -> Result<(LearnRun, Option<LearnRun>), LearnRunError> {
    let mut world = World::new(&case.world, seed)?;
    let first = learn_in(&mut world, case, settings, order, 0)?;
    let LearnOutcome::Accepted(previous) = first.outcome else { return Ok((first, None)) };
    for _ in 0..pause_ticks {
        world.step(firmware_core::units::Duty::ZERO, &EngineState::Standing)?;
    }
    let order = LearnOrder::relearn(previous, order.checked);
    let second = learn_in(&mut world, case, settings, order, first.ticks.saturating_add(pause_ticks))?;
    Ok((first, Some(second)))
}

fn learn_in(
    world: &mut World,
    case: &Case,
    settings: &Settings,
    order: LearnOrder,
    first_tick: u32,
) -> Result<LearnRun, LearnRunError> {
    let mut controller = Controller::new(*settings);
    let mut learner = Learner::new(settings, order);
    let mut touches = Vec::new();
    let mut largest_duty = 0.0_f32;
    let mut forbidden = None;
    for ticks in 0..GIVE_UP_TICKS {
        let sample = sample(world, case, first_tick.saturating_add(ticks));
        let is_silent = case.mishaps.host_silent_at_s.is_some_and(|at_s| world.time_s() >= at_s);
        let why = if is_silent { Some(LearnRefusal::HostLost) } else { forbidden };
        let tick = match why {
            Some(why) => learner.abandon(why),
            None => learner.tick(&sample),
        };
        match tick.event {
            Some(LearnEvent::Outcome(outcome)) => {
                return Ok(LearnRun { outcome, ticks, touches, largest_duty });
            }
            Some(LearnEvent::Touch(touch)) => touches.push(touch),
            Some(LearnEvent::Phase(_)) | None => {}
        }
        let output = controller.tick(&sample, &Request::Bench(tick.command));
        forbidden = forbidden_by(output.faults);
        let duty = case.mishaps.duty(output.duty, world.time_s());
        largest_duty = largest_duty.max(duty.get().abs());
        world.step(duty, &EngineState::Standing)?;
    }
    Err(LearnRunError::Endless { ticks: GIVE_UP_TICKS })
}

/// Why the board would end the learn, where a fault forbids to drive.
fn forbidden_by(faults: FaultSet) -> Option<LearnRefusal> {
    let of = |fault, why| faults.contains(fault).then_some(why);
    of(Fault::BridgeFault, LearnRefusal::BridgeFault)
        .or(of(Fault::ConverterFrozen, LearnRefusal::ConverterFrozen))
}

fn sample(world: &mut World, case: &Case, tick: u32) -> Sample {
    let restarted = case.mishaps.restart_at_s.is_some_and(|at_s| world.time_s() >= at_s);
    let lost = if restarted { RESTART_TICKS } else { 0 };
    world.sample(Tick(tick.saturating_add(lost)))
}
