//! What the stage lets through.

use crate::faults::FaultSet;
use crate::sample::EngineDemand;
use crate::units::{Ampere, Counts, Kilopascal, Rpm, Tick, Volt};

/// Readings that may be calculated with.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Vetted {
    /// Number of this tick.
    pub tick: Tick,
    /// Position; `None` while it is lost.
    pub position: Option<Counts>,
    /// Supply; the nominal one while its reading is wrong.
    pub supply: Volt,
    /// Motor current; `None` while its reading is wrong.
    pub motor_current: Option<Ampere>,
    /// Air path, when an engine asks.
    pub air: Option<Air>,
    /// Sensors at fault.
    pub faults: FaultSet,
}

/// Readings of the air path and the engine's demand.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Air {
    /// Boost; `None` while it is not to be trusted. A saturated sensor gives the top of its range.
    pub boost: Option<Kilopascal>,
    /// What an untrusted reading still shows: true boost is no lower, for the reading is judged too low.
    pub boost_floor: Option<Kilopascal>,
    /// True boost is at or above the top of the sensor's range.
    pub boost_saturated: bool,
    /// Barometer; the last sound one while its reading is wrong, the lowest plausible one before any.
    pub barometer: Kilopascal,
    /// Exhaust pressure, where there is a sound sensor.
    pub exhaust: Option<Kilopascal>,
    /// Turbo speed, where there is a sound sensor.
    pub turbo_speed: Option<Rpm>,
    /// The demand; limp while it is not a number.
    pub demand: EngineDemand,
}
