//! Several worlds over one tick, side by side in lanes.
//!
//! In: worlds, each with its duty and engine. Out: each world a tick later, to the bit where
//! [`World::step`] would have taken it. What cannot go along in a lane (a stop within reach, a rigid joint, a
//! leak) is stepped by itself.

use firmware_core::units::Duty;

use super::{ACTUATOR_STEP_S, ACTUATOR_STEPS, Diverged, EngineState, TICK_S, World};
use crate::actuator::{HEAT_STEPS, Together};
use crate::airpath::{AirRun, AirTogether};
use crate::lanes::WIDTH;

const _: () =
    assert!(ACTUATOR_STEPS == HEAT_STEPS, "a tick in lanes ends where the winding's heat is passed on");

/// A world with what is to happen to it in this tick.
pub(crate) struct Move<'a> {
    pub world: &'a mut World,
    pub duty: Duty,
    pub engine: EngineState,
    /// How the tick went.
    pub outcome: Result<(), Diverged>,
}

/// Room for worlds in lanes.
#[derive(Debug, Clone, Default)]
pub(crate) struct Abreast {
    actuators: Together,
    air: AirTogether,
}

impl Abreast {
    /// Moves worlds on by a tick, each in its lane.
    pub(crate) fn step(&mut self, moves: &mut [Option<Move<'_>>; WIDTH]) {
        for one in moves.iter_mut().flatten() {
            one.world.begin(one.duty);
        }
        self.move_actuators(moves);
        self.run_air(moves);
        for one in moves.iter_mut().flatten() {
            one.outcome = one.outcome.and_then(|()| one.world.finish());
        }
    }

    fn move_actuators(&mut self, moves: &mut [Option<Move<'_>>; WIDTH]) {
        let mut along = [false; WIDTH];
        for (lane, (one, along)) in moves.iter_mut().zip(&mut along).enumerate() {
            let Some(Move { world, .. }) = one else { continue };
            let gas_nm = world.gas_on_ring_nm();
            *along = self.actuators.take(lane, &mut world.actuator, world.drive, gas_nm, ACTUATOR_STEP_S);
        }
        if along.contains(&true) {
            self.actuators.run(ACTUATOR_STEP_S);
        }
        for (lane, (one, along)) in moves.iter_mut().zip(along).enumerate() {
            let Some(Move { world, .. }) = one else { continue };
            let is_done = along && self.actuators.give(lane, &mut world.actuator, ACTUATOR_STEP_S);
            if !is_done {
                world.move_actuator();
            }
            world.note_loose_stop();
        }
    }

    fn run_air(&mut self, moves: &mut [Option<Move<'_>>; WIDTH]) {
        let mut runs: [Option<(AirRun, bool)>; WIDTH] = [None; WIDTH];
        for (lane, (one, slot)) in moves.iter_mut().zip(&mut runs).enumerate() {
            let Some(Move { world, engine, .. }) = one else { continue };
            let Some(run) = world.begin_air(engine) else { continue };
            *slot = Some((run, self.air.take(lane, world.engine.model(), &run)));
        }
        if runs.iter().flatten().any(|(_, is_along)| *is_along) {
            self.air.run(TICK_S);
        }
        for (lane, (one, run)) in moves.iter_mut().zip(runs).enumerate() {
            let (Some(one), Some((run, is_along))) = (one, run) else { continue };
            let model = one.world.engine.model();
            let arrived = if is_along { self.air.arrived(lane) } else { run.after(model, TICK_S) };
            one.outcome = one.world.finish_air(&run, arrived);
        }
    }
}
