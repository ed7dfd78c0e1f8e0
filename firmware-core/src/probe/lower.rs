//! Lets the push down at the end of a segment, and the lever with it.
//!
//! The push falls in a straight line for as long as the lever follows no faster than the limit; a spring that takes it
//! home faster is held by as much of the push as that needs. What is left in the end moves nothing, but keeps the bridge
//! on: the motor brakes until the lever stands. A motor that brakes so well that its spring hardly moves it is helped
//! along, under the same cap and limit: let go, it would fall.

use super::Probe;
use super::drive::SPEED_BAND;
use crate::command::Command;
use crate::sample::Sample;
use crate::units::{Duty, larger, smaller};

/// Time from any push to none, ticks.
const FALL_TICKS: f32 = 500.0;
/// Duty of the brake: far below what overcomes any friction, and not 0, at which a bridge lets the motor coast.
const BRAKE_DUTY: f32 = 0.005;
/// Share of the segment's speed limit that lowering keeps to.
const SPEED_SHARE: f32 = 0.8;
/// Without a push for so long and still on its way, the lever is helped along, ticks ...
const PATIENCE_TICKS: u16 = 700;
/// ... with a push that grows so much slower than one falls, to this share of the largest volts.
const HELP_STEP: f32 = 0.25;
const MOST_HELP: f32 = 0.5;
/// The place follows the reading at this share in a tick; a lever stands that goes less than this share of what counts
/// as standing for so many ticks. A lever that creeps would run once nothing brakes it.
const PLACE_STEP: f32 = 1.0 / 32.0;
const STANDS_SHARE: f32 = 0.2;
const STAND_TICKS: u16 = 150;
/// Longest lowering, ticks: a lever lifted at 0.35 of its way a second comes home in a tenth of that.
const MOST_TICKS: u16 = 40_000;

/// A lever on its way down.
#[derive(Debug, Clone, Copy)]
pub(super) struct Lowering {
    /// Sign of the volts when the segment ended: they fall from there.
    way: f32,
    /// Volts that go in a tick.
    fall: f32,
    elapsed: u16,
    slack: u16,
    /// Followed, counts.
    place: f32,
    anchor: f32,
    stands_for: u16,
}

impl Lowering {
    fn new(volts: f32, place: f32) -> Self {
        Self {
            way: libm::copysignf(1.0, volts),
            fall: libm::fabsf(volts) / FALL_TICKS,
            elapsed: 0,
            slack: 0,
            place,
            anchor: place,
            stands_for: 0,
        }
    }

    /// True once it need not be held any more.
    fn is_over(&mut self, now: f32, is_slack: bool, still: f32) -> bool {
        self.elapsed = self.elapsed.saturating_add(1);
        self.place += (now - self.place) * PLACE_STEP;
        if is_slack {
            self.slack = self.slack.saturating_add(1);
        }
        if is_slack && libm::fabsf(self.place - self.anchor) <= STANDS_SHARE * still {
            self.stands_for = self.stands_for.saturating_add(1);
        } else {
            (self.anchor, self.stands_for) = (self.place, 0);
        }
        self.stands_for >= STAND_TICKS || self.elapsed >= MOST_TICKS
    }
}

impl Probe {
    /// The command of this tick, or `None` once nothing needs to push any more.
    pub(super) fn lower(&mut self, sample: &Sample) -> Option<Command> {
        let goal = self.segment.volts.0;
        if goal == 0.0 {
            return None;
        }
        let place = self.lever.place().as_f32();
        let mut lowering = self.lowering.unwrap_or_else(|| Lowering::new(self.drive.volts, place));
        if self.lowering.is_none() {
            self.lever.learn_sense(&self.segment);
        }
        let along = libm::copysignf(1.0, goal);
        let volts = self.let_down(&lowering, along * sample.motor_current.0);
        let is_slack = lowering.way * self.drive.volts <= BRAKE_DUTY * sample.supply.0;
        let is_over = lowering.is_over(place, is_slack, f32::from(self.segment.until.still_counts));
        self.lowering = Some(lowering);
        let duty = volts / sample.supply.0;
        let duty = if libm::fabsf(duty) < BRAKE_DUTY { libm::copysignf(BRAKE_DUTY, duty) } else { duty };
        (!is_over).then_some(Command::Duty(Duty::saturating(along * duty, Duty::ZERO)))
    }

    /// Volts of this tick, along the drive.
    fn let_down(&mut self, lowering: &Lowering, current: f32) -> f32 {
        let limit = SPEED_SHARE * self.lever.limit();
        // Away from where the push holds it; unknown, it is not held: no more than noise was gone then.
        let back = -lowering.way * self.lever.along().unwrap_or(0.0);
        let too_fast = self.drive.too_fast(back, limit);
        let room = larger(smaller((limit - back) / (SPEED_BAND * limit), 1.0), 0.0);
        let drive = &mut self.drive;
        let (fall, least) = if lowering.slack > PATIENCE_TICKS {
            (HELP_STEP * lowering.fall, -MOST_HELP * drive.most_seen)
        } else {
            (lowering.fall, 0.0)
        };
        let size = lowering.way * drive.volts - fall * room + too_fast.for_good;
        let size = larger(smaller(size, drive.most_seen), least);
        let push = libm::copysignf(1.0, size) * lowering.way * current;
        drive.volts = lowering.way * if push > drive.cap() { size * drive.cap() / push } else { size };
        lowering.way * smaller(lowering.way * drive.volts + too_fast.at_once, drive.most_seen)
    }
}
