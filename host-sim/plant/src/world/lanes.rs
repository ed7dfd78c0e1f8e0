//! Several worlds over one tick, side by side in lanes.
//!
//! In: worlds, each with its duty and engine. Out: each world a tick later, to the bit where
//! [`World::step`] would have taken it. What cannot go along in a lane (a stop within reach, a rigid joint, a
//! gear whose mesh rubs, a leak) is stepped by itself. A lane is one world's from its first tick to its last.

use firmware_core::units::Duty;

use super::{ACTUATOR_STEP_S, ACTUATOR_STEPS, Diverged, EngineState, TICK_S, World};
use crate::actuator::{ActuatorLanes, HEAT_STEPS};
use crate::airpath::{AirPathLanes, AirStepInput, EngineInputs, NoSteadyState};
use crate::lanes::WIDTH;

const _: () =
    assert!(ACTUATOR_STEPS == HEAT_STEPS, "a tick in lanes ends where the winding's heat is passed on");

/// Worlds in lanes. In each tick every world is to [`begin_tick`](Self::begin_tick), to
/// [`hand_to_air`](Self::hand_to_air) and to [`finish_tick`](Self::finish_tick), with
/// [`move_actuators`](Self::move_actuators) and [`run_air`](Self::run_air) for all of them between.
#[derive(Debug, Clone, Default)]
pub struct WorldLanes {
    actuators: ActuatorLanes,
    air: AirPathLanes,
    seats: [Seat; WIDTH],
}

/// How a world goes through the tick.
#[derive(Debug, Clone, Copy, Default)]
struct Seat {
    /// Its actuator goes along in the lane.
    has_actuator: bool,
    air: AirSeat,
}

/// How a world's air path goes through the tick. What goes along lies in the lane and nowhere else: a copy
/// would be read before it is written down.
#[derive(Debug, Clone, Copy, Default)]
enum AirSeat {
    #[default]
    Standing,
    Along,
    Alone(AirStepInput),
}

impl WorldLanes {
    /// Readies a world to come to rest, as [`World::settle`] does it alone.
    pub fn begin_settling(&mut self, lane: usize, world: &mut World, opening: f64, inputs: &EngineInputs) {
        let run = world.begin_settling(opening, inputs);
        self.air.take(lane, world.engine.model(), &run);
    }

    /// Brings all of them near rest.
    pub fn approach_rest(&mut self) {
        self.air.approach_rest();
    }

    /// Settles a world from there.
    pub fn settle(
        &self,
        lane: usize,
        world: &mut World,
        opening: f64,
        inputs: &EngineInputs,
    ) -> Result<(), NoSteadyState> {
        let (near, _) = self.air.arrived(lane);
        world.settle_from(near, opening, inputs)
    }

    /// Begins a world's tick.
    pub fn begin_tick(&mut self, lane: usize, world: &mut World, duty: Duty) {
        world.begin(duty);
        let gas_nm = world.gas_on_ring_nm();
        let has_actuator =
            self.actuators.take(lane, &mut world.actuator, world.drive, gas_nm, ACTUATOR_STEP_S);
        self.seats[lane] = Seat { has_actuator, ..Seat::default() };
    }

    /// Moves every actuator that goes along through the tick.
    pub fn move_actuators(&mut self) {
        if self.seats.iter().any(|seat| seat.has_actuator) {
            self.actuators.run(ACTUATOR_STEP_S);
        }
    }

    /// Takes over what the actuator came to, and goes on to the air path.
    pub fn hand_to_air(&mut self, lane: usize, world: &mut World, engine: &EngineState) {
        let seat = &mut self.seats[lane];
        let is_done = seat.has_actuator && self.actuators.give(lane, &mut world.actuator, ACTUATOR_STEP_S);
        if !is_done {
            world.move_actuator();
        }
        world.note_pushes();
        seat.air = match world.begin_air(engine) {
            None => AirSeat::Standing,
            Some(run) if self.air.take(lane, world.engine.model(), &run) => AirSeat::Along,
            Some(run) => AirSeat::Alone(run),
        };
    }

    /// Runs every air path that goes along through the tick.
    pub fn run_air(&mut self) {
        if self.seats.iter().any(|seat| matches!(seat.air, AirSeat::Along)) {
            self.air.run(TICK_S);
        }
    }

    /// Ends a world's tick.
    pub fn finish_tick(&self, lane: usize, world: &mut World) -> Result<(), Diverged> {
        match &self.seats[lane].air {
            AirSeat::Standing => {}
            AirSeat::Along => world.finish_air(&self.air.run_in(lane), self.air.arrived(lane))?,
            AirSeat::Alone(run) => world.finish_air(run, run.after(world.engine.model(), TICK_S))?,
        }
        world.finish()
    }
}
