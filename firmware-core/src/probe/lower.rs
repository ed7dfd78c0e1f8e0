//! Lets the push down at the end of a segment, and the lever with it.
//!
//! The push falls in a straight line for as long as the lever follows no faster than the limit; a spring that takes it
//! home faster is held by as much of the push as that needs. What is left in the end moves nothing, but keeps the bridge
//! on: the motor brakes until the lever stands ([`rest`](super::rest)). A lever that its motor brakes so well that the
//! spring hardly moves it is helped along, under the same cap and limit: let go, it would fall.

use super::Probe;
use super::drive::{BRAKE_DUTY, SPEED_BAND};
use super::rest::{Help, Standstill};
use crate::command::Command;
use crate::sample::Sample;
use crate::units::{Duty, larger, smaller};

/// Time from the largest push to none, ticks.
const FALL_TICKS: f32 = 500.0;
/// Share of the segment's speed limit that lowering keeps to.
const SPEED_SHARE: f32 = 0.8;
/// Help grows so much slower than a push falls, to this share of the largest volts.
const HELP_STEP: f32 = 0.25;
const MOST_HELP: f32 = 0.5;

/// A lever on its way down.
#[derive(Debug, Clone, Copy)]
pub(super) struct Lowering {
    /// Sign of the volts that hold the lever.
    way: f32,
    rest: Standstill,
}

impl Lowering {
    fn new(volts: f32, place: f32) -> Self {
        Self { way: libm::copysignf(1.0, volts), rest: Standstill::new(place) }
    }

    /// Turns to the side from which the lever is to be held. `sense` is the sign of the counts under the drive, 0 while
    /// unknown.
    fn turn(&mut self, speed: f32, limit: f32, sense: f32) {
        match self.rest.help() {
            Help::Begins => {
                if self.rest.heading() * sense != 0.0 {
                    self.way = -self.rest.heading() * sense;
                }
            }
            // A push that is gone holds nothing: what leads the lever on is held from the other side.
            Help::NotYet if self.rest.is_slack() && self.way * speed > limit => self.way = -self.way,
            Help::NotYet | Help::Grows | Help::Over => {}
        }
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
        let along = libm::copysignf(1.0, goal);
        let volts = self.let_down(&mut lowering, along * sample.motor_current.0);
        let push = lowering.way * self.drive.volts / sample.supply.0;
        let still = f32::from(self.segment.until.still_counts);
        let is_over = lowering.rest.is_over(&self.lever, push, still);
        let is_let_go = lowering.rest.is_let_go();
        if is_let_go {
            self.drive.volts = 0.0;
        }
        self.lowering = Some(lowering);
        if is_over {
            return None;
        }
        if is_let_go {
            return Some(Command::Release);
        }
        let duty = volts / sample.supply.0;
        let duty = if libm::fabsf(duty) < BRAKE_DUTY { lowering.rest.brake() } else { duty };
        Some(Command::Duty(Duty::saturating(along * duty, Duty::ZERO)))
    }

    /// Volts of this tick, along the drive.
    fn let_down(&mut self, lowering: &mut Lowering, current: f32) -> f32 {
        let limit = SPEED_SHARE * self.lever.limit();
        // Unknown, it is not held: no more than noise was gone then.
        let speed = self.lever.along().unwrap_or(0.0);
        lowering.turn(speed, limit, self.lever.sense());
        // Away from where the push holds it.
        let back = -lowering.way * speed;
        let too_fast = self.drive.too_fast(back, limit);
        // Torn loose along its push, it is given less of it.
        let torn_loose = self.drive.too_fast(-back, self.lever.limit()).at_once;
        let room = larger(smaller((limit - back) / (SPEED_BAND * limit), 1.0), 0.0);
        let drive = &mut self.drive;
        let fall = room * drive.most_seen / FALL_TICKS;
        let size = lowering.way * drive.volts;
        let size = if lowering.rest.is_helped() && self.lever.sense() != 0.0 {
            larger(size - HELP_STEP * fall, -MOST_HELP * drive.most_seen)
        } else {
            libm::copysignf(larger(libm::fabsf(size) - fall, 0.0), size)
        };
        let size = smaller(size + too_fast.for_good, drive.most_seen);
        let push = lowering.way * current;
        let along = libm::copysignf(1.0, size) * push;
        drive.volts = lowering.way * if along > drive.cap() { size * drive.cap() / along } else { size };
        // What the motor makes of its motion comes on top of what it is given.
        let ohm = self.winding.at_most();
        let over = if ohm.is_finite() { ohm * larger(push - drive.cap(), 0.0) } else { 0.0 };
        let held = smaller(lowering.way * drive.volts + too_fast.at_once, drive.most_seen);
        lowering.way * (held - torn_loose - over)
    }
}
