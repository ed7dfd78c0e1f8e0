//! A probe of an actuator of which nothing is known but what its maker prints: one segment of volts that the board runs
//! and ends by itself.
//!
//! In: a segment, then each tick's sample. Out: volts that rise along a line, held back by the *measured* current and the
//! *measured* speed, or the reason why the segment ended. Neither resistance nor calibration is used. A segment that ends
//! lowers the lever: a spring that takes it home is held to the speed limit ([`lower`]). Refused: what is no number or
//! past what the settings allow.

mod drive;
mod lever;
mod lower;
mod rest;
mod winding;

use serde::{Deserialize, Serialize};

use crate::command::Command;
use crate::faults::{Fault, FaultSet};
use crate::sample::Sample;
use crate::settings::{ActuatorSettings, CountsDirection, SettingError, SettingField, within};
use crate::units::{Ampere, Counts, Volt, larger};
use drive::ProbeDrive;
use lever::ProbedLever;
use lower::Lowering;
use winding::ProbedWinding;

/// Longest segment, ticks: a minute.
const MOST_TICKS: u16 = 60_000;
/// Steepest rise, V/s: 0.2 V in a tick, which 0.5 Ω turns into 0.4 A.
const STEEPEST_V_PER_S: f32 = 200.0;
/// Share of a cap that is aimed at: what the reading's noise and the winding's lag add then stays below the cap.
const AIMED_AT: f32 = 0.97;
/// Share of that at which the push counts as full, and how fast the push follows the current's reading: one noisy
/// reading ends no hold.
const FULL_PUSH: f32 = 0.85;
const PUSH_STEP: f32 = 1.0 / 32.0;
/// Where the speed limit grows with the way gone, a lever stands that goes less than this share of its way.
const CREEPS: f32 = 0.04;
/// The current is out of hand this far over the cap, for [`OUT_OF_HAND_TICKS`].
const OUT_OF_HAND: f32 = 1.5;
/// Ten times a small winding's time constant.
const OUT_OF_HAND_TICKS: u8 = 20;

/// What ends a segment that goes well; time always does.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ProbeUntil {
    /// The lever has gone this far from where it stood, either way, counts.
    pub moved: Option<u16>,
    /// The lever has come to this reading or past it.
    pub reached: Option<Counts>,
    /// The push has been full for this many ticks and the lever stood within `still_counts`.
    pub held_ticks: Option<u16>,
    /// Travel within which a lever stands, counts.
    pub still_counts: u16,
    /// This much time has gone, ticks, 1 to 60 000.
    pub ticks: u16,
}

/// One segment: drive toward `volts`, no faster, no stronger.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ProbeSegment {
    /// Volts to rise to, from 0; the sign is the drive's; 0 leaves the drive off.
    pub volts: Volt,
    /// Rise, V/s, 0.01 to 200.
    pub volts_per_s: f32,
    /// Most current that may be read, A, 0.01 to the actuator's largest.
    pub cap: Ampere,
    /// Most speed that may be read, counts/s, 1 to 200 000.
    pub counts_per_s: f32,
    /// Speed limit for each count of way gone, where that is more, 1/s, 0 to 1: 0.35 meets the end of an unknown travel at
    /// 0.35 of it a second.
    pub speed_by_way: f32,
    /// Which way counts go under positive drive, once that is known: a lever that a spring leads is braked with volts
    /// against it only then.
    pub direction: Option<CountsDirection>,
    /// Once held, the cap rises to this and the lever is to be held again.
    pub second_cap: Option<Ampere>,
    /// What ends it.
    pub until: ProbeUntil,
}

/// Refuses the number of a segment with this row when it lies outside `min ..= max`.
fn check(row: u8, value: f32, min: f32, max: f32) -> Result<(), SettingError> {
    within(value, min, max).map_err(|range| SettingError { field: SettingField::of_probe(row), range })
}

impl ProbeSegment {
    /// Checks every number against what the settings in use allow.
    ///
    /// # Errors
    /// The field that is out of range, with what was given and what is allowed.
    #[inline]
    pub fn validate(&self, actuator: &ActuatorSettings) -> Result<(), SettingError> {
        let most = actuator.nominal_supply.0;
        check(0, self.volts.0, -most, most)?;
        check(1, self.volts_per_s, 0.01, STEEPEST_V_PER_S)?;
        check(2, self.cap.0, 0.01, actuator.max_current.0)?;
        check(3, self.counts_per_s, 1.0, 200_000.0)?;
        let second = self.second_cap.unwrap_or(self.cap).0;
        check(4, second, self.cap.0, actuator.max_current.0)?;
        check(5, f32::from(self.until.ticks), 1.0, f32::from(MOST_TICKS))?;
        check(6, self.speed_by_way, 0.0, 1.0)
    }
}

/// Why a segment ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum ProbeEnd {
    /// The lever moved as far as was asked.
    Moved,
    /// The lever came to the reading.
    Reached,
    /// Something held the lever at the full push.
    Held,
    /// Its time is spent.
    TimeSpent,
    /// More current flowed than the cap although the volts were taken back.
    OverCurrent,
    /// The winding has had all the heat that its continuous current gives it.
    HeatLimit,
    /// The supply left its range.
    SupplyRange,
    /// Position or current could not be believed.
    SensorFault,
}

/// What a probe does in a tick.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ProbeStep {
    /// The segment goes on.
    Go(Command),
    /// It has ended; the push is let down and the lever with it.
    Ease(Command),
    /// It has ended, and nothing pushes any more.
    Done(ProbeEnd),
}

/// A segment on its way.
#[derive(Debug, Clone)]
pub struct Probe {
    segment: ProbeSegment,
    drive: ProbeDrive,
    winding: ProbedWinding,
    lever: ProbedLever,
    lowering: Option<Lowering>,
    /// Size of the current, followed, A.
    push: f32,
    anchor: Counts,
    held: u16,
    elapsed: u16,
    out_of_hand: u8,
    has_pressed: bool,
    end: Option<ProbeEnd>,
    cut: Option<ProbeEnd>,
}

impl Probe {
    /// A probe at its start. `segment` has been validated.
    #[must_use]
    pub fn new(segment: ProbeSegment) -> Self {
        Self {
            drive: ProbeDrive::new(AIMED_AT * segment.cap.0),
            winding: ProbedWinding::new(),
            lever: ProbedLever::new(&segment),
            segment,
            lowering: None,
            push: 0.0,
            anchor: Counts(0),
            held: 0,
            elapsed: 0,
            out_of_hand: 0,
            has_pressed: false,
            end: None,
            cut: None,
        }
    }

    /// What to do in this tick.
    pub fn tick(&mut self, sample: &Sample) -> ProbeStep {
        if let Some(cut) = self.cut {
            return ProbeStep::Done(cut);
        }
        // No drive without a current to go by, and none that a supply of nothing would be divided by.
        if !sample.motor_current.is_finite() {
            return ProbeStep::Done(ProbeEnd::SensorFault);
        }
        if !(sample.supply.is_finite() && sample.supply.0 > 1.0) {
            return ProbeStep::Done(ProbeEnd::SupplyRange);
        }
        self.lever.follow(sample.position, &self.segment);
        if self.end.is_none() {
            self.end = self.watch(sample);
        }
        match self.end {
            None => ProbeStep::Go(self.drive(sample)),
            Some(
                end @ (ProbeEnd::Moved
                | ProbeEnd::Reached
                | ProbeEnd::Held
                | ProbeEnd::TimeSpent
                | ProbeEnd::HeatLimit),
            ) => self.lower(sample).map_or(ProbeStep::Done(end), ProbeStep::Ease),
            Some(end @ (ProbeEnd::OverCurrent | ProbeEnd::SupplyRange | ProbeEnd::SensorFault)) => {
                ProbeStep::Done(end)
            }
        }
    }

    /// Takes in what the tick came to: the faults, and the heat in the winding as a share of what it can take for ever. A
    /// winding at that limit still lowers the lever, which takes less than lifting it did.
    pub fn see(&mut self, faults: FaultSet, heat: f32) {
        let sensors = [Fault::PositionRange, Fault::PositionJump, Fault::PositionFrozen, Fault::CurrentRange];
        if faults.contains(Fault::SupplyRange) {
            self.cut = Some(ProbeEnd::SupplyRange);
        } else if sensors.into_iter().any(|fault| faults.contains(fault)) {
            self.cut = Some(ProbeEnd::SensorFault);
        } else if heat.is_nan() {
            self.cut = Some(ProbeEnd::HeatLimit);
        } else if heat >= 1.0 && self.end.is_none() {
            self.end = Some(ProbeEnd::HeatLimit);
        }
    }

    fn watch(&mut self, sample: &Sample) -> Option<ProbeEnd> {
        let (until, position) = (self.segment.until, sample.position);
        if self.elapsed == 0 {
            self.anchor = position;
        }
        self.elapsed = self.elapsed.saturating_add(1);
        let size = libm::fabsf(sample.motor_current.0);
        self.push += (size - self.push) * PUSH_STEP;
        let is_out = size > OUT_OF_HAND * self.drive.cap() && self.segment.volts.0 != 0.0;
        self.out_of_hand = if is_out { self.out_of_hand.saturating_add(1) } else { 0 };
        if self.out_of_hand >= OUT_OF_HAND_TICKS {
            return Some(ProbeEnd::OverCurrent);
        }
        let start = self.lever.start();
        let gone = position.distance_from(start).unsigned_abs();
        if until.moved.is_some_and(|moved| gone >= u32::from(moved)) {
            return Some(ProbeEnd::Moved);
        }
        if until.reached.is_some_and(|goal| has_passed(start, goal, position)) {
            return Some(ProbeEnd::Reached);
        }
        if until.held_ticks.is_some_and(|ticks| self.is_held(position, ticks)) {
            return Some(ProbeEnd::Held);
        }
        (self.elapsed >= until.ticks).then_some(ProbeEnd::TimeSpent)
    }

    /// True once held at the last push there is.
    fn is_held(&mut self, position: Counts, ticks: u16) -> bool {
        let by_way = if self.segment.speed_by_way > 0.0 { CREEPS * self.lever.furthest() } else { 0.0 };
        let still = larger(by_way, f32::from(self.segment.until.still_counts));
        let is_full = self.push >= FULL_PUSH * self.drive.cap() || self.drive.is_at_most(self.most_volts());
        if position.distance_from(self.anchor).unsigned_abs() as f32 > still || !is_full {
            (self.anchor, self.held) = (position, 0);
        }
        self.held = self.held.saturating_add(1);
        if self.held < ticks {
            return false;
        }
        match self.segment.second_cap {
            Some(second) if !self.has_pressed => {
                self.drive.set_cap(AIMED_AT * second.0);
                (self.held, self.has_pressed) = (0, true);
                false
            }
            Some(_) | None => true,
        }
    }
}

/// True once a lever that started at `start` is at `goal` or past it.
fn has_passed(start: Counts, goal: Counts, now: Counts) -> bool {
    let way = goal.distance_from(start);
    let left = goal.distance_from(now);
    way == 0 || left == 0 || left.signum() != way.signum()
}

#[cfg(test)]
#[allow(clippy::arithmetic_side_effects)]
mod tests;
