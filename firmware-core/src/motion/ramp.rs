//! Open loop: did a ramp move the lever before it was spent?
//!
//! A ramp may begin with the lever at the very stop that it pushes toward. With a calibration that is known, and the
//! ramp is let off; without one, the first ramp without motion is let off, and one the other way must move it.

use super::profile::{Ramp, RampPart, Way};
use super::seen::Ending;
use crate::calibration::Calibration;
use crate::settings::Settings;
use crate::units::Counts;

/// Memory of the check.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Ramps {
    ramp: Option<Range>,
    /// Way of the last ramp that moved nothing.
    unmoved: Option<Way>,
}

/// Where the lever has been during a ramp.
#[derive(Debug, Clone, Copy)]
struct Range {
    first: Counts,
    low: Counts,
    high: Counts,
}

/// Travel that counts as motion, share of the nominal span: a lever that rattles in the play of a worn joint (1.2° of
/// 70° of travel, 1.7 %) beside a seized ring has not moved anything.
const MOVED_SHARE: f32 = 0.03;
/// How near its stop the lever counts as standing at it, opening: no further than it need not move.
const AT_STOP: f32 = MOVED_SHARE;

impl Ramps {
    pub(super) const fn new() -> Self {
        Self { ramp: None, unmoved: None }
    }

    pub(super) fn tick(
        &mut self,
        settings: &Settings,
        calibration: Option<&Calibration>,
        ramp: Option<Ramp>,
        position: Counts,
    ) -> Option<Ending> {
        let Some(Ramp { way, part }) = ramp else {
            self.ramp = None;
            return None;
        };
        let before = match part {
            RampPart::Begins => None,
            RampPart::Goes | RampPart::Spent => self.ramp,
        };
        let range = before.map_or(Range { first: position, low: position, high: position }, |range| Range {
            low: range.low.min(position),
            high: range.high.max(position),
            ..range
        });
        self.ramp = Some(range);
        match part {
            RampPart::Begins | RampPart::Goes => None,
            RampPart::Spent => self.judge(settings, calibration, way, range),
        }
    }

    fn judge(
        &mut self,
        settings: &Settings,
        calibration: Option<&Calibration>,
        way: Way,
        range: Range,
    ) -> Option<Ending> {
        let moved = range.high.distance_from(range.low) as f32;
        if moved >= MOVED_SHARE * settings.actuator.nominal_span_counts {
            self.unmoved = None;
            return None;
        }
        let last = self.unmoved.replace(way);
        let is_let_off = match calibration {
            Some(learned) => stands_at_stop(learned.unclamped_opening(range.first), way),
            None => last.is_none_or(|last| last == way),
        };
        (!is_let_off).then_some(Ending::NoMotion)
    }
}

fn stands_at_stop(opening: f32, way: Way) -> bool {
    match way {
        Way::Opening => opening >= 1.0 - AT_STOP,
        Way::Closing => opening <= AT_STOP,
    }
}
