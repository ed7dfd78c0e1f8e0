//! One sensor channel: offset, gain, noise, range, quantisation, and how it fails.
//!
//! In: the true value in the sensor's own unit, a standard normal draw. Out: the reading. What else is random
//! (glitches) comes from the generator handed in.

use rand::{Rng, RngExt};
use serde::{Deserialize, Serialize};

use crate::check::{BadParameter, between, not_negative};

/// A sound channel.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ChannelParams {
    /// Whether the sensor is there at all.
    pub fitted: bool,
    /// Added to every reading, sensor units.
    pub offset: f64,
    /// Multiplies every reading.
    pub gain: f64,
    /// Standard deviation of the noise, sensor units.
    pub noise: f64,
    /// Lowest reading.
    pub lowest: f64,
    /// Highest reading.
    pub highest: f64,
    /// Smallest step between readings; 0 is continuous.
    pub step: f64,
}

impl ChannelParams {
    /// A fitted channel with unit gain and no offset.
    #[must_use]
    pub fn new(noise: f64, lowest: f64, highest: f64, step: f64) -> Self {
        Self { fitted: true, offset: 0.0, gain: 1.0, noise, lowest, highest, step }
    }

    /// Checks every field.
    ///
    /// # Errors
    /// Names the field.
    pub fn validate(&self) -> Result<(), BadParameter> {
        between("offset", self.offset, -1e9, 1e9)?;
        between("gain", self.gain, -1e6, 1e6)?;
        not_negative("noise", self.noise)?;
        not_negative("step", self.step)?;
        between("highest", self.highest, self.lowest, 1e9)
    }
}

/// A way for a channel to fail. Numbers are in the sensor's unit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub enum ChannelFault {
    /// Reads too high by this much.
    Offset(f64),
    /// Reads this many times the true value (about the sensor's zero).
    Gain(f64),
    /// More noise: its standard deviation.
    Noise(f64),
    /// Single wild readings.
    Glitch {
        /// How many per second, on average.
        per_s: f64,
        /// How far off, either way.
        size: f64,
    },
    /// Keeps its last reading.
    Freeze,
    /// Creeps by this much per second.
    Drift(f64),
    /// Reads this and nothing else (a broken wire; `nan` is allowed where the channel is a float).
    DropOut(f64),
}

/// All failures of one channel that are present together.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Disturbance {
    offset: f64,
    gain: f64,
    noise: f64,
    glitch_per_s: f64,
    glitch_size: f64,
    frozen: bool,
    drift_per_s: f64,
    drift_origin: f64,
    dropped_to: Option<f64>,
}

impl Default for Disturbance {
    fn default() -> Self {
        Self {
            offset: 0.0,
            gain: 1.0,
            noise: 0.0,
            glitch_per_s: 0.0,
            glitch_size: 0.0,
            frozen: false,
            drift_per_s: 0.0,
            drift_origin: 0.0,
            dropped_to: None,
        }
    }
}

impl Disturbance {
    /// Adds a fault that set in at `since_s`.
    fn add(&mut self, fault: ChannelFault, since_s: f64) {
        match fault {
            ChannelFault::Offset(by) => self.offset += by,
            ChannelFault::Gain(factor) => self.gain *= factor,
            ChannelFault::Noise(sigma) => self.noise = self.noise.max(sigma),
            ChannelFault::Glitch { per_s, size } => (self.glitch_per_s, self.glitch_size) = (per_s, size),
            ChannelFault::Freeze => self.frozen = true,
            ChannelFault::Drift(per_s) => {
                self.drift_per_s += per_s;
                self.drift_origin += per_s * since_s;
            }
            ChannelFault::DropOut(reading) => self.dropped_to = Some(reading),
        }
    }
}

/// Readings per second: one each tick.
const READINGS_PER_S: f64 = 1000.0;

/// A channel with its failures and its last reading.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Channel {
    pub params: ChannelParams,
    /// Nothing on a sound channel, which most are: they are read every tick.
    disturbance: Option<Box<Disturbance>>,
    last: Option<f64>,
}

impl Channel {
    pub(crate) fn new(params: ChannelParams) -> Self {
        Self { params, disturbance: None, last: None }
    }

    pub(crate) fn clear_faults(&mut self) {
        self.disturbance = None;
    }

    /// Adds a fault that set in at `since_s`.
    pub(crate) fn add_fault(&mut self, fault: ChannelFault, since_s: f64) {
        self.disturbance.get_or_insert_default().add(fault, since_s);
    }

    /// One reading of `truth` at `time_s`; `normal` is a standard normal draw.
    #[inline]
    pub(crate) fn read(&mut self, truth: f64, normal: f64, time_s: f64, rng: &mut impl Rng) -> f64 {
        if self.disturbance.is_some() {
            return self.read_disturbed(truth, normal, time_s, rng);
        }
        let p = &self.params;
        self.shown(truth * p.gain + p.offset + p.noise * normal)
    }

    #[cold]
    fn read_disturbed(&mut self, truth: f64, normal: f64, time_s: f64, rng: &mut impl Rng) -> f64 {
        let (p, d) = (&self.params, self.disturbance.as_deref().copied().unwrap_or_default());
        if let Some(reading) = d.dropped_to {
            return reading;
        }
        if let (true, Some(last)) = (d.frozen, self.last) {
            return last;
        }
        let mut value = truth * p.gain * d.gain + p.offset + d.offset;
        if d.drift_per_s != 0.0 {
            value += d.drift_per_s * time_s - d.drift_origin;
        }
        value += p.noise.max(d.noise) * normal;
        if d.glitch_per_s > 0.0 && rng.random::<f64>() < d.glitch_per_s / READINGS_PER_S {
            value += if rng.random::<bool>() { d.glitch_size } else { -d.glitch_size };
        }
        self.shown(value)
    }

    /// A value as the sensor shows it.
    #[inline]
    fn shown(&mut self, value: f64) -> f64 {
        let p = &self.params;
        let reading = quantised(value, p.step).clamp(p.lowest, p.highest);
        self.last = Some(reading);
        reading
    }
}

#[inline]
fn quantised(value: f64, step: f64) -> f64 {
    if step > 0.0 { nearest(value / step) * step } else { value }
}

/// The nearest whole number, halves to the even one, as `rint` has it.
#[inline]
pub(super) fn nearest(x: f64) -> f64 {
    /// Below this size a double holds halves; adding three times it leaves only the whole.
    const HALVES: f64 = 2_251_799_813_685_248.0;
    const ROUNDER: f64 = 3.0 * HALVES;
    if x.abs() < HALVES { ((x + ROUNDER) - ROUNDER).copysign(x) } else { libm::rint(x) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use rand::SeedableRng;

    proptest! {
        #[test]
        fn whole_numbers_are_those_of_libm(bits in any::<u64>(), near in -1e6_f64..1e6) {
            for x in [f64::from_bits(bits), near, libm::rint(near) + 0.5] {
                prop_assert_eq!(nearest(x).to_bits(), libm::rint(x).to_bits(), "{}", x);
            }
        }
    }

    fn channel(fault: Option<ChannelFault>) -> Channel {
        let mut channel = Channel::new(ChannelParams::new(0.0, 0.0, 400.0, 0.1));
        if let Some(fault) = fault {
            channel.add_fault(fault, 2.0);
        }
        channel
    }

    fn read_at(fault: ChannelFault, truth: f64, time_s: f64) -> f64 {
        channel(Some(fault)).read(truth, 0.0, time_s, &mut rand_pcg::Pcg64Mcg::seed_from_u64(1))
    }

    #[test]
    fn each_fault_shows_as_named() {
        assert_eq!(read_at(ChannelFault::Offset(5.0), 100.0, 3.0), 105.0);
        assert_eq!(read_at(ChannelFault::Gain(1.1), 100.0, 3.0), 110.0);
        assert_eq!(read_at(ChannelFault::Drift(2.0), 100.0, 4.0), 104.0);
        assert_eq!(read_at(ChannelFault::DropOut(0.0), 100.0, 3.0), 0.0);
        assert_eq!(read_at(ChannelFault::Glitch { per_s: 1000.0, size: 50.0 }, 100.0, 3.0) % 50.0, 0.0);
    }

    #[test]
    fn a_frozen_channel_keeps_its_last_reading() {
        let mut rng = rand_pcg::Pcg64Mcg::seed_from_u64(1);
        let mut channel = channel(None);
        let before = channel.read(100.0, 0.0, 0.0, &mut rng);
        channel.add_fault(ChannelFault::Freeze, 1.0);
        assert_eq!(channel.read(200.0, 0.0, 1.0, &mut rng), before);
    }

    #[test]
    fn readings_stay_in_range_and_on_the_grid() {
        let mut rng = rand_pcg::Pcg64Mcg::seed_from_u64(1);
        let mut channel = channel(Some(ChannelFault::Noise(300.0)));
        for normal in (-300..300).map(|k| f64::from(k) * 0.01) {
            let reading = channel.read(200.0, normal, 0.0, &mut rng);
            assert!((0.0..=400.0).contains(&reading));
            assert!((reading * 10.0 - libm::rint(reading * 10.0)).abs() < 1e-9);
        }
    }
}
