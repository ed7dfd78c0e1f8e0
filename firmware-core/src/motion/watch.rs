//! When a motion cannot go on.
//!
//! In: what a tick came to. Out: nothing, or why the motion ends. Supply and sensor go by the faults that
//! plausibility has debounced (`plausibility.debounce_ticks`, by default 20 ms), heat by the limit that acts for
//! [`HEAT_TICKS`], the lever by [`reach`](super::reach) in closed loop and by [`ramp`](super::ramp) in open loop.

use super::profile::Ramp;
use super::ramp::Ramps;
use super::reach::Reach;
use super::seen::{Ending, Lasting, Seen};
use crate::calibration::Calibration;
use crate::faults::{Fault, Limit};
use crate::settings::Settings;

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
