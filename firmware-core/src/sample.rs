//! What enters a tick: one sample of every sensor, and what is asked of the controller.

use serde::{Deserialize, Serialize};

use crate::command::Command;
use crate::units::{Ampere, Celsius, Counts, Kilopascal, Load, Rpm, Tick, Volt};

/// Conversions that each group of converter channels has completed, wrapping: what tells a reading that stands still
/// from one that is old. A group that does not count for some ticks (`FROZEN_TICKS` of plausibility) is at fault. Fewer
/// than 256 conversions of a group lie between two ticks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Conversions {
    /// Of the position.
    pub position: u8,
    /// Of the motor current.
    pub current: u8,
    /// Of the supply, and of the temperature where it is measured.
    pub supply: u8,
    /// Of boost, barometer, exhaust pressure and turbo speed; judged only while an engine asks.
    pub engine: u8,
}

impl Conversions {
    /// The same count in every group.
    #[must_use]
    pub const fn all(count: u8) -> Self {
        Self { position: count, current: count, supply: count, engine: count }
    }
}

/// What the bridge says of itself by its fault output.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum BridgeLine {
    /// Nothing, or it has no such output.
    #[default]
    Quiet,
    /// A fault: short, heat, too low a supply.
    Fault,
}

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
    /// How far each group of channels has counted.
    pub conversions: Conversions,
    /// What the bridge says, read in this tick; latched by the board where the line may be shorter than a tick.
    pub bridge: BridgeLine,
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
    extern crate std;
    use super::*;
    use core::cell::Cell;
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
            conversions: converted(tick),
            bridge: BridgeLine::Quiet,
        }
    }

    /// One conversion of every group in each tick.
    pub(crate) fn converted(tick: u32) -> Conversions {
        Conversions::all(tick.to_le_bytes()[0])
    }

    std::thread_local! {
        static CONVERTED: Cell<u8> = const { Cell::new(0) };
    }

    /// The same readings, converted once more than those of the last call.
    pub(crate) fn fresh(sample: &Sample) -> Sample {
        CONVERTED.set(CONVERTED.get().wrapping_add(1));
        Sample { conversions: Conversions::all(CONVERTED.get()), ..*sample }
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
        let board = (any::<[u8; 4]>(), prop::bool::weighted(0.1));
        (any::<i16>(), channels, fitted, board).prop_map(|(position, channels, fitted, board)| Sample {
            tick: Tick(0),
            position: Counts(position),
            motor_current: Ampere(channels.0),
            supply: Volt(channels.1),
            temperature: fitted.0.map(Celsius),
            boost: Kilopascal(channels.2),
            barometer: Kilopascal(channels.3),
            exhaust: fitted.1.map(Kilopascal),
            turbo_speed: fitted.2.map(|speed| Rpm(speed * 1000.0)),
            conversions: {
                let [position, current, supply, engine] = board.0;
                Conversions { position, current, supply, engine }
            },
            bridge: if board.1 { BridgeLine::Fault } else { BridgeLine::Quiet },
        })
    }
}
