//! What enters a tick: one sample of every sensor, and what is asked of the controller.

use serde::{Deserialize, Serialize};

use crate::command::Command;
use crate::units::{Ampere, Celsius, Counts, Kilopascal, Load, Rpm, Tick, Volt};

/// One reading of every sensor, raw. Any field may hold NaN, infinity or nonsense.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Sample {
    /// Number of this tick.
    pub tick: Tick,
    /// Raw position sensor reading.
    pub position: Counts,
    /// Motor current; positive drives toward open.
    pub motor_current: Ampere,
    /// Supply at the controller's connector.
    pub supply: Volt,
    /// Actuator housing temperature, where it is measured.
    pub temperature: Option<Celsius>,
    /// Intake manifold (boost) pressure, absolute.
    pub boost: Kilopascal,
    /// Ambient pressure, absolute.
    pub barometer: Kilopascal,
    /// Exhaust manifold pressure, absolute, where it is measured.
    pub exhaust: Option<Kilopascal>,
    /// Turbo shaft speed, where it is measured.
    pub turbo_speed: Option<Rpm>,
}

/// What the engine asks of the vanes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Mode {
    /// Engine idling: feed-forward only.
    #[default]
    Idle,
    /// Boost control: feed-forward plus trim on boost error.
    Boost,
    /// Exhaust brake: vanes toward closed under exhaust-pressure and speed limits.
    Brake,
    /// A fault is present: feed-forward with a safe minimum opening.
    Limp,
}

/// The engine's demand for one tick.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct EngineDemand {
    /// What the vanes are used for.
    pub mode: Mode,
    /// Wanted boost, absolute.
    pub boost_target: Kilopascal,
    /// Crankshaft speed.
    pub engine_speed: Rpm,
    /// Fuelling as a fraction of full load.
    pub load: Load,
}

/// Who moves the vanes in this tick.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Request {
    /// Nobody: drive off.
    Release,
    /// The engine: the whole tick from boost error to duty.
    Engine(EngineDemand),
    /// The bench (motion profile or learner): a command that still passes heat, stall and duty limits.
    Bench(Command),
}
