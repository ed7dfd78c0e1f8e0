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

#[cfg(test)]
pub(crate) mod testing {
    use super::*;
    use proptest::prelude::*;

    /// A sound sample at sea level with the engine's manifold at rest.
    pub(crate) fn sample(tick: u32, position: i16) -> Sample {
        Sample {
            tick: Tick(tick),
            position: Counts(position),
            motor_current: Ampere(0.0),
            supply: Volt(12.0),
            temperature: None,
            boost: Kilopascal(101.3),
            barometer: Kilopascal(101.3),
            exhaust: None,
            turbo_speed: None,
        }
    }

    pub(crate) fn engine(mode: Mode, boost_target: f32, engine_speed: f32, load: f32) -> Request {
        Request::Engine(EngineDemand {
            mode,
            boost_target: Kilopascal(boost_target),
            engine_speed: Rpm(engine_speed),
            load: Load::saturating(load, Load::MIN),
        })
    }

    pub(crate) fn any_mode() -> impl Strategy<Value = Mode> {
        prop_oneof![Just(Mode::Idle), Just(Mode::Boost), Just(Mode::Brake), Just(Mode::Limp)]
    }

    /// Any bits, or a number of the size of a reading.
    pub(crate) fn any_float() -> impl Strategy<Value = f32> {
        prop_oneof![any::<u32>().prop_map(f32::from_bits), -10.0f32..400.0]
    }

    pub(crate) fn any_sample() -> impl Strategy<Value = Sample> {
        let channels = (any_float(), any_float(), any_float(), any_float());
        let fitted =
            (prop::option::of(any_float()), prop::option::of(any_float()), prop::option::of(any_float()));
        (any::<i16>(), channels, fitted).prop_map(|(position, channels, fitted)| Sample {
            tick: Tick(0),
            position: Counts(position),
            motor_current: Ampere(channels.0),
            supply: Volt(channels.1),
            temperature: fitted.0.map(Celsius),
            boost: Kilopascal(channels.2),
            barometer: Kilopascal(channels.3),
            exhaust: fitted.1.map(Kilopascal),
            turbo_speed: fitted.2.map(|speed| Rpm(speed * 1000.0)),
        })
    }
}
