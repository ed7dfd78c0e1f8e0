//! Checks the learned travel of the bench against the parts sheet.
//!
//! In: a sheet, how the lever's sensor counts, the learned end stops of the free and of the attached
//! actuator. Out: spans and over-travel reserves in lever degrees against what the sheet predicts, and
//! findings: travel short or long, stops swapped, no reserve at an end, lever or ring clocked. Refuses a
//! sheet without the lever's travel.

use serde::Serialize;

use crate::figures::indexing_stack;
use crate::{ActsOn, Field, PartsSheet};

/// How the sensor counts the lever's rotation.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, schemars::JsonSchema)]
pub struct LeverSensor {
    /// Counts per degree of lever, above 0.
    pub counts_per_degree: f64,
    /// +1 where opening raises counts, −1 where it lowers them.
    pub opening_sign: OpeningSign,
}

/// Which way the sensor counts when the vanes open.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum OpeningSign {
    /// Opening raises counts.
    Raises,
    /// Opening lowers counts.
    Lowers,
}

/// Learned end stops, counts.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, schemars::JsonSchema)]
pub struct LearnedCounts {
    /// At the closed stop.
    pub closed: f64,
    /// At the open stop.
    pub open: f64,
}

/// An end of the travel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum OpeningEnd {
    /// Vanes closed.
    Closed,
    /// Vanes open.
    Open,
}

impl std::fmt::Display for OpeningEnd {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Closed => "closed",
            Self::Open => "open",
        })
    }
}

/// What the actuator can travel beyond the attached stop, lever degrees.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, schemars::JsonSchema)]
pub struct EndReserve {
    /// Which end.
    pub end: OpeningEnd,
    /// Measured: free stop less attached stop.
    pub found_deg: f64,
    /// What the sheet predicts.
    pub predicted_deg: f64,
}

/// Which part stands on a wrong hole.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum ClockedPart {
    /// The lever on the actuator's shaft.
    Lever,
    /// The nozzle ring in its housing.
    Ring,
}

/// One thing that the learned travel tells.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema, thiserror::Error)]
#[serde(rename_all = "kebab-case", tag = "kind")]
pub enum TravelFinding {
    /// Counts run the other way between the stops.
    #[error(
        "stops swapped: from closed to open the counts {seen}, the sheet's actuator says otherwise; check \
         which end was learned as closed, the motor's polarity and the sensor's direction"
    )]
    StopsSwapped {
        /// What was seen.
        seen: &'static str,
    },
    /// The ring lets the lever travel less than the parts say.
    #[error(
        "attached travel {found_deg:.2}° is shorter than the sheet's {predicted_deg:.2}° ± {tolerance_deg:.2}°; \
         look for soot, an obstruction, or a stop felt too early"
    )]
    SpanShort {
        /// Learned.
        found_deg: f64,
        /// From the sheet.
        predicted_deg: f64,
        /// Allowed difference.
        tolerance_deg: f64,
    },
    /// The ring lets the lever travel more than the parts say.
    #[error(
        "attached travel {found_deg:.2}° is longer than the sheet's {predicted_deg:.2}° ± {tolerance_deg:.2}°; \
         look for a missing or worn stop, a bent rod, or a lever that slips"
    )]
    SpanLong {
        /// Learned.
        found_deg: f64,
        /// From the sheet.
        predicted_deg: f64,
        /// Allowed difference.
        tolerance_deg: f64,
    },
    /// The actuator's own stop is felt, not the ring's.
    #[error(
        "no over-travel reserve at the {end} end ({found_deg:.2}°): the actuator's own stop is felt there, \
         not the ring's; re-seat the lever or the ring before trusting this calibration"
    )]
    NoReserve {
        /// Which end.
        end: OpeningEnd,
        /// Reserve found.
        found_deg: f64,
    },
    /// The shift is a whole number of holes.
    #[error(
        "{part:?} is clocked toward {toward} by this many holes: {holes}. The learned travel is \
         {shift_deg:.2}° off; one hole is {pitch_deg:.2}° of lever. Take it off and set it back, then \
         learn again"
    )]
    Clocked {
        /// Which part.
        part: ClockedPart,
        /// How many holes.
        holes: u32,
        /// Toward which end the attached travel lies.
        toward: OpeningEnd,
        /// Shift in lever degrees.
        shift_deg: f64,
        /// One hole in lever degrees.
        pitch_deg: f64,
    },
    /// The travel is shifted, and no hole explains it.
    #[error(
        "attached travel is {shift_deg:.2}° too far toward {toward} (allowed {tolerance_deg:.2}°), and no \
         whole hole of lever or ring accounts for it; check rod length, lever seat and the stops \
         themselves"
    )]
    Shifted {
        /// Toward which end.
        toward: OpeningEnd,
        /// Shift in lever degrees.
        shift_deg: f64,
        /// Allowed.
        tolerance_deg: f64,
    },
}

/// The whole check.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct TravelCheck {
    /// Attached travel, lever degrees: learned.
    pub attached_deg: f64,
    /// Attached travel from the sheet.
    pub predicted_deg: f64,
    /// Free travel, lever degrees.
    pub free_deg: f64,
    /// What is allowed between learned and predicted, lever degrees.
    pub tolerance_deg: f64,
    /// Reserves at the closed and the open end.
    pub reserves: [EndReserve; 2],
    /// What is wrong; empty where the travel fits the parts.
    pub findings: Vec<TravelFinding>,
}

/// A sheet that does not tell the lever's travel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error(
    "the parts sheet has no actuator.lever_travel, so the learned travel cannot be checked; measure it \
     with a protractor"
)]
pub struct NoLeverTravel;

/// Play of pins, rod eyes and reading that no tolerance on the sheet covers, lever degrees; common
/// practice, no source.
const PLAY_DEG: f64 = 0.5;

/// Holds the learned travel against the sheet.
///
/// # Errors
/// [`NoLeverTravel`] where the sheet does not say how far the lever should go.
pub fn check_travel(
    sheet: &PartsSheet,
    sensor: LeverSensor,
    free: LearnedCounts,
    attached: LearnedCounts,
) -> Result<TravelCheck, NoLeverTravel> {
    let travel = sheet.get(Field::LeverTravel).ok_or(NoLeverTravel)?;
    let sign = match sensor.opening_sign {
        OpeningSign::Raises => 1.0,
        OpeningSign::Lowers => -1.0,
    };
    let degrees = |from: f64, to: f64| sign * (to - from) / sensor.counts_per_degree;
    let tolerance_deg = travel.tolerance + indexing_in_lever_deg(sheet) + PLAY_DEG;
    let (attached_deg, free_deg) = (degrees(attached.closed, attached.open), degrees(free.closed, free.open));
    let even = (free_deg - travel.value) / 2.0;
    let predicted = |field| sheet.get(field).map_or(even, |reserve| reserve.value);
    let reserve = |end, found_deg, field| EndReserve { end, found_deg, predicted_deg: predicted(field) };
    let mut check = TravelCheck {
        attached_deg,
        predicted_deg: travel.value,
        free_deg,
        tolerance_deg,
        reserves: [
            reserve(OpeningEnd::Closed, degrees(free.closed, attached.closed), Field::ClosedReserve),
            reserve(OpeningEnd::Open, degrees(attached.open, free.open), Field::OpenReserve),
        ],
        findings: Vec::new(),
    };
    check.findings = findings(sheet, &check);
    Ok(check)
}

fn findings(sheet: &PartsSheet, check: &TravelCheck) -> Vec<TravelFinding> {
    if check.attached_deg <= 0.0 {
        let seen = "run the other way";
        return vec![TravelFinding::StopsSwapped { seen }];
    }
    let mut found = Vec::new();
    let &TravelCheck { attached_deg: found_deg, predicted_deg, tolerance_deg, .. } = check;
    if found_deg < predicted_deg - tolerance_deg {
        found.push(TravelFinding::SpanShort { found_deg, predicted_deg, tolerance_deg });
    }
    if found_deg > predicted_deg + tolerance_deg {
        found.push(TravelFinding::SpanLong { found_deg, predicted_deg, tolerance_deg });
    }
    for reserve in check.reserves.iter().filter(|reserve| is_used_up(reserve)) {
        found.push(TravelFinding::NoReserve { end: reserve.end, found_deg: reserve.found_deg });
    }
    found.extend(shift_findings(sheet, check));
    found
}

fn is_used_up(reserve: &EndReserve) -> bool {
    // Both learns scatter by some hundredths of a degree: less than this is the same stop felt twice.
    const SAME_STOP_DEG: f64 = 0.2;
    reserve.found_deg < SAME_STOP_DEG
}

/// Shift of the attached travel toward open, lever degrees. Where one end has run into the actuator's own
/// stop, only the other end tells.
fn shift_deg(check: &TravelCheck) -> f64 {
    let [closed, open] = &check.reserves;
    let off = |reserve: &EndReserve| reserve.found_deg - reserve.predicted_deg;
    match (is_used_up(closed), is_used_up(open)) {
        (true, false) => -off(open),
        (false, true) => off(closed),
        _ => (off(closed) - off(open)) / 2.0,
    }
}

fn shift_findings(sheet: &PartsSheet, check: &TravelCheck) -> Vec<TravelFinding> {
    let (shift, tolerance_deg) = (shift_deg(check), check.tolerance_deg);
    if shift.abs() <= tolerance_deg {
        return Vec::new();
    }
    let toward = if shift > 0.0 { OpeningEnd::Open } else { OpeningEnd::Closed };
    let shift_deg = shift.abs();
    let pitches = [
        (ClockedPart::Lever, sheet.get(Field::LeverPitch).map(|pitch| pitch.value)),
        (ClockedPart::Ring, ring_pitch_in_lever_deg(sheet)),
    ];
    let mut found = Vec::new();
    for (part, pitch) in pitches {
        let Some(pitch_deg) = pitch else { continue };
        let holes = libm::round(shift_deg / pitch_deg);
        if holes >= 1.0 && (shift_deg - holes * pitch_deg).abs() <= tolerance_deg {
            found.push(TravelFinding::Clocked { part, holes: holes as u32, toward, shift_deg, pitch_deg });
        }
    }
    if found.is_empty() {
        found.push(TravelFinding::Shifted { toward, shift_deg, tolerance_deg });
    }
    found
}

fn ring_pitch_in_lever_deg(sheet: &PartsSheet) -> Option<f64> {
    let per_ring = sheet.vane_degrees_per(ActsOn::Ring)?;
    let per_lever = sheet.vane_degrees_per(ActsOn::Lever)?;
    Some(sheet.get(Field::RingPitch)?.value * per_ring / per_lever)
}

fn indexing_in_lever_deg(sheet: &PartsSheet) -> f64 {
    sheet
        .vane_degrees_per(ActsOn::Lever)
        .map_or(0.0, |per_lever| indexing_stack(sheet).root_sum_square_deg / per_lever)
}
