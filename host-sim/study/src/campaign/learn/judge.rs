//! Was the learn right? By the truth of the world, not by the fault's name.
//!
//! In: a learn and where the intended contacts really are. Out: accepted rightly or wrongly, refused
//! rightly or wrongly, with the error. A refused must-accept unit is wrongly rejected; an accepted
//! calibration with a stop off by more than [`TOLERANCE`] is wrongly accepted; so is one that a person's
//! failed check should have held back.

use firmware_core::calibration::Calibration;
use firmware_core::learn::{CheckSet, LearnOutcome};

use super::case::{LearnRun, LearnRunError};
use crate::catalogue::{Case, Preset, Tag};
use plant::sensor::{ChannelFault, PositionFault};
use plant::world::{FaultKind, StopTruth, World, WorldConfig};

/// A stop may be off by this share of travel: 6 kPa of boost error, at about 300 kPa per unit of opening
/// where the reduced air path is steepest (2000 to 2800 rpm, 40 mg).
pub const TOLERANCE: f64 = 0.02;

/// What a run came to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LearnVerdict {
    /// A calibration in force, and right.
    AcceptedRightly,
    /// A calibration in force, and wrong.
    AcceptedWrongly,
    /// Sound signals, but a check is still open.
    NotProven,
    /// No calibration, for a reason that fits the fault.
    Rejected,
    /// No calibration, for a reason that does not fit the fault.
    RejectedForAnotherReason,
    /// No calibration of a unit that must have one.
    RejectedWrongly,
}

impl LearnVerdict {
    /// Is there a calibration in force?
    pub(super) fn is_in_force(self) -> bool {
        match self {
            Self::AcceptedRightly | Self::AcceptedWrongly => true,
            Self::NotProven | Self::Rejected | Self::RejectedForAnotherReason | Self::RejectedWrongly => {
                false
            }
        }
    }
}

/// One judged run.
#[derive(Debug, Clone, PartialEq)]
pub struct JudgedLearn {
    /// What it came to.
    pub verdict: LearnVerdict,
    /// Name of the refusal, if any.
    pub reason: Option<&'static str>,
    /// Severity drawn.
    pub severity: f64,
    /// How far off the first contact on the way to the closed and open stop stands, share of travel; 1 for none.
    pub met: [f64; 2],
    /// Error of the closed and open stop, share of travel, where a calibration came out.
    pub errors: Option<[f64; 2]>,
    /// Spread of the zero-push readings at each stop, share of travel, where a calibration came out.
    pub repeat: Option<[f64; 2]>,
    /// Rig time, ticks.
    pub ticks: u32,
    /// Fastest hit of a stop, travel/s.
    pub impact: f64,
    /// Largest duty magnitude that the drive was given.
    pub largest_duty: f64,
    /// The refusal in words.
    pub words: Option<String>,
}

/// Where the intended contacts read: those of the unit without the fault, through the sensor as it is.
///
/// # Errors
/// [`LearnRunError`] when the healthy world cannot be made.
pub(crate) fn intended_stops(
    healthy: &WorldConfig,
    case: &Case,
    ticks: u32,
) -> Result<StopTruth, LearnRunError> {
    Ok(as_read(World::new(healthy, 0)?.stop_truth(), case, ticks))
}

/// Where the first contact on the way to each stop reads, the fault included.
///
/// # Errors
/// [`LearnRunError`] when the world cannot be made.
pub(super) fn met_stops(case: &Case, ticks: u32) -> Result<StopTruth, LearnRunError> {
    Ok(as_read(World::new(&case.world, 0)?.first_contacts(), case, ticks))
}

fn as_read(truth: StopTruth, case: &Case, ticks: u32) -> StopTruth {
    let seconds = f64::from(ticks) / 1000.0;
    let (gain, shift) = case.world.faults.iter().fold((1.0, 0.0), |(gain, shift), fault| {
        let FaultKind::PositionSensor(PositionFault::Channel(what)) = fault.what else {
            return (gain, shift);
        };
        match what {
            ChannelFault::Offset(by) => (gain, shift + by),
            ChannelFault::Gain(by) => (gain * by, shift),
            ChannelFault::Drift(per_s) => (gain, shift + per_s * seconds),
            ChannelFault::Noise(_)
            | ChannelFault::Glitch { .. }
            | ChannelFault::Freeze
            | ChannelFault::DropOut(_) => (gain, shift),
        }
    });
    let through = |counts: f64| counts * gain + shift;
    StopTruth { closed_counts: truth.closed_counts.map(through), open_counts: truth.open_counts.map(through) }
}

/// Judges a run of a unit with these faults.
#[must_use]
pub(super) fn judge(
    faults: &[&Preset],
    severity: f64,
    checked: CheckSet,
    run: &LearnRun,
    (truth, met): (StopTruth, StopTruth),
    travel_counts: f64,
) -> JudgedLearn {
    let (calibration, reason, words) = match &run.outcome {
        LearnOutcome::Accepted(calibration) | LearnOutcome::NotProven { calibration, .. } => {
            (Some(calibration), None, None)
        }
        LearnOutcome::Refused(refusal) => (None, Some(refusal.name()), Some(refusal.to_string())),
    };
    let errors = calibration.map(|calibration| errors(calibration, truth, travel_counts));
    let impact = run.touches.iter().map(|touch| f64::from(touch.impact_speed)).fold(0.0, f64::max);
    JudgedLearn {
        verdict: verdict(faults, checked, &run.outcome, errors, reason),
        reason,
        severity,
        met: [(met.closed_counts, truth.closed_counts), (met.open_counts, truth.open_counts)]
            .map(|(met, truth)| met.zip(truth).map_or(1.0, |(met, truth)| (met - truth) / travel_counts)),
        errors,
        repeat: calibration
            .map(|c| [c.closed, c.open].map(|stop| f64::from(stop.repeat_range_counts) / travel_counts)),
        ticks: run.ticks,
        impact: impact / travel_counts,
        largest_duty: f64::from(run.largest_duty),
        words,
    }
}

/// Is a stop off by more than the tolerance?
pub(super) fn is_off(errors: [f64; 2]) -> bool {
    errors.iter().any(|error| error.is_nan() || error.abs() > TOLERANCE)
}

fn errors(calibration: &Calibration, truth: StopTruth, travel_counts: f64) -> [f64; 2] {
    let off = |learned: f32, truth: Option<f64>| match truth {
        Some(truth) => (f64::from(learned) - truth) / travel_counts,
        // A stop was learned where none belongs: wrong by all the travel.
        None => 1.0,
    };
    [
        off(calibration.closed.zero_push_counts, truth.closed_counts),
        off(calibration.open.zero_push_counts, truth.open_counts),
    ]
}

fn verdict(
    faults: &[&Preset],
    checked: CheckSet,
    outcome: &LearnOutcome,
    errors: Option<[f64; 2]>,
    reason: Option<&'static str>,
) -> LearnVerdict {
    match outcome {
        LearnOutcome::Accepted(_) => {
            let is_off = errors.is_none_or(is_off);
            let unseen = faults
                .iter()
                .any(|fault| matches!(fault.tag, Tag::UndecidableWithout(check) if !checked.contains(check)));
            if is_off || unseen { LearnVerdict::AcceptedWrongly } else { LearnVerdict::AcceptedRightly }
        }
        LearnOutcome::NotProven { .. } => LearnVerdict::NotProven,
        LearnOutcome::Refused(_) if faults.iter().all(|fault| fault.tag == Tag::MustAccept) => {
            LearnVerdict::RejectedWrongly
        }
        LearnOutcome::Refused(_) => match (faults, reason) {
            ([alone], Some(reason)) if !alone.reasons.contains(&reason) => {
                LearnVerdict::RejectedForAnotherReason
            }
            (_, _) => LearnVerdict::Rejected,
        },
    }
}
