//! A probe of an actuator of which nothing is known but what its maker prints: one segment of volts that the board runs
//! and ends by itself.
//!
//! In: a segment, then each tick's sample. Out: volts that rise along a line, held back by the *measured* current and the
//! *measured* speed, or the reason why the segment ended. Neither resistance nor calibration is used: the volts of a tick
//! are bounded, so that a current on its way up is seen before it is over its cap; and what volts make of a lever that
//! has not moved yet is seen, so that no more are given than it could stop dead under. Refused: what is no number or
//! past what the settings allow.

use serde::{Deserialize, Serialize};

use crate::command::Command;
use crate::faults::{Fault, FaultSet};
use crate::motion::Ease;
use crate::sample::Sample;
use crate::settings::{ActuatorSettings, SettingError, SettingField, within};
use crate::units::{Ampere, Counts, Duty, TICK_SECONDS, Volt, larger, smaller};

/// Longest segment, ticks: a minute.
const MOST_TICKS: u16 = 60_000;
/// Steepest rise, V/s: 0.2 V in a tick, which 0.5 Ω turns into 0.4 A.
const STEEPEST_V_PER_S: f32 = 200.0;
/// Volts that go back in a tick for each ampere over the cap, as a share of what the winding seems to take for one: a
/// tenth settles within a few ticks whatever the winding's own lag.
const CURRENT_GAIN: f32 = 0.1;
/// Least and most that a winding may seem to take, Ω: the quotient of two small readings is noise.
const SEEMING_OHM: [f32; 2] = [0.3, 10.0];
/// Over this share of the cap the volts fall at once to what would make the cap.
const CUT_FROM: f32 = 1.02;
/// And this far beyond that, A: looking ahead makes of a reading's noise five times as much.
const CUT_NOISE_A: f32 = 0.03;
/// At most this share of the cap.
const CUT_NOISE_SHARE: f32 = 0.06;
/// Ticks ahead that the current is looked for.
const LOOK_AHEAD: f32 = 2.0;
/// Share of the speed limit over which the rise slows down.
const SPEED_BAND: f32 = 0.25;
/// How much faster the volts fall at too high a speed than they rise.
const BRAKE: f32 = 2.0;
/// Share of a new speed that is believed in a tick: noise of a count is then 30 counts/s.
const SPEED_STEP: f32 = 1.0 / 32.0;
/// Share of the cap at which the push counts as full, and how fast the push follows the current's reading: one noisy
/// reading ends no hold.
const FULL_PUSH: f32 = 0.88;
const PUSH_STEP: f32 = 1.0 / 32.0;
/// Share of the cap from which volts over current is taken for the winding's, and how fast the quotient follows.
const JUDGED_FROM: f32 = 0.25;
/// Least current for that, A: offset and noise of a reading are far below it.
const JUDGED_FROM_A: f32 = 0.06;
const QUOTIENT_STEP: f32 = 0.1;
/// Ticks of that before it is believed.
const JUDGED_TICKS: u8 = 12;
/// Current that the volts may make of a lever that stops dead, as a share of the cap.
const DEAD_STOP: f32 = 1.08;
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
        check(5, f32::from(self.until.ticks), 1.0, f32::from(MOST_TICKS))
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
    /// It has ended well; the push is let down.
    Ease(Command),
    /// It has ended, and nothing pushes any more.
    Done(ProbeEnd),
}

/// A segment on its way.
#[derive(Debug, Clone)]
pub struct Probe {
    segment: ProbeSegment,
    cap: f32,
    volts: f32,
    current: f32,
    /// Size of the current, followed, A.
    push: f32,
    /// Volts for an ampere while the lever had not moved, followed; 0 until seen.
    quotient: f32,
    judged: u8,
    /// The least of it: a lever that creeps makes it larger.
    least_quotient: f32,
    has_moved: bool,
    /// Filtered, counts/s.
    speed: f32,
    last_position: Option<Counts>,
    start: Option<Counts>,
    anchor: Counts,
    held: u16,
    elapsed: u16,
    out_of_hand: u8,
    has_pressed: bool,
    ease: Ease,
    /// Duty when the segment ended.
    last: Duty,
    end: Option<ProbeEnd>,
    cut: Option<ProbeEnd>,
}

impl Probe {
    /// A probe at its start. `segment` has been validated.
    #[must_use]
    pub fn new(segment: ProbeSegment) -> Self {
        Self {
            cap: segment.cap.0,
            segment,
            volts: 0.0,
            current: 0.0,
            push: 0.0,
            quotient: 0.0,
            judged: 0,
            least_quotient: f32::INFINITY,
            has_moved: false,
            speed: 0.0,
            last_position: None,
            start: None,
            anchor: Counts(0),
            held: 0,
            elapsed: 0,
            out_of_hand: 0,
            has_pressed: false,
            ease: Ease::new(),
            last: Duty::ZERO,
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
        if self.end.is_none() {
            self.end = self.watch(sample);
        }
        match self.end {
            None => ProbeStep::Go(self.drive(sample)),
            Some(end @ (ProbeEnd::Moved | ProbeEnd::Reached | ProbeEnd::Held | ProbeEnd::TimeSpent)) => self
                .ease
                .tick()
                .map_or(ProbeStep::Done(end), |command| ProbeStep::Ease(self.no_more(command))),
            Some(
                end @ (ProbeEnd::OverCurrent
                | ProbeEnd::HeatLimit
                | ProbeEnd::SupplyRange
                | ProbeEnd::SensorFault),
            ) => ProbeStep::Done(end),
        }
    }

    /// Takes in what the tick came to: the duty that the limits left, the faults, and the heat in the winding as a share
    /// of what it can take for ever.
    pub fn see(&mut self, position: Counts, duty: Duty, faults: FaultSet, heat: f32) {
        if self.end.is_none() {
            self.ease.follow(duty);
            self.last = duty;
        } else {
            self.ease.see(position);
        }
        let sensors = [Fault::PositionRange, Fault::PositionJump, Fault::PositionFrozen, Fault::CurrentRange];
        if faults.contains(Fault::SupplyRange) {
            self.cut = Some(ProbeEnd::SupplyRange);
        } else if sensors.into_iter().any(|fault| faults.contains(fault)) {
            self.cut = Some(ProbeEnd::SensorFault);
        } else if heat >= 1.0 || heat.is_nan() {
            self.cut = Some(ProbeEnd::HeatLimit);
        }
    }

    /// The end of a push is no stronger than the push.
    fn no_more(&self, command: Command) -> Command {
        match command {
            Command::Duty(duty) if libm::fabsf(duty.get()) > libm::fabsf(self.last.get()) => {
                Command::Duty(self.last)
            }
            Command::Duty(_) | Command::Release | Command::Current(_) | Command::Opening(_) => command,
        }
    }

    fn watch(&mut self, sample: &Sample) -> Option<ProbeEnd> {
        let (until, position) = (self.segment.until, sample.position);
        let start = *self.start.get_or_insert(position);
        if self.elapsed == 0 {
            self.anchor = position;
        }
        self.elapsed = self.elapsed.saturating_add(1);
        let size = libm::fabsf(sample.motor_current.0);
        self.push += (size - self.push) * PUSH_STEP;
        let is_out = size > OUT_OF_HAND * self.cap && self.segment.volts.0 != 0.0;
        self.out_of_hand = if is_out { self.out_of_hand.saturating_add(1) } else { 0 };
        if self.out_of_hand >= OUT_OF_HAND_TICKS {
            return Some(ProbeEnd::OverCurrent);
        }
        let gone = position.distance_from(start);
        self.has_moved |= gone.unsigned_abs() > u32::from(until.still_counts);
        if until.moved.is_some_and(|moved| gone.unsigned_abs() >= u32::from(moved)) {
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
        let still = u32::from(self.segment.until.still_counts);
        let is_full = self.push >= FULL_PUSH * self.cap || self.volts >= self.most_volts();
        if position.distance_from(self.anchor).unsigned_abs() > still || !is_full {
            (self.anchor, self.held) = (position, 0);
        }
        self.held = self.held.saturating_add(1);
        if self.held < ticks {
            return false;
        }
        match self.segment.second_cap {
            Some(second) if !self.has_pressed => {
                (self.cap, self.held, self.has_pressed) = (second.0, 0, true);
                false
            }
            Some(_) | None => true,
        }
    }

    fn drive(&mut self, sample: &Sample) -> Command {
        let goal = self.segment.volts.0;
        if goal == 0.0 {
            return Command::Release;
        }
        let along = libm::copysignf(1.0, goal);
        // Which way counts go under this drive nobody knows yet: too fast is too fast either way.
        let speed = libm::fabsf(self.follow_speed(sample.position));
        let current = along * sample.motor_current.0;
        let coming = current + LOOK_AHEAD * (current - self.current);
        self.current = current;
        let seeming = smaller(larger(self.volts / current, SEEMING_OHM[0]), SEEMING_OHM[1]);
        let up = self.segment.volts_per_s * TICK_SECONDS;
        let limit = self.segment.counts_per_s;
        let by_speed = up * larger(smaller((limit - speed) / (SPEED_BAND * limit), 1.0), -BRAKE);
        let by_current = CURRENT_GAIN * seeming * (self.cap - coming);
        let least = CURRENT_GAIN * seeming * (-self.cap - coming);
        let step = larger(smaller(smaller(up, by_speed), by_current), least);
        self.judge_winding(current);
        let most = self.most_volts();
        self.volts = larger(smaller(self.volts + step, most), -most);
        let over = larger(current, coming);
        let noise = smaller(CUT_NOISE_A, CUT_NOISE_SHARE * self.cap);
        if over > CUT_FROM * self.cap + noise && self.volts > 0.0 {
            self.volts *= self.cap / over;
        }
        Command::Duty(Duty::saturating(along * self.volts / sample.supply.0, Duty::ZERO))
    }
}

impl Probe {
    fn follow_speed(&mut self, now: Counts) -> f32 {
        let gone = now.distance_from(self.last_position.unwrap_or(now)) as f32;
        self.last_position = Some(now);
        self.speed += (gone / TICK_SECONDS - self.speed) * SPEED_STEP;
        self.speed
    }

    /// A lever that stands has no back-EMF: what the volts make then is the winding's.
    fn judge_winding(&mut self, current: f32) {
        let least = larger(JUDGED_FROM * self.segment.cap.0, JUDGED_FROM_A);
        if !self.has_moved && current > least && self.volts > 0.0 {
            let seen = self.volts / current;
            let before = if self.quotient > 0.0 { self.quotient } else { seen };
            self.quotient = before + QUOTIENT_STEP * (seen - before);
            self.judged = self.judged.saturating_add(1);
            if self.judged >= JUDGED_TICKS {
                self.least_quotient = smaller(self.quotient, self.least_quotient);
            }
        }
    }

    /// Most volts: what was asked, and no more than makes the cap once the back-EMF is gone.
    fn most_volts(&self) -> f32 {
        smaller(DEAD_STOP * self.cap * self.least_quotient, libm::fabsf(self.segment.volts.0))
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
