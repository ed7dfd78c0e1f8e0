//! When a motion cannot go on.
//!
//! In: what a tick came to. Out: nothing, or why the motion ends. Supply and sensor go by the faults that
//! plausibility has debounced (`plausibility.debounce_ticks`, by default 20 ms), heat by the limit that acts for
//! [`HEAT_TICKS`], the lever by [`reach`](super::reach) in closed loop and by [`ramp`](super::ramp) in open loop.

use serde::{Deserialize, Serialize};

use super::profile::Ramp;
use super::ramp::Ramps;
use super::reach::Reach;
use crate::calibration::Calibration;
use crate::faults::{Fault, FaultSet, Limit, LimitSet};
use crate::settings::Settings;
use crate::units::{Counts, Duty, Opening, Volt};

/// Why a motion ended before its profile did.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Ending {
    /// The lever came no nearer to where it was wanted, with all the push that there is.
    Obstructed,
    /// An open-loop ramp was spent, or no current flowed, and the lever had not moved.
    NoMotion,
    /// The winding could not take what the motion asked for.
    HeatLimit,
    /// The supply left its range.
    SupplyRange,
    /// The position reading left its range, jumped or stood still.
    SensorFault,
}

/// What a tick of a motion came to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Seen {
    /// Raw position reading.
    pub position: Counts,
    /// Supply.
    pub supply: Volt,
    /// Duty that was put on the motor.
    pub duty: Duty,
    /// Opening that the position loop follows, where it runs.
    pub target: Option<Opening>,
    /// Measured opening, where position and calibration are known.
    pub opening: Option<Opening>,
    /// Faults present.
    pub faults: FaultSet,
    /// Limits that acted.
    pub limits: LimitSet,
}

/// Memory of the watch.
#[derive(Debug, Clone, Copy, Default)]
pub struct Watch {
    reach: Reach,
    ramps: Ramps,
    heat: Lasting,
}

/// Time that the heat limit must act, less the time that it does not, ticks: a step on a warm winding is over in less.
const HEAT_TICKS: u16 = 500;

impl Watch {
    /// A watch that has seen nothing.
    #[must_use]
    pub const fn new() -> Self {
        Self { reach: Reach::new(), ramps: Ramps::new(), heat: Lasting(0) }
    }

    /// Judges a tick.
    pub(super) fn tick(
        &mut self,
        settings: &Settings,
        calibration: Option<&Calibration>,
        ramp: Option<Ramp>,
        seen: &Seen,
    ) -> Option<Ending> {
        if seen.faults.contains(Fault::SupplyRange) {
            return Some(Ending::SupplyRange);
        }
        if [Fault::PositionRange, Fault::PositionJump, Fault::PositionFrozen]
            .into_iter()
            .any(|fault| seen.faults.contains(fault))
        {
            return Some(Ending::SensorFault);
        }
        let reached = self.reach.tick(settings, seen);
        let ramped = self.ramps.tick(settings, calibration, ramp, seen.position);
        let is_hot = self.heat.tick(seen.limits.contains(Limit::Heat), HEAT_TICKS);
        reached.or(ramped).or(is_hot.then_some(Ending::HeatLimit))
    }
}

/// How long something has been so, less how long it has not.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Lasting(pub(super) u16);

impl Lasting {
    /// True once it has been so for `ticks`.
    pub(super) fn tick(&mut self, is_so: bool, ticks: u16) -> bool {
        self.0 = if is_so { self.0.saturating_add(1) } else { self.0.saturating_sub(1) };
        self.0 >= ticks
    }
}
