//! Watches strokes of an endurance: a summary of each, and the limits on which the endurance ends itself.
//!
//! In: the stream, tick by tick, and where each motion began. Out: a [`StrokeSummary`] at the end of each stroke; a
//! [`PassedLimit`] once one was passed in several strokes in a row. Keeps sums only: as much memory after ten thousand
//! strokes as after one.

use firmware_core::calibration::Calibration;
use firmware_core::motion::Segment;
use firmware_core::units::{TICKS_PER_SECOND, Tick};

use super::motions::{STROKE_HOLD_TICKS, STROKE_RAMP_TICKS, STROKE_TICKS, stroke_lead_ticks};
use super::observer::PlanPart;
use super::passed_limit::{PassedLimit, WatchedLimit, watched};
use super::target::Target;
use crate::record::StrokeSummary;
use crate::rig::{StreamItem, StreamSample};

/// Last part of a rest that is averaged, ticks.
const AVERAGE_TICKS: u32 = 100;
/// Below this part of the largest current the rest says nothing of the winding.
const LEAST_CURRENT: f64 = 0.04;

/// What is wanted of an endurance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct CyclePlan {
    /// Strokes in all.
    pub(crate) wanted: u32,
    /// Of them done before.
    pub(crate) before: u32,
    /// The first and every so many-th are kept whole.
    pub(crate) keep_every: u32,
    /// Hottest housing that is let pass, °C; none is watched without it.
    pub(crate) hottest_c: Option<f64>,
}

/// Sums of the stroke that runs.
#[derive(Default)]
struct StrokeSums {
    samples: u32,
    lost: u32,
    squares: f64,
    peak: f64,
    celsius: Option<f32>,
    /// Current mid-travel: closing, opening.
    ramps: [RunningMean; 2],
    rests: [EndRest; 2],
}

/// A rest at an end.
#[derive(Default)]
struct EndRest {
    off: RunningMean,
    volts: RunningMean,
    amperes: RunningMean,
}

#[derive(Default)]
struct RunningMean {
    sum: f64,
    count: u32,
}

impl RunningMean {
    fn add(&mut self, value: f64) {
        self.sum += value;
        self.count += 1;
    }

    fn value(&self) -> f64 {
        self.sum / f64::from(self.count.max(1))
    }
}

/// A motion of the board with several strokes in it.
#[derive(Clone, Copy)]
struct StrokedMotion {
    /// First tick of its first stroke.
    first: Tick,
    strokes: u32,
    /// Strokes done before it.
    before: u32,
}

/// Which part of a stroke a tick belongs to.
enum StrokePart {
    /// Mid-travel, toward the end of this number.
    Mid(usize),
    /// The averaged part of a rest at this end.
    Rest(usize),
    Other,
}

fn part_at(offset: u32) -> StrokePart {
    const HALF: u32 = STROKE_TICKS / 2;
    let (toward, within) = if offset < HALF { (1, offset) } else { (0, offset - HALF) };
    let third = STROKE_RAMP_TICKS / 3;
    if (third..2 * third).contains(&within) {
        StrokePart::Mid(toward)
    } else if within >= STROKE_RAMP_TICKS + STROKE_HOLD_TICKS - AVERAGE_TICKS {
        StrokePart::Rest(toward)
    } else {
        StrokePart::Other
    }
}

/// Sums up strokes as their samples come.
pub(super) struct StrokeWatch {
    plan: CyclePlan,
    calibration: Calibration,
    ends: [f64; 2],
    largest_a: f64,
    watched: Vec<WatchedLimit>,
    /// The motion that runs.
    motion: Option<StrokedMotion>,
    done: u32,
    sums: StrokeSums,
}

impl StrokeWatch {
    pub(super) fn new(target: &Target, calibration: Calibration, plan: CyclePlan) -> Self {
        let sweep = &target.profile.plan.sweep;
        Self {
            plan,
            calibration,
            ends: [sweep.lowest, sweep.highest],
            largest_a: f64::from(target.profile.settings.actuator.max_current.0),
            watched: watched(target, plan.hottest_c),
            motion: None,
            done: plan.before,
            sums: StrokeSums::default(),
        }
    }

    /// A motion has begun.
    pub(super) fn begin(&mut self, part: PlanPart) {
        let lead = stroke_lead_ticks();
        let strokes = part.ticks.saturating_sub(lead) / STROKE_TICKS;
        self.motion = Some(StrokedMotion { first: part.start.after(lead), strokes, before: self.done });
        self.sums = StrokeSums::default();
    }

    /// True while the stroke that runs is kept whole.
    pub(super) fn keeps_whole(&self) -> bool {
        let running = self.done + 1;
        running == self.plan.before + 1 || running.is_multiple_of(self.plan.keep_every)
    }

    /// Takes an item; gives the stroke that it ends.
    pub(super) fn see(&mut self, item: &StreamItem) -> Option<StrokeSummary> {
        let StrokedMotion { first, strokes, before } = self.motion?;
        match item {
            StreamItem::Gap { ticks, .. } => {
                self.sums.lost += ticks;
                None
            }
            StreamItem::Sample(sample) if sample.tick.has_reached(first) => {
                let offset = sample.tick.since(first);
                let passed = (offset / STROKE_TICKS).min(strokes);
                // The first sample after a stroke ends it; what a hole swallowed whole ends with the next.
                let ended = (before + passed > self.done).then(|| self.end());
                if passed < strokes {
                    self.add(sample, offset % STROKE_TICKS);
                }
                ended
            }
            StreamItem::Sample(_)
            | StreamItem::State { .. }
            | StreamItem::Motion { .. }
            | StreamItem::Released { .. }
            | StreamItem::Learn { .. }
            | StreamItem::LostEvents { .. }
            | StreamItem::Stored { .. } => None,
        }
    }

    /// Closes the stroke that runs.
    fn end(&mut self) -> StrokeSummary {
        self.done += 1;
        let sums = std::mem::take(&mut self.sums);
        let rests = &sums.rests;
        // The end with more current shows the winding better.
        let pushed = rests.iter().max_by(|a, b| a.amperes.value().abs().total_cmp(&b.amperes.value().abs()));
        let winding = pushed.filter(|rest| rest.amperes.value().abs() > LEAST_CURRENT * self.largest_a);
        StrokeSummary {
            number: self.done,
            off_percent: [0, 1].map(|end| (100.0 * rests[end].off.value()) as f32),
            friction_a: (0.5 * (sums.ramps[1].value() - sums.ramps[0].value())) as f32,
            peak_a: sums.peak as f32,
            rms_a: (sums.squares / f64::from(sums.samples.max(1))).sqrt() as f32,
            winding_ohm: winding.map(|rest| (rest.volts.value() / rest.amperes.value()) as f32),
            celsius: sums.celsius,
            lost: sums.lost,
        }
    }

    fn add(&mut self, sample: &StreamSample, offset: u32) {
        let sums = &mut self.sums;
        let current = f64::from(sample.point.current().0);
        if let Some(celsius) = sample.temperature {
            sums.celsius = Some(sums.celsius.map_or(celsius.0, |before| before.max(celsius.0)));
        }
        if !current.is_finite() {
            return;
        }
        sums.samples += 1;
        sums.squares += current * current;
        sums.peak = sums.peak.max(current.abs());
        match part_at(offset) {
            StrokePart::Mid(toward) => sums.ramps[toward].add(current),
            StrokePart::Rest(end) => {
                let rest = &mut sums.rests[end];
                let opening = f64::from(self.calibration.unclamped_opening(sample.point.position()));
                rest.off.add(opening - self.ends[end]);
                if let Some(supply) = sample.supply {
                    rest.volts.add(f64::from(sample.point.duty() * supply.0));
                    rest.amperes.add(current);
                }
            }
            StrokePart::Other => {}
        }
    }

    /// Checks a stroke against the limits.
    pub(super) fn check(&mut self, stroke: &StrokeSummary) -> Result<(), PassedLimit> {
        self.watched.iter_mut().try_for_each(|limit| limit.check(stroke))
    }
}

/// Ticks of so many strokes, for people: h.
#[must_use]
pub(crate) fn hours_of(strokes: u32) -> f64 {
    const SECONDS_PER_HOUR: f64 = 3600.0;
    f64::from(strokes) * f64::from(STROKE_TICKS) / f64::from(TICKS_PER_SECOND) / SECONDS_PER_HOUR
}

/// Strokes that take at least so long; none beyond what counts hold.
#[must_use]
pub(crate) fn strokes_in(hours: f64) -> Option<u32> {
    let strokes = (hours / hours_of(1)).ceil();
    (1.0..=f64::from(u32::MAX / STROKE_TICKS)).contains(&strokes).then_some(strokes as u32)
}

/// The segments of so many strokes.
pub(super) fn segments(target: &Target, strokes: u32) -> Vec<Segment> {
    super::motions::strokes(&target.profile.plan.sweep, strokes)
}
