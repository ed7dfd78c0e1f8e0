//! What must hold in every tick of a learn, whatever phase it is in.
//!
//! In: the raw sample. Out: nothing, or the refusal: tick lost, not a number, supply or sensor out of
//! range, a step that no lever can make, over-current, deadline.

use super::plan::LearnPlan;
use super::refusal::{LearnRefusal, Reading};
use crate::sample::Sample;
use crate::units::{Counts, Tick};

/// Ticks that a supply fault must last, and that too much current must come to in all: less is commutation or inrush.
const DEBOUNCE_TICKS: u8 = 10;
/// Ticks that the sensor must stay out of range before its wiring is named. One more sample than a
/// glitch; a glitch itself is a jump.
const RANGE_TICKS: u8 = 3;
/// Current above the command limit that is still control ripple.
const CURRENT_MARGIN: f32 = 1.15;

/// Running state of the checks.
#[derive(Debug, Clone)]
pub(super) struct LearnWatch {
    started: Option<Tick>,
    last: Option<(Tick, Counts)>,
    supply_bad: u8,
    current_bad: u8,
    range_bad: u8,
    low: Counts,
    high: Counts,
}

impl LearnWatch {
    pub(super) fn new() -> Self {
        Self {
            started: None,
            last: None,
            supply_bad: 0,
            current_bad: 0,
            range_bad: 0,
            low: Counts(i16::MAX),
            high: Counts(i16::MIN),
        }
    }

    /// True when the reading has not changed by a single count since the learn began.
    pub(super) fn never_flickered(&self) -> bool {
        self.low == self.high
    }

    /// True while the reading lies outside its electrical range: nothing is decided on it.
    pub(super) fn is_blind(&self) -> bool {
        self.range_bad > 0
    }

    /// Lowest reading since the learn began.
    pub(super) fn low(&self) -> f32 {
        self.low.as_f32()
    }

    pub(super) fn tick(&mut self, sample: &Sample, plan: &LearnPlan) -> Result<(), LearnRefusal> {
        let started = *self.started.get_or_insert(sample.tick);
        self.finite(sample)?;
        self.sensor(sample, plan)?;
        self.supply(sample, plan)?;
        self.current(sample, plan)?;
        let (ticks, allowed) = (sample.tick.since(started), plan.learn.limits.deadline_ticks);
        if ticks > allowed { Err(LearnRefusal::Timeout { ticks, allowed }) } else { Ok(()) }
    }

    fn finite(&self, sample: &Sample) -> Result<(), LearnRefusal> {
        if !sample.motor_current.is_finite() {
            return Err(LearnRefusal::NotANumber { reading: Reading::MotorCurrent });
        }
        if !sample.supply.is_finite() {
            return Err(LearnRefusal::NotANumber { reading: Reading::Supply });
        }
        Ok(())
    }

    fn sensor(&mut self, sample: &Sample, plan: &LearnPlan) -> Result<(), LearnRefusal> {
        let (min, max) = (plan.actuator.sensor_min, plan.actuator.sensor_max);
        let outside = sample.position < min || sample.position > max;
        if lasts(&mut self.range_bad, outside, RANGE_TICKS) {
            return Err(LearnRefusal::SensorOutOfRange {
                seen: sample.position.as_f32(),
                min: min.as_f32(),
                max: max.as_f32(),
            });
        }
        self.low = self.low.min(sample.position);
        self.high = self.high.max(sample.position);
        let Some((tick, position)) = self.last.replace((sample.tick, sample.position)) else {
            return Ok(());
        };
        let step = sample.tick.since(tick);
        if step != 1 {
            return Err(LearnRefusal::TickLost { step });
        }
        let step = libm::fabsf(sample.position.as_f32() - position.as_f32());
        let limit = plan.learn.limits.jump * plan.travel;
        // A reading that has left its range is judged by the range check, two ticks later.
        if step > limit && !outside {
            return Err(LearnRefusal::SensorJump { step, max: limit });
        }
        Ok(())
    }

    fn supply(&mut self, sample: &Sample, plan: &LearnPlan) -> Result<(), LearnRefusal> {
        let (min, max) = (plan.learn.limits.supply_min, plan.learn.limits.supply_max);
        let outside = sample.supply < min || sample.supply > max;
        if lasts(&mut self.supply_bad, outside, DEBOUNCE_TICKS) {
            return Err(LearnRefusal::SupplyOutOfRange { seen: sample.supply.0, min: min.0, max: max.0 });
        }
        Ok(())
    }

    fn current(&mut self, sample: &Sample, plan: &LearnPlan) -> Result<(), LearnRefusal> {
        let max = plan.actuator.max_current.0 * CURRENT_MARGIN;
        let seen = libm::fabsf(sample.motor_current.0);
        if seen > max {
            // The drive cuts such a current back within a tick: the ticks of a short need not follow one another.
            self.current_bad = self.current_bad.saturating_add(1);
            if self.current_bad >= DEBOUNCE_TICKS {
                return Err(LearnRefusal::OverCurrent { seen, max });
            }
        }
        Ok(())
    }
}

/// Counts ticks in which `bad` holds without a break; true from the `needed`-th on.
fn lasts(count: &mut u8, bad: bool, needed: u8) -> bool {
    *count = if bad { count.saturating_add(1) } else { 0 };
    *count >= needed
}
