//! Why a learn ended without a calibration: what was seen, what is allowed, what to try.
//!
//! The sentence is this type's `Display`; [`LearnRefusal::advice`] is the next step. Distances are
//! sensor counts, currents are amperes measured toward the stop in question.

mod text;

use serde::{Deserialize, Serialize};

use super::Stop;
use crate::calibration::Setup;

/// A reading that must be a finite number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(rename_all = "kebab-case")]
pub enum Reading {
    /// Motor current.
    MotorCurrent,
    /// Supply voltage.
    Supply,
}

impl core::fmt::Display for Reading {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::MotorCurrent => "motor current",
            Self::Supply => "supply",
        })
    }
}

/// What is wrong with the travel left beyond the ring's stops.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(rename_all = "kebab-case")]
pub enum ReserveFault {
    /// No travel is left at this end: the ring's stop lies at or beyond the actuator's own.
    TooSmall,
    /// The two ends differ: lever or ring is clocked.
    Lopsided,
}

impl core::fmt::Display for ReserveFault {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::TooSmall => "too small",
            Self::Lopsided => "lopsided",
        })
    }
}

/// Why learning stopped without a calibration.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(rename_all = "kebab-case")]
pub enum LearnRefusal {
    /// The lever did not move either way.
    NoMotion {
        /// Largest movement seen, counts.
        moved: f32,
        /// Movement that counts as motion, counts.
        needed: f32,
        /// Current measured while pushing, A: near zero means an open circuit.
        current: f32,
        /// Current asked for, A.
        asked: f32,
    },
    /// The reading ran against the drive.
    WrongDirection {
        /// Movement in the asked direction, counts; negative is the wrong way.
        moved: f32,
        /// Most negative movement that is allowed, counts.
        allowed: f32,
    },
    /// The stops are too near each other.
    SpanShort {
        /// Learned travel, counts.
        seen: f32,
        /// Least allowed, counts.
        min: f32,
    },
    /// The stops are too far apart.
    SpanLong {
        /// Learned travel, counts.
        seen: f32,
        /// Most allowed, counts.
        max: f32,
    },
    /// A stop lies outside the window of this setup.
    StopOutsideWindow {
        /// Which stop.
        stop: Stop,
        /// Where it was found, counts.
        seen: f32,
        /// Lowest believed, counts.
        min: f32,
        /// Highest believed, counts.
        max: f32,
    },
    /// The lever ran past the window without meeting a stop.
    StopMissing {
        /// Which stop.
        stop: Stop,
        /// How far the lever got, counts.
        reached: f32,
        /// Farthest believed, counts.
        limit: f32,
    },
    /// The touches of one stop disagree.
    StopNotRepeatable {
        /// Which stop.
        stop: Stop,
        /// Spread of the zero-push readings, counts.
        range: f32,
        /// Most allowed, counts.
        max: f32,
    },
    /// Each touch lay further in the same direction.
    StopDrifting {
        /// Which stop.
        stop: Stop,
        /// From the first touch to the last, counts.
        moved: f32,
        /// Most allowed, counts.
        max: f32,
    },
    /// The stop yields too far under the push.
    SoftStop {
        /// Which stop.
        stop: Stop,
        /// Yield, counts/A.
        yielded: f32,
        /// Most allowed, counts/A.
        max: f32,
    },
    /// The reading never came to rest under a steady push.
    StopNotSettled {
        /// Which stop.
        stop: Stop,
        /// Spread of the reading in the last window, counts.
        range: f32,
        /// Most allowed, counts.
        max: f32,
    },
    /// Something holds the lever between the stops.
    Obstructed {
        /// The way it was going.
        toward: Stop,
        /// Where it was held, counts.
        at: f32,
        /// Edge of the window that it should have reached, counts.
        expected: f32,
    },
    /// The lever needs more current on the way than a free one.
    TightTravel {
        /// Where the most was needed, counts.
        at: f32,
        /// Friction there, A.
        friction: f32,
        /// Most allowed, A.
        max: f32,
    },
    /// The return spring of the profile is not felt.
    SpringNotFelt {
        /// Current that balances the spring, mean over the travel, A.
        seen: f32,
        /// Least of a sound spring, A.
        min: f32,
    },
    /// The reading stepped further than a lever can move in one tick.
    SensorJump {
        /// Step in one tick, counts.
        step: f32,
        /// Most allowed, counts.
        max: f32,
    },
    /// The reading does not follow although the push changed.
    SensorStuck {
        /// Reading that it holds, counts.
        at: f32,
        /// Movement for the change in push, counts/A.
        yielded: f32,
        /// Least of a live sensor, counts/A.
        min: f32,
    },
    /// The reading scatters at rest.
    SensorNoisy {
        /// Spread at rest, counts.
        range: f32,
        /// Most allowed, counts.
        max: f32,
    },
    /// The reading left its electrical range.
    SensorOutOfRange {
        /// Reading, counts.
        seen: f32,
        /// Lowest of a sound sensor, counts.
        min: f32,
        /// Highest of a sound sensor, counts.
        max: f32,
    },
    /// The lever did not come to rest with the drive off.
    MovesAtRest {
        /// Spread over the last window, counts.
        range: f32,
        /// Most allowed, counts.
        max: f32,
    },
    /// Supply outside the range for a learn.
    SupplyOutOfRange {
        /// Voltage, V.
        seen: f32,
        /// Lowest allowed, V.
        min: f32,
        /// Highest allowed, V.
        max: f32,
    },
    /// More current than any command may draw.
    OverCurrent {
        /// Current, A.
        seen: f32,
        /// Most allowed, A.
        max: f32,
    },
    /// Current flows with the drive off.
    CurrentAtRest {
        /// Current, A.
        seen: f32,
        /// Most allowed, A.
        max: f32,
    },
    /// The push asked for did not arrive in the winding.
    CurrentNotFollowed {
        /// Current asked for, A.
        asked: f32,
        /// Current measured, A.
        seen: f32,
        /// Largest difference allowed, A.
        allowed: f32,
    },
    /// A reading was not a number.
    NotANumber {
        /// Which reading.
        reading: Reading,
    },
    /// The learn took longer than its deadline.
    Timeout {
        /// Ticks spent.
        ticks: u32,
        /// Ticks allowed.
        allowed: u32,
    },
    /// The tick number jumped: the controller restarted or lost time.
    TickLost {
        /// Ticks between two samples.
        step: u32,
    },
    /// The host went silent and its drive lease ran out.
    HostLost,
    /// A relearn was asked for with a calibration of another setup.
    OtherSetup {
        /// Setup of the calibration.
        learned: Setup,
        /// Setup asked for.
        wanted: Setup,
    },
    /// A relearn found a stop elsewhere.
    MovedSincePrevious {
        /// Which stop.
        stop: Stop,
        /// Movement toward open (positive) or closed (negative), counts.
        moved: f32,
        /// Most allowed either way, counts.
        max: f32,
    },
    /// Free and attached stops do not nest.
    Reserve {
        /// What is wrong with them.
        fault: ReserveFault,
        /// Over-travel reserve at the closed end, counts.
        closed: f32,
        /// Over-travel reserve at the open end, counts.
        open: f32,
        /// The limit that was broken, counts.
        limit: f32,
    },
    /// The board's converter stopped converting.
    ConverterFrozen,
    /// The bridge reported a fault.
    BridgeFault,
}
