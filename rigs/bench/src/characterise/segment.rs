//! One segment of a probe on a rig: runs it, keeps what was read, and says how it ended.

use firmware_core::link::state::{MotionEvent, ReleaseReason, Source};
use firmware_core::probe::{ProbeSegment, ProbeUntil};
use firmware_core::settings::CountsDirection;
use firmware_core::units::{Ampere, Tick, Volt};

use super::surprise::Surprise;
use crate::procedure::RunStop;
use crate::rig::{Rig, StreamItem};

/// Ticks beyond a segment's own time that its end may take: the lever is lowered and comes to rest.
const EASE_TICKS: u32 = 45_000;

/// What one tick read.
#[derive(Debug, Clone, Copy)]
pub(super) struct TickReading {
    pub(super) tick: u32,
    pub(super) counts: f64,
    /// On the motor, as duty and supply make it.
    pub(super) volts: f64,
    pub(super) amps: f64,
    pub(super) supply: f64,
}

/// A segment that ran.
#[derive(Debug, Clone)]
pub(super) struct Trace {
    pub(super) readings: Vec<TickReading>,
    /// How many of them came before the push was let down.
    pub(super) driven: usize,
    pub(super) end: ReleaseReason,
}

impl Trace {
    pub(super) fn driven(&self) -> &[TickReading] {
        self.readings.get(..self.driven).unwrap_or(&self.readings)
    }

    /// How far the lever went while it was driven, counts, with its sign.
    pub(super) fn gone(&self) -> f64 {
        let driven = self.driven();
        let ends = |from: &[TickReading]| mean(from.iter().map(|one| one.counts));
        let tail = driven.len().saturating_sub(10);
        ends(driven.get(tail..).unwrap_or_default())
            - ends(driven.get(..10.min(driven.len())).unwrap_or_default())
    }

    /// How far the lever went in its last readings, lowered, counts.
    pub(super) fn parting(&self) -> f64 {
        let tail = self.readings.get(self.readings.len().saturating_sub(60)..).unwrap_or_default();
        let ends = |from: &[TickReading]| mean(from.iter().map(|one| one.counts));
        let (Some(first), Some(last)) = (tail.first_chunk::<10>(), tail.last_chunk::<10>()) else {
            return 0.0;
        };
        ends(last) - ends(first)
    }
}

pub(super) fn mean(values: impl Iterator<Item = f64>) -> f64 {
    let (mut sum, mut count) = (0.0, 0.0);
    for value in values {
        sum += value;
        count += 1.0;
    }
    if count > 0.0 { sum / count } else { f64::NAN }
}

/// A segment in plain numbers.
#[derive(Debug, Clone, Copy)]
pub(super) struct Plan {
    pub(super) volts: f64,
    pub(super) rise: f64,
    pub(super) cap: f64,
    pub(super) speed: f64,
    /// Speed limit that the way gone gives instead, where it is larger, 1/s.
    pub(super) speed_by_way: f64,
    pub(super) second_cap: Option<f64>,
    pub(super) moved: Option<f64>,
    pub(super) held_ticks: Option<u16>,
    pub(super) still: f64,
    pub(super) ticks: u16,
}

impl Plan {
    /// Drive off for so long.
    pub(super) fn rest(ticks: u16) -> Self {
        Self {
            volts: 0.0,
            rise: 1.0,
            cap: 0.1,
            speed: 1000.0,
            speed_by_way: 0.0,
            second_cap: None,
            moved: None,
            held_ticks: None,
            still: 10.0,
            ticks,
        }
    }

    /// So few volts that they move nothing, and the bridge on: the motor brakes a lever that a spring leads home.
    pub(super) fn brake(rated_voltage: f64, cap: f64) -> Self {
        Self { volts: 0.005 * rated_voltage, speed: 200_000.0, cap, ..Self::rest(250) }
    }

    fn segment(&self, direction: Option<CountsDirection>) -> ProbeSegment {
        ProbeSegment {
            volts: Volt(self.volts as f32),
            volts_per_s: self.rise as f32,
            cap: Ampere(self.cap as f32),
            counts_per_s: self.speed as f32,
            speed_by_way: self.speed_by_way as f32,
            direction,
            second_cap: self.second_cap.map(|cap| Ampere(cap as f32)),
            until: ProbeUntil {
                moved: self.moved.map(|counts| counts as u16),
                reached: None,
                held_ticks: self.held_ticks,
                still_counts: self.still as u16,
                ticks: self.ticks,
            },
        }
    }
}

/// Lets time pass with the drive off: a board that was told of another supply just now still doubts it.
///
/// # Errors
/// When the line is lost.
pub(super) fn wait(rig: &mut dyn Rig, ticks: u32) -> Result<(), RunStop> {
    let mut until = None;
    loop {
        if let StreamItem::Sample(sample) = rig.next_item()?
            && sample.tick.has_reached(*until.get_or_insert(sample.tick.after(ticks)))
        {
            return Ok(());
        }
    }
}

/// Runs a segment to its end, every tick of it seen.
///
/// # Errors
/// When the rig refuses, the line is lost, or samples of the segment are missing: the drive is off.
pub(super) fn run(
    rig: &mut dyn Rig,
    plan: &Plan,
    direction: Option<CountsDirection>,
) -> Result<Trace, Surprise> {
    let start = rig.start_probe(plan.segment(direction)).map_err(RunStop::from)?;
    let until = start.after(u32::from(plan.ticks) + EASE_TICKS);
    let mut trace = Trace { readings: Vec::new(), driven: usize::MAX, end: ReleaseReason::NotStarted };
    loop {
        match rig.next_item().map_err(RunStop::from)? {
            StreamItem::Sample(sample) if sample.tick.has_reached(start) => {
                if sample.state.source == Source::Probe {
                    let supply = sample.supply.map_or(f64::NAN, |supply| f64::from(supply.0));
                    trace.readings.push(TickReading {
                        tick: sample.tick.0,
                        counts: f64::from(sample.point.position),
                        volts: f64::from(sample.point.duty()) * supply,
                        amps: f64::from(sample.point.current().0),
                        supply,
                    });
                } else if sample.tick.has_reached(start.after(5)) {
                    trace.end = rig.last_release().map_err(RunStop::from)?.reason;
                    break;
                }
            }
            StreamItem::Motion { event: MotionEvent::Ended, tick } => {
                trace.driven = driven_before(&trace, tick)
            }
            StreamItem::Released { tick, reason, .. } if tick.has_reached(start) => {
                trace.end = reason;
                break;
            }
            // What was lost before it, while a person answered, is no part of it.
            StreamItem::Gap { first, ticks, cause } if first.after(ticks).has_reached(start.after(1)) => {
                rig.stop().map_err(RunStop::from)?;
                return Err(Surprise::SamplesLost { ticks, cause });
            }
            StreamItem::Sample(_)
            | StreamItem::Gap { .. }
            | StreamItem::State { .. }
            | StreamItem::Motion { .. }
            | StreamItem::Released { .. }
            | StreamItem::Learn { .. }
            | StreamItem::LostEvents { .. }
            | StreamItem::Stored { .. } => {}
        }
        if trace.readings.last().is_some_and(|last| Tick(last.tick).has_reached(until)) {
            rig.stop().map_err(RunStop::from)?;
            trace.end = ReleaseReason::ProbeTimeSpent;
            break;
        }
    }
    trace.driven = trace.driven.min(trace.readings.len());
    Ok(trace)
}

fn driven_before(trace: &Trace, tick: Tick) -> usize {
    trace.readings.iter().filter(|one| !Tick(one.tick).has_reached(tick)).count()
}
