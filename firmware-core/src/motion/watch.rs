//! When a motion cannot go on.
//!
//! In: what a tick came to. Out: nothing, or why the motion ends. Supply and sensor go by the faults that
//! plausibility has debounced (`plausibility.debounce_ticks`, by default 20 ms), heat by the limit that acts for
//! [`HEAT_TICKS`], the lever by [`reach`](super::reach) in closed loop and by [`ramp`](super::ramp) in open loop.

use super::profile::Ramp;
use super::ramp::Ramps;
use super::reach::ReachCheck;
use super::seen::{Ending, Lasting, Seen};
use crate::calibration::Calibration;
use crate::faults::{Fault, Limit};
use crate::settings::Settings;

/// Memory of the watch.
#[derive(Debug, Clone, Copy, Default)]
pub struct MotionWatch {
    reach: ReachCheck,
    ramps: Ramps,
    heat: Lasting,
}

/// Time that the heat limit must act, less the time that it does not, ticks: a step on a warm winding is over in less.
const HEAT_TICKS: u16 = 500;

impl MotionWatch {
    /// A watch that has seen nothing.
    #[must_use]
    pub const fn new() -> Self {
        Self { reach: ReachCheck::new(), ramps: Ramps::new(), heat: Lasting(0) }
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
        // A hot winding's little push may be too little for a sound unit: heat is named where it has held the push back.
        let reached = reached.map(|why| match why {
            Ending::Obstructed if self.heat.0 > 0 => Ending::HeatLimit,
            Ending::Obstructed
            | Ending::NoMotion
            | Ending::HeatLimit
            | Ending::SupplyRange
            | Ending::SensorFault => why,
        });
        reached.or(ramped).or(is_hot.then_some(Ending::HeatLimit))
    }
}

#[cfg(test)]
#[allow(clippy::arithmetic_side_effects)]
mod tests {
    use super::*;
    use crate::faults::{FaultSet, LimitSet};
    use crate::units::{Counts, Duty, Opening, Volt};

    /// How a lever that stands off its goal at full push ends, while these limits act in every other tick.
    fn ends(limits: LimitSet) -> Option<Ending> {
        let (settings, mut watch) = (Settings::default(), MotionWatch::new());
        (0..2000i16).find_map(|tick| {
            let seen = Seen {
                position: Counts(8000 + tick % 2),
                supply: Volt(12.0),
                duty: Duty::saturating(-0.6, Duty::ZERO),
                target: Some(Opening::CLOSED),
                opening: Some(Opening::saturating(0.5, Opening::OPEN)),
                faults: FaultSet::NONE,
                limits: if tick % 4 == 3 { LimitSet::NONE } else { limits },
            };
            watch.tick(&settings, None, None, &seen)
        })
    }

    #[test]
    fn heat_is_named_where_it_has_held_the_push_back_and_not_where_another_limit_has() {
        assert_eq!(ends(LimitSet::only(Limit::Heat)), Some(Ending::HeatLimit));
        assert_eq!(ends(LimitSet::only(Limit::Current)), Some(Ending::Obstructed));
    }
}
