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

#[cfg(test)]
mod tests {
    use super::*;

    /// A first-order filter with a tick's step in a ramp: v (1 − (τ/(τ + T))ⁿ).
    #[test]
    fn a_ramp_is_followed_with_the_filters_time_constant() {
        let mut speed = Speed::default();
        let kept = FILTER_S / (FILTER_S + TICK_SECONDS);
        for tick in 0..40 {
            let got = speed.tick(Some(Counts(8000 - 50 * tick)));
            let expected = -50.0 / TICK_SECONDS * (1.0 - libm::powf(kept, f32::from(tick)));
            assert!((got - expected).abs() < 1.0, "{got} at {tick}, expected {expected}");
        }
    }

    #[test]
    fn a_position_that_was_lost_makes_no_speed_when_it_comes_back() {
        let mut speed = Speed::default();
        speed.tick(Some(Counts(0)));
        assert_eq!(speed.tick(None), 0.0);
        assert_eq!(speed.tick(Some(Counts(9000))), 0.0);
        assert!(speed.tick(Some(Counts(9001))) > 0.0);
    }
}
