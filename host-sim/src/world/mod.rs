//! The whole world of one unit: actuator, ring, sensors and engine, a millisecond at a time.
//!
//! In: a configuration and a seed, then one duty per tick with what the engine does. Out: one [`Sample`]
//! per tick, and the truth behind it. The same configuration and seed give the same bits. Refuses bad
//! parameters at the start, and stops with the time when a state diverges.

mod config;
mod fault;
mod loose;
#[cfg(test)]
mod tests;

pub use config::{BoostTap, OpeningDirection, SensorParams, Travel, WorldConfig};
pub use fault::{Fault, FaultKind, StopFault};

use firmware_core::sample::Sample;
use firmware_core::units::{Ampere, Celsius, Duty, Kilopascal, Rpm, Tick, Volt};
use rand::SeedableRng;
use rand_pcg::Pcg64Mcg;

use crate::actuator::{Actuator, ActuatorParams, BridgeIdle, Drive, End, Linkage, supply_at_connector};
use crate::airpath::{AirDiverged, Engine, EngineInputs, HoseState, NoSteadyState};
use crate::check::BadParameter;
use crate::sensor::{Channel, Disturbance, PositionSensor};
use loose::LooseStop;

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

/// What is really so, at this moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Truth {
    /// Vane opening from the ring's angle; beyond 0 … 1 when a stop is passed.
    pub opening: f64,
    /// Lever angle, rad.
    pub lever_rad: f64,
    /// Ring angle, rad.
    pub ring_rad: f64,
    /// Motor current toward open, A.
    pub current_a: f64,
    /// Winding temperature, °C.
    pub winding_c: f64,
    /// Intake manifold, kPa.
    pub boost_kpa: f64,
    /// Exhaust manifold, kPa.
    pub exhaust_kpa: f64,
    /// Turbo speed, rpm.
    pub turbo_rpm: f64,
    /// Fuel delivered, mg per stroke.
    pub fuel_mg: f64,
    /// Gas torque toward open, N m.
    pub gas_torque_nm: f64,
    /// Ambient pressure, kPa.
    pub ambient_kpa: f64,
}

/// Lever readings at the stops without push, counts of the sound sensor, fractions included.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StopTruth {
    /// At the closed stop; nothing when the lever meets no stop there.
    pub closed_counts: Option<f64>,
    /// At the open stop.
    pub open_counts: Option<f64>,
}

#[derive(Debug, Clone, PartialEq)]
struct Sensors {
    position: PositionSensor,
    current: Channel,
    supply: Channel,
    boost: Channel,
    exhaust: Channel,
    barometer: Channel,
    turbo_speed: Channel,
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
    hose: HoseState,
    supply_v: f64,
    drive_sign: f64,
    drive: Drive,
    gas_torque_nm: f64,
    running: bool,
    ticks: u64,
    next_event_s: f64,
    loose: Option<LooseStop>,
    rng: Pcg64Mcg,
}

impl World {
    /// A world at rest: vanes where spring and stop hold them, engine standing.
    ///
    /// # Errors
    /// Names the first parameter that is out of range, faults included.
    pub fn new(config: &WorldConfig, seed: u64) -> Result<Self, BadParameter> {
        config.validate()?;
        let mut sound = config.actuator;
        sound.ring.friction = sound.ring.friction.in_condition(config.ring_condition);
        let sensors = &config.sensors;
        let mut world = Self {
            travel: config.travel()?,
            actuator: Actuator::try_new(sound).map_err(|e| e.within("actuator"))?,
            engine: Engine::try_new(config.engine, config.ambient()?).map_err(|e| e.within("engine"))?,
            sensors: Sensors {
                position: PositionSensor::new(sensors.position),
                current: Channel::new(sensors.current),
                supply: Channel::new(sensors.supply),
                boost: Channel::new(sensors.boost),
                exhaust: Channel::new(sensors.exhaust),
                barometer: Channel::new(sensors.barometer),
                turbo_speed: Channel::new(sensors.turbo_speed),
            },
            hose: HoseState::default(),
            supply_v: sound.bridge.supply_v,
            drive_sign: config.opening.sign(),
            drive: Drive::Off { supply_v: sound.bridge.supply_v },
            gas_torque_nm: 0.0,
            running: false,
            ticks: 0,
            next_event_s: 0.0,
            loose: None,
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

    /// Reads every sensor once.
    pub fn sample(&mut self, tick: Tick) -> Sample {
        let time_s = self.time_s();
        let [intake_pa, exhaust_pa, turbo_rad_s] = self.air_state();
        let state = *self.actuator.state();
        let ambient_kpa = self.engine.model().ambient().pressure_pa * 1e-3;
        let boost_pa = match (self.running, self.config.sensors.boost_tap) {
            (true, BoostTap::CompressorOutlet) => self.engine.compressor_outlet_pa(),
            _ => intake_pa,
        };
        let supply = supply_at_connector(&self.actuator.params().bridge, self.drive, state.current_a);
        let (s, rng) = (&mut self.sensors, &mut self.rng);
        let mut read = |channel: &mut Channel, truth: f64| channel.read(truth, time_s, rng) as f32;
        let motor_current = Ampere(read(&mut s.current, self.config.opening.sign() * state.current_a));
        let supply = Volt(read(&mut s.supply, supply));
        let boost = Kilopascal(read(&mut s.boost, boost_pa * 1e-3));
        let barometer = Kilopascal(read(&mut s.barometer, ambient_kpa));
        let exhaust = s.exhaust.params.fitted.then(|| Kilopascal(read(&mut s.exhaust, exhaust_pa * 1e-3)));
        let turbo_rpm = turbo_rad_s * RPM_PER_RAD_S;
        let turbo_speed = s.turbo_speed.params.fitted.then(|| Rpm(read(&mut s.turbo_speed, turbo_rpm)));
        let position = s.position.read(state.lever_rad, time_s, rng);
        let housing_c = self.sound.motor.heat.map(|heat| Celsius(heat.surroundings_c as f32));
        Sample {
            tick,
            position,
            motor_current,
            supply,
            temperature: housing_c,
            boost,
            barometer,
            exhaust,
            turbo_speed,
        }
    }

    /// Advances by one tick with this duty on the bridge.
    ///
    /// # Errors
    /// [`Diverged`], with the time.
    pub fn step(&mut self, duty: Duty, engine: &EngineState) -> Result<(), Diverged> {
        let time_s = self.time_s();
        if time_s >= self.next_event_s {
            // Every combination of faults was tried when the world was made.
            let _ = self.apply_faults(time_s);
        }
        self.drive = self.drive_for(duty);
        self.move_actuator();
        self.run_engine(engine, time_s)?;
        self.ticks += 1;
        let state = self.actuator.state();
        const FURTHEST_RAD: f64 = 100.0;
        if state.lever_rad.abs() < FURTHEST_RAD && state.current_a.is_finite() {
            return Ok(());
        }
        let (lever_rad, current_a) = (state.lever_rad, state.current_a);
        Err(Diverged::Actuator { time_s, lever_rad, current_a })
    }

    fn move_actuator(&mut self) {
        let gas = self.config.opening.sign() * self.gas_torque_nm;
        for _ in 0..ACTUATOR_STEPS {
            self.actuator.step(self.drive, gas, ACTUATOR_STEP_S);
        }
        let Some(loose) = &mut self.loose else { return };
        if let Some(offset_rad) = loose.moved(self.actuator.state().ring_rad, &mut self.rng) {
            let (end, base) = (loose.end, loose.base_rad);
            // A loose stop stays within a few degrees of its place, so the pair stays valid.
            let _ = self.actuator.change(|params| {
                if let Some(stop) = params.ring.stops.at_mut(end) {
                    stop.angle_rad = base + offset_rad;
                }
            });
        }
    }

    fn run_engine(&mut self, engine: &EngineState, time_s: f64) -> Result<(), Diverged> {
        let EngineState::Running(inputs) = engine else {
            (self.running, self.gas_torque_nm) = (false, 0.0);
            return Ok(());
        };
        self.running = true;
        let opening = self.opening();
        self.engine.step(inputs, opening, self.hose, TICK_S).map_err(|air| Diverged::Air { time_s, air })?;
        let over_vanes_pa = self.engine.state()[1] - self.engine.model().ambient().pressure_pa;
        self.gas_torque_nm = self.config.gas_torque.toward_open_nm(over_vanes_pa, opening);
        Ok(())
    }

    /// Opening of the ring, from its angle.
    #[inline]
    fn opening(&self) -> f64 {
        self.travel.opening(self.actuator.state().ring_rad)
    }

    fn drive_for(&self, duty: Duty) -> Drive {
        let duty = f64::from(duty.get());
        let supply_v = self.supply_v;
        if duty == 0.0 && self.sound.bridge.idle == BridgeIdle::Open || supply_v <= 0.0 {
            return Drive::Off { supply_v };
        }
        Drive::Bridge { duty: self.drive_sign * duty, supply_v }
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
        self.place(opening);
        self.engine.settle(inputs, opening)?;
        self.running = true;
        let over_vanes_pa = self.engine.state()[1] - self.engine.model().ambient().pressure_pa;
        self.gas_torque_nm = self.config.gas_torque.toward_open_nm(over_vanes_pa, opening);
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
        if self.running { *self.engine.state() } else { [ambient, ambient, 0.0] }
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
        let at = |end: End| {
            zero_push_lever_rad(self.actuator.params(), end)
                .map(|lever_rad| self.sensors.position.params().counts_at(lever_rad))
        };
        match self.config.opening {
            OpeningDirection::LowersAngle => {
                StopTruth { closed_counts: at(End::High), open_counts: at(End::Low) }
            }
            OpeningDirection::RaisesAngle => {
                StopTruth { closed_counts: at(End::Low), open_counts: at(End::High) }
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

    /// Tries the faults of every moment at which one sets in or ends, so that none can fail later.
    fn check_faults(&mut self) -> Result<(), BadParameter> {
        let faults = self.config.faults.clone();
        let times = faults.iter().flat_map(|fault| [Some(fault.at_s), fault.until_s]).flatten();
        for time_s in times {
            self.apply_faults(time_s)?;
        }
        Ok(())
    }

    /// Makes everything as the faults present at `time_s` have it, starting from the sound parameters.
    fn apply_faults(&mut self, time_s: f64) -> Result<(), BadParameter> {
        let faults = core::mem::take(&mut self.config.faults);
        let result = self.apply(&faults, time_s);
        self.config.faults = faults;
        result
    }

    fn apply(&mut self, faults: &[Fault], time_s: f64) -> Result<(), BadParameter> {
        let mut actuator = self.sound;
        self.hose = HoseState::default();
        self.supply_v = self.sound.bridge.supply_v;
        self.drive_sign = self.config.opening.sign();
        self.engine.set_fuel_response(self.config.engine.fuel_response);
        self.sensors.clear_faults();
        self.loose = None;
        for fault in faults.iter().filter(|fault| fault.is_present(time_s)) {
            fault.what.change_actuator(&mut actuator);
            fault.what.change_hose(&mut self.hose);
            self.sensors.add_fault(fault);
            match fault.what {
                FaultKind::Supply(volts) => self.supply_v = volts,
                FaultKind::MotorReversed => self.drive_sign = -self.drive_sign,
                FaultKind::Fuel(response) => self.engine.set_fuel_response(response),
                _ => {}
            }
        }
        self.actuator.change(|params| *params = actuator).map_err(|e| e.within("faults: actuator"))?;
        let loose = faults.iter().filter(|fault| fault.is_present(time_s));
        self.loose =
            loose.filter_map(|fault| LooseStop::new(fault.what.loose_ring_stop()?, &actuator)).next();
        let later = faults.iter().flat_map(|fault| [Some(fault.at_s), fault.until_s]).flatten();
        self.next_event_s = later.filter(|at_s| *at_s > time_s).fold(f64::INFINITY, f64::min);
        Ok(())
    }
}

impl Sensors {
    fn clear_faults(&mut self) {
        self.position.clear_faults();
        for channel in [
            &mut self.current,
            &mut self.supply,
            &mut self.boost,
            &mut self.exhaust,
            &mut self.barometer,
            &mut self.turbo_speed,
        ] {
            channel.disturbance = Disturbance::default();
        }
    }

    fn add_fault(&mut self, fault: &Fault) {
        let (channel, what) = match fault.what {
            FaultKind::PositionSensor(what) => return self.position.add_fault(what, fault.at_s),
            FaultKind::CurrentSensor(what) => (&mut self.current, what),
            FaultKind::BoostSensor(what) => (&mut self.boost, what),
            FaultKind::ExhaustSensor(what) => (&mut self.exhaust, what),
            FaultKind::Barometer(what) => (&mut self.barometer, what),
            FaultKind::TurboSpeedSensor(what) => (&mut self.turbo_speed, what),
            _ => return,
        };
        channel.disturbance.add(what, fault.at_s);
    }
}

/// Lever angle at which an end's first stop is met without push: the lever's own, or the ring's with the
/// joint's play taken up.
fn zero_push_lever_rad(params: &ActuatorParams, end: End) -> Option<f64> {
    let own = params.lever_stops.at(end).map(|stop| stop.angle_rad);
    let ring = match params.linkage {
        Linkage::Detached => None,
        linkage => {
            let half_play = 0.5 * linkage.play_rad();
            params.ring.stops.at(end).map(|stop| stop.angle_rad + end.sign() * half_play)
        }
    };
    let nearer = |a: f64, b: f64| if end == End::High { a.min(b) } else { a.max(b) };
    own.into_iter().chain(ring).reduce(nearer)
}
