//! Figures of one step response, after ISA-75.25.01, IEC 60534-4 and IEC 61514.
//!
//! In: a [`StepTrace`]: times from the step on, and openings. Out: dead time, T63, T86 (both with dead time
//! in them), overshoot, settling time, final error. A trace that never moves, never settles or is cut short
//! is refused; the figures then stay undetermined instead of being guessed.

use firmware_core::units::{TICKS_PER_SECOND, Tick};

use super::{Figure, Measure, StepSize, VaneDirection, extent, mean};
use crate::span::Span;

/// 63.2 % of the change, as the standards print it.
pub(crate) const T63_SHARE: f64 = 0.632;
/// 86.5 % of the change, as the standards print it.
pub(crate) const T86_SHARE: f64 = 0.865;
/// The last tenth of the trace gives the final value.
const FINAL_SHARE: f64 = 0.1;
/// Fewest readings after the step from which a response can be read.
const MIN_READINGS: usize = 20;

/// Ticks without a move that count as rest: two batches of samples, the usual hole.
const REST_TICKS: usize = 64;

/// Bands against which movement and rest are told apart, as fractions of travel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StepBands {
    /// Movement counts as begun outside this band round the start.
    pub moved: f64,
    /// The response counts as settled inside this band round the final value.
    pub settled: f64,
}

/// Why a trace gives no step figures.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum StepTraceError {
    /// Fewer readings than a response needs.
    #[error(
        "{seen} readings after the step; at least {MIN_READINGS} are needed. Record longer after the step"
    )]
    TooShort {
        /// Readings seen.
        seen: usize,
    },
    /// Times do not rise, or a value is not a number.
    #[error("reading {index} after the step is not a number or does not follow the one before it")]
    Disordered {
        /// Reading, from 0.
        index: usize,
    },
    /// The command changes by less than 1 % of travel.
    #[error("the command changes by {percent:.2} % of travel; a step is 1 to 100 %")]
    NoStep {
        /// Change in per cent of travel.
        percent: f64,
    },
    /// The position did not leave the moved band.
    #[error(
        "the position moved by {percent:.2} % of travel, no more than the {band:.2} % that counts as rest. \
         Check that the ring is free and the drive is on"
    )]
    NoMovement {
        /// Final change in per cent of travel.
        percent: f64,
        /// The moved band in per cent of travel.
        band: f64,
    },
    /// The last tenth of the trace still wanders.
    #[error(
        "the last tenth of the record still moves by {percent:.2} % of travel (band {band:.2} %). Record \
         longer after the step, or look for hunting"
    )]
    NotSettled {
        /// Range of the last tenth in per cent of travel.
        percent: f64,
        /// The settled band in per cent of travel.
        band: f64,
    },
    /// Too much of the end is missing.
    #[error("{seen} of {due} readings of the last tenth are on record; half are needed. Step again")]
    EndMissing {
        /// Readings seen.
        seen: usize,
        /// Readings that a whole record has there.
        due: usize,
    },
}

/// One step of the command and the opening that followed.
#[derive(Debug, Clone, PartialEq)]
pub struct StepTrace {
    /// Tick of the step.
    pub at: Tick,
    /// Commanded opening before the step.
    pub command_before: f64,
    /// Commanded opening after the step.
    pub command_after: f64,
    /// Opening before the step.
    pub start: f64,
    /// Seconds from the step, and the opening then.
    pub readings: Vec<(f64, f64)>,
}

/// What one step response shows.
#[derive(Debug, Clone, PartialEq)]
pub struct StepResponse {
    /// Size of the commanded step.
    pub size: StepSize,
    /// Which way it went.
    pub direction: VaneDirection,
    /// Opening before the step.
    pub start: f64,
    /// Opening at the end.
    pub end: f64,
    /// Seconds to the first movement.
    pub dead_time_s: f64,
    /// Seconds to 63.2 % of the change.
    pub t63_s: f64,
    /// Seconds to 86.5 % of the change.
    pub t86_s: f64,
    /// Travel beyond the end, in per cent of the change; 0 for none.
    pub overshoot_percent: f64,
    /// Seconds after which the response stays in the settled band.
    pub settling_s: f64,
    /// End minus command, fraction of travel.
    pub final_error: f64,
    needs: StepNeeds,
}

/// Readings that decide: on either side of each crossing, and the whole way to rest for what may lie on it: the
/// peak, and the last time outside the settled band. A hole after that hides nothing.
#[derive(Debug, Clone, Copy, PartialEq)]
struct StepNeeds {
    dead_time: Option<Span>,
    t63: Option<Span>,
    t86: Option<Span>,
    settling: Option<Span>,
    peak: Option<Span>,
}

/// Where a course crosses a level.
#[derive(Debug, Clone, Copy)]
struct Crossing {
    seconds: f64,
    /// The readings on either side, seconds.
    between: (f64, f64),
}

impl StepTrace {
    /// Reads the response off the trace.
    pub fn evaluate(&self, bands: StepBands) -> Result<StepResponse, StepTraceError> {
        self.check_readings()?;
        let commanded = self.command_after - self.command_before;
        let size = StepSize::try_from_percent(100.0 * commanded)
            .ok_or(StepTraceError::NoStep { percent: 100.0 * commanded })?;
        let end = self.final_value(bands)?;
        let change = end - self.start;
        if change.abs() <= bands.moved {
            return Err(StepTraceError::NoMovement { percent: 100.0 * change, band: 100.0 * bands.moved });
        }
        let progress = |y: f64| (y - self.start) / change;
        let crossing = |share| self.first_crossing(progress, share);
        let moved = crossing(bands.moved / change.abs());
        let (t63, t86) = (crossing(T63_SHARE), crossing(T86_SHARE));
        let settled = self.settled_at(end, bands.settled);
        let rest_s = self.rest_after(settled.map_or(0.0, |at| at.between.1), bands);
        let seconds = |at: Option<Crossing>| at.map_or(f64::INFINITY, |at| at.seconds);
        let span = |at: Option<Crossing>| at.map(|at| self.span(at.between.0, at.between.1));
        let peak = self.readings.iter().map(|&(_, y)| progress(y)).fold(1.0, f64::max);
        Ok(StepResponse {
            size,
            direction: if commanded > 0.0 { VaneDirection::Opening } else { VaneDirection::Closing },
            start: self.start,
            end,
            dead_time_s: seconds(moved),
            t63_s: seconds(t63),
            t86_s: seconds(t86),
            overshoot_percent: 100.0 * (peak - 1.0),
            settling_s: settled.map_or(0.0, |at| at.seconds),
            final_error: end - self.command_after,
            needs: StepNeeds {
                dead_time: span(moved),
                t63: span(t63),
                t86: span(t86),
                settling: Some(self.span(settled.map_or(0.0, |at| at.between.0), rest_s)),
                peak: t86.map(|from| self.span(from.between.0, rest_s.max(from.between.1))),
            },
        })
    }

    /// The ticks between two times of the trace, both included.
    fn span(&self, from_s: f64, to_s: f64) -> Span {
        let tick = |seconds: f64| self.at.after((seconds * f64::from(TICKS_PER_SECOND)).round() as u32);
        Span { first: tick(from_s), last: tick(to_s) }
    }

    /// End of the first rest from a time on: readings without a hole that stay in the moved band. The end of the
    /// trace where there is none.
    fn rest_after(&self, from_s: f64, bands: StepBands) -> f64 {
        let begin = self.readings.partition_point(|&(t, _)| t < from_s);
        let mut rests = self.readings.get(begin..).unwrap_or_default().windows(REST_TICKS + 1);
        let is_rest = |rest: &&[(f64, f64)]| {
            let (Some(first), Some(last)) = (rest.first(), rest.last()) else { return false };
            let ticks = ((last.0 - first.0) * f64::from(TICKS_PER_SECOND)).round();
            let range = super::range(rest.iter().map(|&(_, y)| y));
            ticks == REST_TICKS as f64 && range <= 2.0 * bands.moved
        };
        let end = rests.find(is_rest).and_then(|rest| rest.last()).or(self.readings.last());
        end.map_or(from_s, |&(t, _)| t)
    }

    fn check_readings(&self) -> Result<(), StepTraceError> {
        if self.readings.len() < MIN_READINGS {
            return Err(StepTraceError::TooShort { seen: self.readings.len() });
        }
        let finite = |&(t, y): &(f64, f64)| t.is_finite() && y.is_finite();
        if let Some(index) = self.readings.iter().position(|reading| !finite(reading)) {
            return Err(StepTraceError::Disordered { index });
        }
        match self.readings.windows(2).position(|w| !matches!(w, [a, b] if b.0 > a.0)) {
            Some(index) => Err(StepTraceError::Disordered { index: index + 1 }),
            None => Ok(()),
        }
    }

    fn final_value(&self, bands: StepBands) -> Result<f64, StepTraceError> {
        let (first, last) = (self.readings[0].0, self.readings[self.readings.len() - 1].0);
        let from = last - FINAL_SHARE * (last - first);
        let tail: Vec<f64> = self.readings.iter().filter(|r| r.0 >= from).map(|r| r.1).collect();
        let due = ((last - from) * f64::from(TICKS_PER_SECOND)).round() as usize;
        if tail.len() * 2 < due {
            return Err(StepTraceError::EndMissing { seen: tail.len(), due });
        }
        let (low, high) = extent(tail.iter().copied()).unwrap_or((0.0, 0.0));
        if high - low > 2.0 * bands.settled {
            return Err(StepTraceError::NotSettled {
                percent: 100.0 * (high - low),
                band: 200.0 * bands.settled,
            });
        }
        Ok(mean(&tail))
    }

    /// Time at which `progress` first reaches `share`, between two readings in proportion.
    fn first_crossing(&self, progress: impl Fn(f64) -> f64, share: f64) -> Option<Crossing> {
        let (mut t_before, mut p_before) = (0.0, 0.0);
        for &(t, y) in &self.readings {
            let p = progress(y);
            if p >= share {
                let run = if p > p_before { (share - p_before) / (p - p_before) } else { 1.0 };
                let seconds = t_before + (t - t_before) * run.max(0.0);
                return Some(Crossing { seconds, between: (t_before, t) });
            }
            (t_before, p_before) = (t, p);
        }
        None
    }

    /// The reading after the last one outside the band; none when none is outside.
    fn settled_at(&self, end: f64, band: f64) -> Option<Crossing> {
        let outside = |y: f64| (y - end).abs() > band;
        let last_outside = self.readings.iter().rposition(|&(_, y)| outside(y))?;
        let before = self.readings.get(last_outside)?.0;
        let next = self.readings.get(last_outside + 1).or(self.readings.last())?.0;
        Some(Crossing { seconds: next, between: (before, next) })
    }
}

impl StepResponse {
    /// The response as figures.
    #[must_use]
    pub fn figures(&self, conditions: &str) -> Vec<Figure> {
        let place =
            format!("{}, {:.0} to {:.0} % of travel", self.direction, 100.0 * self.start, 100.0 * self.end);
        let needs = &self.needs;
        let values = [
            (Measure::DeadTime(self.size), 1000.0 * self.dead_time_s, needs.dead_time),
            (Measure::T63(self.size), 1000.0 * self.t63_s, needs.t63),
            (Measure::T86(self.size), 1000.0 * self.t86_s, needs.t86),
            (Measure::Overshoot(self.size), self.overshoot_percent, needs.peak),
            (Measure::SettlingTime(self.size), 1000.0 * self.settling_s, needs.settling),
            (Measure::FinalError(self.size), 100.0 * self.final_error, None),
        ];
        let figure = |(measure, value, needs): (Measure, f64, Option<Span>)| {
            let figure = Figure::new(measure, value, conditions).placed(place.clone());
            figure.needing(needs.into_iter().collect())
        };
        values.into_iter().map(figure).collect()
    }
}

#[cfg(test)]
mod tests;
