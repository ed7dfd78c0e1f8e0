//! All sensors of one world, read at once: offset, gain, noise, range, quantisation.
//!
//! In: the true values in the sensors' own units, a standard normal draw for each. Out: the readings. They lie
//! side by side, so that the compiler can read several in one register; those at fault are read again, each
//! by itself. What else is random (glitches) comes from the generator handed in.

use rand::Rng;

use super::channel::{ChannelFault, ChannelParams, Disturbance, Fixed};
use super::noise::DRAWS;
use crate::lanes::{held, nearest};

/// What a sensor measures, and its place among the readings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Signal {
    Position,
    Current,
    Supply,
    Boost,
    Barometer,
    Exhaust,
    TurboSpeed,
}

/// A value for each [`Signal`], in its place; the last place is spare.
pub(crate) type Readings = [f64; DRAWS];

/// What a sensor makes of the truth before it is shown.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
struct SensorLine {
    gain: Readings,
    offset: Readings,
    noise: Readings,
}

/// The sensors with their failures and their last readings.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Channels {
    sound: SensorLine,
    /// With the faults that are present.
    now: SensorLine,
    step: Readings,
    /// 1 over the step; 0 for a continuous sensor.
    per_step: Readings,
    lowest: Readings,
    highest: Readings,
    fitted: [bool; DRAWS],
    /// What else is wrong; nothing with most worlds.
    disturbed: Vec<(Signal, Disturbance)>,
    last: Option<Readings>,
}

impl Channels {
    pub(crate) fn new(sensors: &[(Signal, ChannelParams)]) -> Self {
        let mut channels = Self::default();
        for (signal, params) in sensors {
            let k = *signal as usize;
            channels.sound.gain[k] = params.gain;
            channels.sound.offset[k] = params.offset;
            channels.sound.noise[k] = params.noise;
            channels.step[k] = params.step;
            channels.per_step[k] = if params.step > 0.0 { 1.0 / params.step } else { 0.0 };
            channels.lowest[k] = params.lowest;
            channels.highest[k] = params.highest;
            channels.fitted[k] = params.fitted;
        }
        channels.now = channels.sound;
        channels
    }

    pub(crate) fn has(&self, signal: Signal) -> bool {
        self.fitted[signal as usize]
    }

    pub(crate) fn clear_faults(&mut self) {
        self.now = self.sound;
        self.disturbed.clear();
    }

    /// Adds a fault that set in at `since_s`.
    pub(crate) fn add_fault(&mut self, signal: Signal, fault: ChannelFault, since_s: f64) {
        let k = signal as usize;
        match fault {
            ChannelFault::Offset(by) => self.now.offset[k] += by,
            ChannelFault::Gain(factor) => self.now.gain[k] *= factor,
            ChannelFault::Noise(sigma) => self.now.noise[k] = self.now.noise[k].max(sigma),
            ChannelFault::Glitch { .. }
            | ChannelFault::Freeze
            | ChannelFault::Drift(_)
            | ChannelFault::DropOut(_) => self.disturbance(signal).add(fault, since_s),
        }
    }

    fn disturbance(&mut self, signal: Signal) -> &mut Disturbance {
        let known = self.disturbed.iter().position(|(at, _)| *at == signal);
        let at = known.unwrap_or(self.disturbed.len());
        if known.is_none() {
            self.disturbed.push((signal, Disturbance::default()));
        }
        &mut self.disturbed[at].1
    }

    /// Readings of `truth` at `time_s`.
    #[inline]
    pub(crate) fn read(
        &mut self,
        truth: &Readings,
        normal: &Readings,
        time_s: f64,
        rng: &mut impl Rng,
    ) -> Readings {
        let mut readings = [0.0; DRAWS];
        for (k, reading) in readings.iter_mut().enumerate() {
            *reading = self.shown(k, self.unshown(k, truth, normal));
        }
        for (signal, disturbance) in &self.disturbed {
            let k = *signal as usize;
            readings[k] = match (disturbance.fixed(), &self.last) {
                (Some(Fixed::At(reading)), _) => reading,
                (Some(Fixed::AtLast), Some(last)) => last[k],
                _ => self.shown(k, self.unshown(k, truth, normal) + disturbance.shift(time_s, rng)),
            };
        }
        self.last = Some(readings);
        readings
    }

    #[inline(always)]
    fn unshown(&self, k: usize, truth: &Readings, normal: &Readings) -> f64 {
        truth[k] * self.now.gain[k] + self.now.offset[k] + self.now.noise[k] * normal[k]
    }

    /// A value as the sensor in this place shows it.
    #[inline(always)]
    fn shown(&self, k: usize, value: f64) -> f64 {
        let on_grid = nearest(value * self.per_step[k]) * self.step[k];
        held(if self.step[k] > 0.0 { on_grid } else { value }, self.lowest[k], self.highest[k])
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;
    use rand_pcg::Pcg64Mcg;

    /// A sensor of 0 … 400 in tenths, perhaps with a fault since 2 s.
    fn boost(fault: Option<ChannelFault>) -> Channels {
        let mut channels = Channels::new(&[(Signal::Boost, ChannelParams::new(0.0, 0.0, 400.0, 0.1))]);
        if let Some(fault) = fault {
            channels.add_fault(Signal::Boost, fault, 2.0);
        }
        channels
    }

    fn read(channels: &mut Channels, truth: f64, normal: f64, time_s: f64) -> f64 {
        let mut rng = Pcg64Mcg::seed_from_u64(1);
        channels.read(&[truth; DRAWS], &[normal; DRAWS], time_s, &mut rng)[Signal::Boost as usize]
    }

    #[test]
    fn each_fault_shows_as_named() {
        let read_at = |fault, truth, time_s| read(&mut boost(Some(fault)), truth, 0.0, time_s);
        assert_eq!(read_at(ChannelFault::Offset(5.0), 100.0, 3.0), 105.0);
        assert_eq!(read_at(ChannelFault::Gain(1.1), 100.0, 3.0), 110.0);
        assert_eq!(read_at(ChannelFault::Drift(2.0), 100.0, 4.0), 104.0);
        assert_eq!(read_at(ChannelFault::DropOut(0.0), 100.0, 3.0), 0.0);
        assert_eq!(read_at(ChannelFault::Glitch { per_s: 1000.0, size: 50.0 }, 100.0, 3.0) % 50.0, 0.0);
        assert_eq!(read(&mut boost(Some(ChannelFault::Noise(7.0))), 100.0, 2.0, 3.0), 114.0);
    }

    #[test]
    fn a_frozen_sensor_keeps_its_last_reading_and_its_neighbours_read_on() {
        let mut channels = boost(None);
        let before = read(&mut channels, 100.0, 0.0, 0.0);
        channels.add_fault(Signal::Boost, ChannelFault::Freeze, 1.0);
        assert_eq!(read(&mut channels, 200.0, 0.0, 1.0), before);
        channels.clear_faults();
        channels.add_fault(Signal::Exhaust, ChannelFault::Freeze, 1.0);
        assert_eq!(read(&mut channels, 200.0, 0.0, 2.0), 200.0);
    }

    #[test]
    fn readings_stay_in_range_and_on_the_grid() {
        let mut channels = boost(Some(ChannelFault::Noise(300.0)));
        for normal in (-300..300).map(|k| f64::from(k) * 0.01) {
            let reading = read(&mut channels, 200.0, normal, 0.0);
            assert!((0.0..=400.0).contains(&reading));
            assert!((reading * 10.0 - libm::rint(reading * 10.0)).abs() < 1e-9);
        }
    }
}
