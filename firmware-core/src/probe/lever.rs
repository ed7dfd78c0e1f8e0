//! Where the lever is and how fast it goes, along the drive.

use super::ProbeSegment;
use crate::units::{Counts, TICK_SECONDS, larger, smaller};

/// Least and most share of a new speed that is believed in a tick.
const SPEED_STEP: [f32; 2] = [1.0 / 64.0, 1.0 / 8.0];
/// That share for a lever that goes what counts as standing in a tick: noise, a fifth of it, then makes 15 % of the limit.
const NOISE_SHARE: f32 = 0.75;
/// A lever that is further ahead of its followed place than what counts as standing is followed in so much larger steps,
/// at most this: a lever that tears loose is fast within a few ticks, and noise is small beside it.
const TORN_LOOSE_STEP: f32 = 0.5;
/// Way that tells the direction, in what counts as standing: ten times the noise.
const SURELY_GONE: i32 = 2;

/// The lever as the position shows it.
#[derive(Debug, Clone, Copy)]
pub(super) struct ProbedLever {
    start: Option<Counts>,
    last: Counts,
    /// Followed, counts.
    followed: f32,
    /// Furthest from where it stood, counts.
    furthest: f32,
    /// Speed limit, counts/s.
    limit: f32,
    /// Filtered, counts/s.
    speed: f32,
    /// Sign of the counts under this drive; 0 while unknown.
    sense: f32,
}

impl ProbedLever {
    pub(super) fn new(segment: &ProbeSegment) -> Self {
        let along = libm::copysignf(1.0, segment.volts.0);
        Self {
            start: None,
            last: Counts(0),
            followed: 0.0,
            furthest: 0.0,
            limit: segment.counts_per_s,
            speed: 0.0,
            sense: segment.direction.map_or(0.0, |direction| along * direction.sign()),
        }
    }

    pub(super) fn follow(&mut self, now: Counts, segment: &ProbeSegment) {
        if self.start.is_none() {
            (self.start, self.last, self.followed) = (Some(now), now, now.as_f32());
        }
        self.last = now;
        self.furthest = larger(self.furthest, self.gone().unsigned_abs() as f32);
        self.limit = larger(segment.speed_by_way * self.furthest, segment.counts_per_s);
        let still = f32::from(segment.until.still_counts);
        let share = NOISE_SHARE * self.limit * TICK_SECONDS / still;
        let share = larger(smaller(share, SPEED_STEP[1]), SPEED_STEP[0]);
        let ahead = now.as_f32() - self.followed;
        let step = ahead * smaller(share * larger(libm::fabsf(ahead) / still, 1.0), TORN_LOOSE_STEP);
        self.followed += step;
        self.speed = step / TICK_SECONDS;
    }

    /// Takes the way gone for the drive's where no direction was given: a lever that stood when the segment began goes
    /// where it is driven.
    pub(super) fn learn_sense(&mut self, segment: &ProbeSegment) {
        let surely = SURELY_GONE.saturating_mul(i32::from(segment.until.still_counts));
        if self.sense == 0.0 && self.gone().saturating_abs() > surely {
            self.sense = libm::copysignf(1.0, self.gone() as f32);
        }
    }

    fn gone(&self) -> i32 {
        self.last.distance_from(self.start())
    }

    pub(super) fn start(&self) -> Counts {
        self.start.unwrap_or(self.last)
    }

    pub(super) fn place(&self) -> Counts {
        self.last
    }

    pub(super) fn furthest(&self) -> f32 {
        self.furthest
    }

    /// Speed limit, counts/s.
    pub(super) fn limit(&self) -> f32 {
        self.limit
    }

    /// Along the drive, counts/s; nothing while the direction is unknown.
    pub(super) fn along(&self) -> Option<f32> {
        (self.sense != 0.0).then_some(self.sense * self.speed)
    }

    /// Sign of the counts under this drive; 0 while unknown.
    pub(super) fn sense(&self) -> f32 {
        self.sense
    }

    /// Its size, whatever the direction, counts/s.
    pub(super) fn size(&self) -> f32 {
        libm::fabsf(self.speed)
    }

    pub(super) fn has_moved(&self, segment: &ProbeSegment) -> bool {
        self.furthest > f32::from(segment.until.still_counts)
    }
}
