//! Speed from counts, and the soft drive that holds it.
//!
//! In: progress per tick and a wanted speed. Out: the motor voltage. The voltage is bounded by the
//! approach current times winding resistance plus the back-EMF of the wanted speed, so that even with a
//! dead sensor the lever meets a stop no faster than that voltage can turn the motor.

use heapless::Deque;

/// Ticks over which speed is taken: 8 ms halves sensor noise and lags less than the motor's own 11 ms.
const SPEED_TICKS: usize = 8;
/// Length of that span as a number.
const SPEED_SPAN: f32 = 8.0;
/// Ticks per second as a float.
const TICKS_PER_S: f32 = 1000.0;
/// Closed-loop rate of the speed trim, 1/s: five motor time constants, so that trim does not ring.
pub(super) const TRIM_RATE: f32 = 20.0;
/// Immediate share of the speed error; damps the trim.
const PROPORTIONAL: f32 = 0.5;

/// Speed of a reading over the last few ticks.
#[derive(Debug, Clone, Default)]
pub(super) struct Speedometer {
    past: Deque<f32, SPEED_TICKS>,
}

impl Speedometer {
    /// Takes one reading; speed in counts/s, or 0 until enough readings are in.
    pub(super) fn tick(&mut self, counts: f32) -> f32 {
        let oldest = if self.past.is_full() { self.past.pop_front() } else { None };
        // There is room: one reading left, or the queue was not full.
        let _ = self.past.push_back(counts);
        oldest.map_or(0.0, |oldest| (counts - oldest) * TICKS_PER_S / SPEED_SPAN)
    }
}

/// Speed loop of one direction. The trim is kept between approaches, so the second one starts running.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct SpeedLoop {
    trim: f32,
}

/// What one tick of the speed loop needs.
#[derive(Debug, Clone, Copy)]
pub(super) struct SpeedError {
    /// Wanted speed, counts/s toward the stop.
    pub(super) wanted: f32,
    /// Measured speed, counts/s toward the stop.
    pub(super) seen: f32,
    /// Back-EMF, V per count/s.
    pub(super) back_emf: f32,
    /// What an error of speed is worth to the trim, V per count/s.
    pub(super) trim_gain: f32,
    /// Largest trim either way, V.
    pub(super) trim_limit: f32,
}

impl SpeedLoop {
    /// One tick; the motor voltage toward the stop.
    pub(super) fn tick(&mut self, error: SpeedError) -> f32 {
        let short = error.trim_gain * (error.wanted - error.seen);
        let trim = self.trim + TRIM_RATE * short / TICKS_PER_S;
        self.trim = hold(trim, error.trim_limit);
        error.back_emf * error.wanted + hold(self.trim + PROPORTIONAL * short, error.trim_limit)
    }

    /// Sets the trim to what running needs, so that wind-up against a stop is forgotten.
    pub(super) fn settle_at(&mut self, volts: f32) {
        self.trim = volts;
    }
}

/// `value` held to ± `limit`; not a number becomes 0.
fn hold(value: f32, limit: f32) -> f32 {
    if value > limit {
        limit
    } else if value < -limit {
        -limit
    } else if value.is_nan() {
        0.0
    } else {
        value
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn speed_of_a_steady_ramp_is_its_slope() {
        let mut meter = Speedometer::default();
        let mut speed = 0.0;
        for tick in 0..20_u8 {
            speed = meter.tick(f32::from(tick) * 3.0);
        }
        assert!((speed - 3000.0).abs() < 1e-3, "{speed}");
    }

    #[test]
    fn the_voltage_stays_bounded_when_nothing_moves() {
        let mut drive = SpeedLoop::default();
        let error =
            SpeedError { wanted: 2000.0, seen: 0.0, back_emf: 1e-4, trim_gain: 1e-4, trim_limit: 3.0 };
        let mut volts = 0.0;
        for _ in 0..10_000 {
            volts = drive.tick(error);
        }
        assert!((volts - 3.2).abs() < 1e-4, "{volts}");
    }

    #[test]
    fn a_reading_that_is_no_number_does_not_poison_the_trim() {
        let mut drive = SpeedLoop::default();
        let bad =
            SpeedError { wanted: 2000.0, seen: f32::NAN, back_emf: 1e-4, trim_gain: 1e-4, trim_limit: 3.0 };
        drive.tick(bad);
        assert!(drive.tick(SpeedError { seen: 0.0, ..bad }).is_finite());
    }
}
