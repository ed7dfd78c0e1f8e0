//! What the sensors of a world are told, and what they say.
//!
//! In: the world as it stands. Out: one [`Sample`] a tick, every reading with its noise and its faults.

use firmware_core::sample::{Conversions, Sample};
use firmware_core::units::{Ampere, Celsius, Kilopascal, Rpm, Tick, Volt};

use super::{BoostTap, RPM_PER_RAD_S, SensorParams, World};
use crate::actuator::supply_at_connector;
use crate::sensor::{Channels, PositionSensor, Readings, Signal};

/// What turns the sensors' volts into numbers, on the board.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum ConverterState {
    /// Every group of channels once for each sample.
    Converting,
    /// None any more.
    Frozen,
}

#[derive(Debug, Clone, PartialEq)]
pub(super) struct Sensors {
    pub(super) position: PositionSensor,
    pub(super) channels: Channels,
}

impl Sensors {
    pub(super) fn new(params: &SensorParams) -> Self {
        let channels = Channels::new(&[
            (Signal::Position, params.position.channel()),
            (Signal::Current, params.current),
            (Signal::Supply, params.supply),
            (Signal::Boost, params.boost),
            (Signal::Barometer, params.barometer),
            (Signal::Exhaust, params.exhaust),
            (Signal::TurboSpeed, params.turbo_speed),
        ]);
        Self { position: PositionSensor::new(params.position), channels }
    }

    pub(super) fn clear_faults(&mut self) {
        self.position.clear_faults();
        self.channels.clear_faults();
    }
}

impl World {
    /// Reads every sensor once. A frozen converter has all of it stand still, but not what the bridge says.
    pub fn sample(&mut self, tick: Tick) -> Sample {
        let now = self.converted(tick);
        let read = match (self.converter, self.read) {
            (ConverterState::Frozen, Some(last)) => Sample { tick, bridge: now.bridge, ..last },
            (ConverterState::Frozen, None) | (ConverterState::Converting, _) => now,
        };
        self.read = Some(read);
        read
    }

    /// One conversion of every channel.
    fn converted(&mut self, tick: Tick) -> Sample {
        let (time_s, truth) = (self.time_s(), self.for_the_sensors());
        let normal = self.noise.draw();
        let Sensors { position, channels } = &mut self.sensors;
        let readings = channels.read(&truth, &normal, time_s, &mut self.rng);
        let of = |signal: Signal| readings[signal as usize] as f32;
        let housing_c = self.sound.motor.heat.map(|heat| Celsius(heat.surroundings_c as f32));
        Sample {
            tick,
            position: position.counts(readings[Signal::Position as usize]),
            motor_current: Ampere(of(Signal::Current)),
            supply: Volt(of(Signal::Supply)),
            temperature: housing_c,
            boost: Kilopascal(of(Signal::Boost)),
            barometer: Kilopascal(of(Signal::Barometer)),
            exhaust: channels.has(Signal::Exhaust).then(|| Kilopascal(of(Signal::Exhaust))),
            turbo_speed: channels.has(Signal::TurboSpeed).then(|| Rpm(of(Signal::TurboSpeed))),
            conversions: Conversions::all(
                self.read.map_or(0, |last| last.conversions.position.wrapping_add(1)),
            ),
            bridge: self.bridge,
        }
    }

    /// Boost where the sensor's hose begins, Pa.
    pub(super) fn boost_at_tap_pa(&self) -> f64 {
        match (self.running, self.config.sensors.boost_tap) {
            (true, BoostTap::CompressorOutlet) => self.engine.compressor_outlet_pa(),
            (true, BoostTap::Manifold) | (false, _) => self.air_state()[0],
        }
    }

    /// What there is to read, each in its sensor's unit and place.
    fn for_the_sensors(&self) -> Readings {
        let [_, exhaust_pa, turbo_rad_s] = self.air_state();
        let state = self.actuator.state();
        let boost_pa =
            if self.config.sensors.boost_lag_s > 0.0 { self.lagged_boost_pa } else { self.boost_at_tap_pa() };
        let bridge = &self.actuator.params().bridge;
        let mut truth = Readings::default();
        truth[Signal::Position as usize] = self.sensors.position.truth(state.lever_rad);
        // In the leads, whichever way they go to the motor.
        truth[Signal::Current as usize] = self.drive_sign * state.current_a;
        truth[Signal::Supply as usize] = supply_at_connector(bridge, self.drive, state.current_a);
        truth[Signal::Boost as usize] = boost_pa * 1e-3;
        truth[Signal::Barometer as usize] = self.engine.model().ambient().pressure_pa * 1e-3;
        truth[Signal::Exhaust as usize] = exhaust_pa * 1e-3;
        truth[Signal::TurboSpeed as usize] = turbo_rad_s * RPM_PER_RAD_S;
        truth
    }
}
