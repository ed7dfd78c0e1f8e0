//! Lever speed from counts.

use crate::units::{Counts, TICK_SECONDS};

/// Filtered speed of the position reading.
#[derive(Debug, Clone, Copy, Default)]
pub struct Speed {
    last: Option<Counts>,
    counts_per_s: f32,
}

/// Time constant of the filter, s: one count of noise is then 250 counts/s for one tick, 25 mV of
/// back-EMF.
const FILTER_S: f32 = 0.003;

impl Speed {
    /// Speed after this reading, counts/s; 0 while position is lost.
    pub fn tick(&mut self, position: Option<Counts>) -> f32 {
        let raw = match (position, self.last) {
            (Some(now), Some(last)) => now.distance_from(last) as f32 / TICK_SECONDS,
            _ => 0.0,
        };
        self.last = position;
        self.counts_per_s += (raw - self.counts_per_s) * (TICK_SECONDS / (FILTER_S + TICK_SECONDS));
        self.counts_per_s
    }
}
