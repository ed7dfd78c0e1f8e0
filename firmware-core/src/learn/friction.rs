//! Friction on the way, by place: half the sum of the currents that both directions needed.
//!
//! In: current toward each stop and where the lever is. Out: the largest friction and its place. The
//! ends of the travel are left out, because the lever speeds up and slows down there.

use super::Stop;
use super::axis::Signs;
use super::plan::LearnPlan;
use super::refusal::LearnRefusal;
use crate::settings::SpringAction;

/// Bins of the travel: each 5 %, about 50 ms of a traverse.
const BINS: usize = 20;
const BINS_F32: f32 = 20.0;
/// Bins at each end that are left out.
const END_BINS: usize = 3;

/// Current per bin, both directions.
#[derive(Debug, Clone, Default)]
pub(super) struct FrictionMap([Bin; BINS]);

#[derive(Debug, Clone, Copy, Default)]
struct Bin {
    closing: Mean,
    opening: Mean,
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
    pub(super) fn take(&mut self, plan: &LearnPlan, axis: Signs, counts: f32, push: f32) {
        let closed = plan.closed.window.centre();
        let share = (counts - closed) / (plan.open.window.centre() - closed);
        if !(0.0..1.0).contains(&share) {
            return;
        }
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // 0 ≤ share < 1
        let bin = (share * BINS_F32) as usize;
        let Some(bin) = self.0.get_mut(bin) else { return };
        let mean = match axis.toward {
            Stop::Closed => &mut bin.closing,
            Stop::Open => &mut bin.opening,
        };
        mean.sum += push;
        mean.count += 1.0;
    }

    /// Refuses a travel that is tight anywhere, and one on which the return spring of the profile is not felt: lost
    /// power would leave the vanes where they are. Both directions must have been gone.
    pub(super) fn judge(&self, plan: &LearnPlan) -> Result<(), LearnRefusal> {
        let max = plan.learn.limits.friction.0;
        let mut spring = Mean::default();
        for (place, bin) in self.0.iter().enumerate() {
            if let (Some(closing), Some(opening)) = (bin.closing.get(), bin.opening.get()) {
                let inside = place >= END_BINS && place < BINS.saturating_sub(END_BINS);
                let friction = (closing + opening) / 2.0;
                if inside && friction > max {
                    let share = (0..place).fold(0.5 / BINS_F32, |share, _| share + 1.0 / BINS_F32);
                    let (closed, open) = (plan.closed.window.centre(), plan.open.window.centre());
                    return Err(LearnRefusal::TightTravel {
                        at: closed + share * (open - closed),
                        friction,
                        max,
                    });
                }
                spring.sum += (closing - opening) / 2.0;
                spring.count += 1.0;
            }
        }
        judge_spring(plan, spring)
    }
}

/// `spring` is the half difference of closing and opening.
fn judge_spring(plan: &LearnPlan, spring: Mean) -> Result<(), LearnRefusal> {
    let sign = match plan.actuator.spring {
        SpringAction::None => return Ok(()),
        SpringAction::Opens => 1.0,
        SpringAction::Closes => -1.0,
    };
    let min = plan.learn.limits.spring_current.0;
    match spring.get() {
        Some(felt) if sign * felt < min => Err(LearnRefusal::SpringNotFelt { seen: sign * felt, min }),
        Some(_) | None => Ok(()),
    }
}
