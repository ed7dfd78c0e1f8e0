//! Looks on while a run begins: is this the actuator that the profile and the unit's name speak of?
//!
//! In: the run's own samples, the profile, the calibration in force, what the unit's newest learn showed. Out: a
//! [`Contradiction`], on which the run is stopped. Nothing is pushed for the look's sake: a learn presses its first stop
//! at a third to a half of the largest current, a motion holds the lever still again and again. What the samples do not
//! show is passed over.

use std::collections::VecDeque;

use firmware_core::calibration::Calibration;
use firmware_core::command::Command;
use firmware_core::settings::{ActuatorSettings, LearnWindows, Settings, StopWindows};
use firmware_core::units::{TICKS_PER_SECOND, Tick};

use super::contradiction::Contradiction;
use crate::record::{RecordedSample, Run};
use crate::rig::StreamSample;

/// Readings beyond the outermost windows that are believed, as a part of the travel: what stops give under a push.
const BEYOND: f32 = 0.02;
/// Supplies of a sound bench, as parts of the profile's: 8.4 to 16.8 V about 12 V.
const SUPPLY: [f32; 2] = [0.7, 1.4];
/// Windings of sound units, as parts of the profile's resistance: ±20 % of make, copper from −20 to 120 °C, switches.
const WINDING: [f32; 2] = [0.65, 2.0];
/// The same unit's winding, as parts of what it showed: copper alone, from −20 to 120 °C either way.
const SAME_WINDING: [f32; 2] = [0.6, 1.65];
/// Over so many ticks the lever is looked at to see whether it stands still; what is measured in them goes together.
const STILL_TICKS: u32 = 40;
/// Largest back-EMF of a lever that stands still, as a part of the volts that drive the largest current.
const STILL_SHARE: f32 = 0.012;
/// Largest way over that time, as a part of the travel, where the back-EMF is weak.
const STILL_TRAVEL: f32 = 0.003;
/// Smallest way that a reading in whole counts can tell from none, counts.
const LEAST_WAY: f32 = 1.5;
/// Below this part of the largest current the current says little of the winding.
const LEAST_CURRENT: f32 = 0.04;
/// Spread of current that a slope needs, as a part of the largest current.
const LEAST_SPREAD: f32 = 0.1;
/// Samples that a slope needs.
const LEAST_SAMPLES: u32 = 100;
/// Largest standard error of a slope that is believed, as a part of it.
const LARGEST_ERROR: f64 = 0.1;

/// Volts over current in the ticks in which the lever stands still under a push.
#[derive(Debug, Clone)]
struct WindingReading {
    recent: VecDeque<(Tick, f32)>,
    supply: Option<f32>,
    still_counts: f32,
    largest_a: f32,
    count: u32,
    /// Sums of current, volts, current², current·volts, volts².
    sums: [f64; 5],
    currents: Option<(f32, f32)>,
}

/// A tick of a run.
#[derive(Debug, Clone, Copy)]
struct At {
    tick: Tick,
    counts: f32,
    duty: f32,
    current: f32,
    supply: Option<f32>,
}

impl WindingReading {
    fn new(actuator: &ActuatorSettings) -> Self {
        let largest_a = actuator.max_current.0;
        let speed =
            STILL_SHARE * largest_a * actuator.winding_resistance_ohm / actuator.back_emf_v_per_count_per_s;
        let way = speed * STILL_TICKS as f32 / TICKS_PER_SECOND as f32;
        let still_counts = way.min(STILL_TRAVEL * actuator.nominal_span_counts).max(LEAST_WAY);
        Self {
            recent: VecDeque::new(),
            supply: None,
            still_counts,
            largest_a,
            count: 0,
            sums: [0.0; 5],
            currents: None,
        }
    }

    /// True where the tick has added to what is known.
    fn see(&mut self, at: At) -> bool {
        self.supply = at.supply.or(self.supply);
        let whole = self.recent.back().is_none_or(|(last, _)| at.tick.since(*last) == 1);
        if !whole {
            self.recent.clear();
        }
        self.recent.push_back((at.tick, at.counts));
        if self.recent.len() <= STILL_TICKS as usize {
            return false;
        }
        let then = self.recent.pop_front().map_or(f32::NAN, |(_, counts)| counts);
        let current = at.current * at.duty.signum();
        let is_still = (at.counts - then).abs() <= self.still_counts;
        let is_pushed = current >= LEAST_CURRENT * self.largest_a;
        let (true, true, Some(supply)) = (is_still, is_pushed, self.supply) else { return false };
        let (x, y) = (f64::from(current), f64::from(at.duty.abs() * supply));
        for (sum, term) in self.sums.iter_mut().zip([x, y, x * x, x * y, y * y]) {
            *sum += term;
        }
        self.count += 1;
        let (low, high) = self.currents.unwrap_or((current, current));
        self.currents = Some((low.min(current), high.max(current)));
        true
    }

    /// Slope of volts over current, Ω: an offset of the bridge drops out. None where it is not known to a tenth.
    fn ohm(&self) -> Option<f32> {
        let (low, high) = self.currents?;
        if self.count < LEAST_SAMPLES || high - low < LEAST_SPREAD * self.largest_a {
            return None;
        }
        let [x, y, xx, xy, yy] = self.sums.map(|sum| sum / f64::from(self.count));
        let [xx, xy, yy] = [xx - x * x, xy - x * y, yy - y * y];
        let slope = xy / xx;
        // Ticks of one still stretch see the same errors: so many are worth one.
        let independent = f64::from(self.count) / f64::from(STILL_TICKS);
        let error = ((yy - slope * xy).max(0.0) / (xx * independent)).sqrt();
        (error <= LARGEST_ERROR * slope).then_some(slope as f32)
    }
}

/// Where the lever may stand before it moves, lowest and highest, counts.
#[derive(Debug, Clone, Copy)]
enum RestRange {
    /// By the windows of the profile.
    Windows([f32; 2]),
    /// By the stops of the calibration in force.
    Stops([f32; 2]),
}

/// Looks on.
#[derive(Debug, Clone)]
pub(super) struct Look {
    winding: WindingReading,
    rest: RestRange,
    supply: [f32; 2],
    allowed: [f32; 2],
    before: Option<f32>,
    is_first: bool,
}

impl Look {
    /// At a unit that should be of this profile, and show the winding that it had in `last`.
    pub(super) fn at_unlearned(settings: &Settings, last: Option<&Run>) -> Self {
        Self::new(settings, RestRange::Windows(outermost(settings)), last)
    }

    /// At a unit that should be the one that `learn` calibrated.
    pub(super) fn at_learned(settings: &Settings, calibration: &Calibration, learn: Option<&Run>) -> Self {
        Self::new(settings, RestRange::Stops(between_stops(calibration)), learn)
    }

    fn new(settings: &Settings, rest: RestRange, last: Option<&Run>) -> Self {
        let actuator = &settings.actuator;
        Self {
            winding: WindingReading::new(actuator),
            rest,
            supply: SUPPLY.map(|part| part * actuator.nominal_supply.0),
            allowed: WINDING.map(|part| part * actuator.winding_resistance_ohm),
            before: last.and_then(|run| shown(actuator, run)),
            is_first: true,
        }
    }

    /// Takes a sample of the run.
    pub(super) fn see(&mut self, sample: &StreamSample) -> Result<(), Contradiction> {
        let point = &sample.point;
        let at = At {
            tick: sample.tick,
            counts: f32::from(point.position().0),
            duty: point.duty(),
            current: point.current().0,
            supply: sample.supply.map(|supply| supply.0),
        };
        if self.is_first && at.duty == 0.0 {
            self.at_rest(at)?;
        }
        self.is_first = false;
        if self.winding.see(at) && self.winding.count.is_multiple_of(LEAST_SAMPLES) {
            self.winding.ohm().map_or(Ok(()), |seen| self.compare(seen))?;
        }
        Ok(())
    }

    fn at_rest(&self, at: At) -> Result<(), Contradiction> {
        let seen = at.counts;
        match self.rest {
            RestRange::Windows([low, high]) if !(low..=high).contains(&seen) => {
                return Err(Contradiction::Rest { seen, low, high });
            }
            RestRange::Stops([low, high]) if !(low..=high).contains(&seen) => {
                return Err(Contradiction::RestBeyondStops { seen, low, high });
            }
            RestRange::Windows(_) | RestRange::Stops(_) => {}
        }
        let [low, high] = self.supply;
        match at.supply {
            Some(seen) if !(low..=high).contains(&seen) => Err(Contradiction::Supply { seen, low, high }),
            Some(_) | None => Ok(()),
        }
    }

    fn compare(&self, seen: f32) -> Result<(), Contradiction> {
        let [low, high] = self.allowed;
        if !(low..=high).contains(&seen) {
            return Err(Contradiction::Winding { seen, low, high });
        }
        let Some(before) = self.before else { return Ok(()) };
        let [low, high] = SAME_WINDING.map(|part| part * before);
        if !(low..=high).contains(&seen) {
            return Err(Contradiction::OtherWinding { seen, before, low, high });
        }
        Ok(())
    }
}

/// Between the outermost windows of all setups, and a little beyond.
fn outermost(settings: &Settings) -> [f32; 2] {
    let LearnWindows { free, attached, on_engine } = &settings.learn.windows;
    let all = [free, attached, on_engine].into_iter().flat_map(|setup| [setup.cold, setup.hot]);
    let edges = all.flat_map(|StopWindows { closed, open }| [closed.min, closed.max, open.min, open.max]);
    let counts = edges.map(|edge| f32::from(edge.0));
    let beyond = BEYOND * settings.actuator.nominal_span_counts;
    [counts.clone().fold(f32::MAX, f32::min) - beyond, counts.fold(f32::MIN, f32::max) + beyond]
}

/// Between the learned stops, and a little beyond.
fn between_stops(calibration: &Calibration) -> [f32; 2] {
    let Calibration { closed, open, .. } = calibration;
    let [low, high] = [f32::min, f32::max].map(|pick| pick(closed.zero_push_counts, open.zero_push_counts));
    let beyond = BEYOND * (high - low);
    [low - beyond, high + beyond]
}

/// The winding that a recorded run shows, Ω.
fn shown(actuator: &ActuatorSettings, run: &Run) -> Option<f32> {
    let mut winding = WindingReading::new(actuator);
    let is_pressing = |sample: &&RecordedSample| matches!(sample.command, Command::Current(_));
    for sample in run.samples().filter(is_pressing) {
        winding.see(At {
            tick: sample.tick,
            counts: f32::from(sample.position.0),
            duty: sample.duty,
            current: sample.motor_current.map_or(f32::NAN, |current| current.0),
            supply: sample.supply.map(|supply| supply.0),
        });
    }
    winding.ohm()
}
