//! Friction on the way, by place: half the sum of the currents that both directions needed.
//!
//! In: current toward each stop and where the lever is. Out: the largest friction and its place. The
//! ends of the travel are left out, because the lever speeds up and slows down there.

use super::Stop;
use super::axis::Axis;
use super::plan::Plan;
use super::refusal::LearnRefusal;
use crate::settings::SpringAction;

/// Bins of the travel: each 5 %, about 50 ms of a traverse.
const BINS: usize = 20;
const BINS_F32: f32 = 20.0;
/// Bins at each end that are left out.
const END_BINS: usize = 3;

/// Current per bin, both directions.
#[derive(Debug, Clone, Default)]
pub(super) struct FrictionMap {
    closing: [Mean; BINS],
    opening: [Mean; BINS],
}

#[derive(Debug, Clone, Copy, Default)]
struct Mean {
    sum: f32,
    count: f32,
}

impl Mean {
    fn get(self) -> Option<f32> {
        if self.count > 0.0 { Some(self.sum / self.count) } else { None }
    }
}

impl FrictionMap {
    /// Takes the current toward a stop at a reading.
    pub(super) fn take(&mut self, plan: &Plan, axis: Axis, counts: f32, push: f32) {
        let closed = plan.closed.window.centre();
        let share = (counts - closed) / (plan.open.window.centre() - closed);
        if !(0.0..1.0).contains(&share) {
            return;
        }
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // 0 ≤ share < 1
        let bin = (share * BINS_F32) as usize;
        let side = match axis.toward {
            Stop::Closed => &mut self.closing,
            Stop::Open => &mut self.opening,
        };
        if let Some(mean) = side.get_mut(bin) {
            mean.sum += push;
            mean.count += 1.0;
        }
    }

    /// Refuses a travel on which the return spring of the profile is not felt: lost power would leave the
    /// vanes where they are. Both directions must have been gone.
    pub(super) fn judge_spring(&self, plan: &Plan) -> Result<(), LearnRefusal> {
        let sign = match plan.actuator.spring {
            SpringAction::None => return Ok(()),
            SpringAction::Opens => 1.0,
            SpringAction::Closes => -1.0,
        };
        let (mut sum, mut count) = (0.0, 0.0);
        for (closing, opening) in self.closing.iter().zip(&self.opening) {
            if let (Some(closing), Some(opening)) = (closing.get(), opening.get()) {
                sum += sign * (closing - opening) / 2.0;
                count += 1.0;
            }
        }
        let (seen, min) = (sum / count, plan.learn.limits.spring_current.0);
        if count > 0.0 && seen < min { Err(LearnRefusal::SpringNotFelt { seen, min }) } else { Ok(()) }
    }

    /// Refuses a travel that is tight anywhere.
    pub(super) fn judge(&self, plan: &Plan) -> Result<(), LearnRefusal> {
        let max = plan.learn.limits.friction.0;
        let mut share = 0.5 / BINS_F32;
        for (bin, (closing, opening)) in self.closing.iter().zip(&self.opening).enumerate() {
            let inside = bin >= END_BINS && bin < BINS.saturating_sub(END_BINS);
            if let (true, Some(closing), Some(opening)) = (inside, closing.get(), opening.get()) {
                let friction = (closing + opening) / 2.0;
                if friction > max {
                    let (closed, open) = (plan.closed.window.centre(), plan.open.window.centre());
                    return Err(LearnRefusal::TightTravel {
                        at: closed + share * (open - closed),
                        friction,
                        max,
                    });
                }
            }
            share += 1.0 / BINS_F32;
        }
        Ok(())
    }
}
