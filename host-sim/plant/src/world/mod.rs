//! The whole world of one unit: actuator, ring, sensors and engine, a millisecond at a time.
//!
//! In: a configuration and a seed, then one duty per tick with what the engine does. Out: one sample
//! per tick, and the truth behind it. The same configuration and seed give the same bits. Refuses bad
//! parameters at the start, and stops with the time when a state diverges.

mod apply;
mod config;
mod debris;
mod fault;
mod lanes;
mod loose_stop;
mod sensors;
#[cfg(test)]
mod tests;
mod tick;
mod truth;

pub use config::{BoostTap, OpeningDirection, SensorParams, Travel, WorldConfig};
pub use debris::DebrisParams;
pub use fault::{Fault, FaultKind, StopFault};
pub use lanes::WorldLanes;
pub use truth::{StopTruth, Truth};

use firmware_core::sample::{BridgeLine, Sample};
use rand::SeedableRng;
use rand_pcg::Pcg64Mcg;

use crate::actuator::{Actuator, ActuatorParams, TravelEnd, WindingDrive};
use crate::airpath::{
    AirDiverged, AirState, AirStepInput, Engine, EngineInputs, GasOnRing, HoseState, NoSteadyState,
};
use crate::check::BadParameter;
use crate::sensor::Noise;
use debris::Debris;
use loose_stop::LooseStop;
use sensors::{ConverterState, Sensors};
use truth::{first_contact_lever_rad, zero_push_lever_rad};

/// One tick of the world, s.
pub const TICK_S: f64 = 1e-3;
/// Actuator steps in a tick: 0.1 ms is what the friction scheme's accuracy is stated for.
pub const ACTUATOR_STEPS: u32 = 10;
/// One actuator step, s.
pub const ACTUATOR_STEP_S: f64 = TICK_S / ACTUATOR_STEPS as f64;
/// rpm in one rad/s.
pub const RPM_PER_RAD_S: f64 = 30.0 / core::f64::consts::PI;

/// What the engine does during a tick.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum EngineState {
    /// Not running: ambient pressure everywhere, no gas torque. The bench.
    Standing,
    /// Running.
    Running(EngineInputs),
}

/// The world ran away.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum Diverged {
    /// In the air path.
    #[error("at {time_s:.3} s {air}")]
    Air {
        /// Time, s.
        time_s: f64,
        /// What left its range.
        air: AirDiverged,
    },
    /// In the actuator.
    #[error(
        "at {time_s:.3} s the actuator diverged: lever {lever_rad} rad, current {current_a} A; allowed: finite, \
         within ±100 rad; check that [actuator] has stops and a spring or friction"
    )]
    Actuator {
        /// Time, s.
        time_s: f64,
        /// Lever angle reached, rad.
        lever_rad: f64,
        /// Motor current reached, A.
        current_a: f64,
    },
}

/// A running world.
#[derive(Debug, Clone)]
pub struct World {
    config: WorldConfig,
    sound: ActuatorParams,
    travel: Travel,
    actuator: Actuator,
    engine: Engine,
    sensors: Sensors,
    converter: ConverterState,
    /// What the board read last.
    read: Option<Sample>,
    bridge: BridgeLine,
    hose: HoseState,
    supply_v: f64,
    drive_sign: f64,
    drive: WindingDrive,
    gas: GasOnRing,
    gas_torque_nm: f64,
    /// Factor on the ring's friction that its actuator was last told.
    ring_heat_factor: f64,
    /// Boost as it reaches the sensor through hose and filter, Pa.
    lagged_boost_pa: f64,
    /// Opening of the ring where the air path's tick ends.
    opening_now: f64,
    running: bool,
    /// Turbo speed while the engine stands, rad/s.
    run_down_rad_s: f64,
    ticks: u64,
    next_event_s: f64,
    loose: Option<LooseStop>,
    debris: Option<Debris>,
    noise: Noise,
    /// What is random besides noise: glitches, loose stops.
    rng: Pcg64Mcg,
}

impl World {
    /// A world at rest: vanes where spring and stop hold them, engine standing.
    ///
    /// # Errors
    /// Names the first parameter that is out of range, faults included.
    pub fn new(config: &WorldConfig, seed: u64) -> Result<Self, BadParameter> {
        config.validate_around_engine()?;
        let mut sound = config.actuator;
        sound.ring.friction = sound.ring.friction.in_condition(config.ring_condition);
        let travel = config.travel()?;
        let ambient = config.ambient()?;
        let engine = Engine::try_new(config.engine, ambient).map_err(|e| e.within("engine"))?;
        let ambient_pa = ambient.pressure_pa;
        let mut world = Self {
            travel,
            actuator: Actuator::try_new(sound).map_err(|e| e.within("actuator"))?,
            gas: config.gas_on_ring(engine.model().ring(), &travel),
            engine,
            sensors: Sensors::new(&config.sensors),
            converter: ConverterState::Converting,
            read: None,
            bridge: BridgeLine::Quiet,
            hose: HoseState::default(),
            supply_v: sound.bridge.supply_v,
            drive_sign: config.opening.sign(),
            drive: WindingDrive::Off { supply_v: sound.bridge.supply_v },
            gas_torque_nm: 0.0,
            ring_heat_factor: 1.0,
            lagged_boost_pa: ambient_pa,
            opening_now: 0.0,
            running: false,
            run_down_rad_s: 0.0,
            ticks: 0,
            next_event_s: 0.0,
            loose: None,
            debris: None,
            noise: Noise::new(seed),
            rng: Pcg64Mcg::seed_from_u64(seed),
            config: config.clone(),
            sound,
        };
        world.check_faults()?;
        world.apply_faults(0.0)?;
        Ok(world)
    }

    /// Time since the start, s.
    #[must_use]
    pub fn time_s(&self) -> f64 {
        self.ticks as f64 * TICK_S
    }

    /// Opening of the ring, from its angle.
    #[inline]
    fn opening(&self) -> f64 {
        self.travel.opening(self.actuator.state().ring_rad)
    }

    /// Moves the whole world to another altitude.
    ///
    /// # Errors
    /// When the altitude is outside the standard atmosphere's range.
    pub fn set_altitude(&mut self, altitude_m: f64) -> Result<(), BadParameter> {
        self.config.altitude_m = altitude_m;
        self.engine.set_ambient(self.config.ambient()?)
    }

    /// Puts the vanes at an opening, at rest, and brings the engine to rest with them held there.
    ///
    /// # Errors
    /// When the engine has no steady state there.
    pub fn settle(&mut self, opening: f64, inputs: &EngineInputs) -> Result<(), NoSteadyState> {
        let run = self.begin_settling(opening, inputs);
        let near = self.engine.model().run(run.from, run.vanes, &run.op);
        self.settle_from(near, opening, inputs)
    }

    fn begin_settling(&mut self, opening: f64, inputs: &EngineInputs) -> AirStepInput {
        self.place(opening);
        self.engine.begin_settling(inputs, opening)
    }

    fn settle_from(
        &mut self,
        near: AirState,
        opening: f64,
        inputs: &EngineInputs,
    ) -> Result<(), NoSteadyState> {
        self.engine.settle_from(near, inputs).map_err(|error| NoSteadyState { opening, ..error })?;
        self.running = true;
        let over_vanes_pa = self.engine.state()[1] - self.engine.model().ambient().pressure_pa;
        self.gas_torque_nm = self.gas.toward_open_nm(over_vanes_pa, opening);
        self.lagged_boost_pa = self.boost_at_tap_pa();
        self.follow_ring_heat();
        Ok(())
    }

    /// Puts lever and ring at an opening, at rest, as if moved by hand.
    pub fn place(&mut self, opening: f64) {
        let ring_rad = self.travel.ring_rad(opening);
        let mut state = *self.actuator.state();
        (state.lever_rad, state.ring_rad) = (ring_rad, ring_rad);
        (state.lever_rad_s, state.ring_rad_s, state.bristle_rad, state.current_a) = (0.0, 0.0, 0.0, 0.0);
        self.actuator.set_state(state);
    }

    fn air_state(&self) -> [f64; 3] {
        let ambient = self.engine.model().ambient().pressure_pa;
        if self.running { *self.engine.state() } else { [ambient, ambient, self.run_down_rad_s] }
    }

    /// What is really so.
    #[must_use]
    pub fn truth(&self) -> Truth {
        let state = self.actuator.state();
        let [intake_pa, exhaust_pa, turbo_rad_s] = self.air_state();
        Truth {
            opening: self.opening(),
            lever_rad: state.lever_rad,
            ring_rad: state.ring_rad,
            current_a: self.config.opening.sign() * state.current_a,
            winding_c: state.winding_c,
            boost_kpa: intake_pa * 1e-3,
            exhaust_kpa: exhaust_pa * 1e-3,
            turbo_rpm: turbo_rad_s * RPM_PER_RAD_S,
            fuel_mg: if self.running { self.engine.fuel_mg() } else { 0.0 },
            gas_torque_nm: self.gas_torque_nm,
            ambient_kpa: self.engine.model().ambient().pressure_pa * 1e-3,
        }
    }

    /// Where the lever stands at each stop without push, standing faults included, in counts of the
    /// sound sensor: what a perfect learner would find.
    #[must_use]
    pub fn stop_truth(&self) -> StopTruth {
        self.contacts(zero_push_lever_rad)
    }

    /// Where the lever meets the first contact on its way to each stop, in counts of the sound sensor: what a learner
    /// that believes everything would find.
    #[must_use]
    pub fn first_contacts(&self) -> StopTruth {
        self.contacts(first_contact_lever_rad)
    }

    fn contacts(&self, lever_rad: fn(&ActuatorParams, TravelEnd) -> Option<f64>) -> StopTruth {
        let at = |end: TravelEnd| {
            lever_rad(self.actuator.params(), end)
                .map(|lever_rad| self.sensors.position.params().counts_at(lever_rad))
        };
        match self.config.opening {
            OpeningDirection::LowersAngle => {
                StopTruth { closed_counts: at(TravelEnd::High), open_counts: at(TravelEnd::Low) }
            }
            OpeningDirection::RaisesAngle => {
                StopTruth { closed_counts: at(TravelEnd::Low), open_counts: at(TravelEnd::High) }
            }
        }
    }

    /// The actuator inside.
    #[must_use]
    pub fn actuator(&self) -> &Actuator {
        &self.actuator
    }

    /// The engine inside.
    #[must_use]
    pub fn engine(&self) -> &Engine {
        &self.engine
    }

    /// The configuration it was made of.
    #[must_use]
    pub fn config(&self) -> &WorldConfig {
        &self.config
    }
}
