//! A reading is believed when it has come to rest: the mean over a window whose spread is small.
//!
//! In: one reading per tick. Out: the mean, or that it never rested. The extreme of a bounce is never
//! taken, because the window starts only after the wait.

/// How long to wait, average and give up, ticks.
#[derive(Debug, Clone, Copy)]
pub(super) struct SettleTimes {
    /// Ticks before the first window: well over the electrical (0.6 ms) and bounce (20 ms) times.
    pub(super) wait: u16,
    /// Ticks in a window.
    pub(super) window: u16,
    /// Windows that may fail before giving up.
    pub(super) tries: u16,
}

/// What the last tick made of the reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Settling {
    /// Not yet.
    Waiting,
    /// At rest: mean reading, mean current and spread of the reading over the window.
    Settled { reading: f32, current: f32, range: f32 },
    /// Never at rest: spread of the last window, how far its mean moved, mean current.
    Restless { range: f32, crept: f32, current: f32 },
}

/// Averages reading and current over windows until one is at rest.
#[derive(Debug, Clone, Copy)]
pub(super) struct Settle {
    times: SettleTimes,
    max_range: f32,
    elapsed: u16,
    tries: u16,
    sum: f32,
    current: f32,
    low: f32,
    high: f32,
    first_half: f32,
}

impl Settle {
    pub(super) fn new(times: SettleTimes, max_range: f32) -> Self {
        Self {
            times,
            max_range,
            elapsed: 0,
            tries: 0,
            sum: 0.0,
            current: 0.0,
            low: f32::INFINITY,
            high: f32::NEG_INFINITY,
            first_half: 0.0,
        }
    }

    /// Takes one reading. Noise widens the range; what must be at rest is the mean, so the two halves of
    /// the window are compared as well.
    pub(super) fn tick(&mut self, reading: f32, current: f32) -> Settling {
        self.elapsed = self.elapsed.saturating_add(1);
        if self.elapsed <= self.times.wait {
            return Settling::Waiting;
        }
        let taken = self.elapsed.saturating_sub(self.times.wait);
        self.sum += reading;
        self.current += current;
        self.low = if reading < self.low { reading } else { self.low };
        self.high = if reading > self.high { reading } else { self.high };
        let half = self.times.window / 2;
        if taken == half {
            self.first_half = self.sum / f32::from(half);
        }
        if taken < self.times.window { Settling::Waiting } else { self.close_window() }
    }

    fn close_window(&mut self) -> Settling {
        let count = f32::from(self.times.window);
        let (reading, current, range) = (self.sum / count, self.current / count, self.high - self.low);
        let crept = 2.0 * libm::fabsf(reading - self.first_half);
        if range <= self.max_range && crept <= self.max_range / 2.0 {
            return Settling::Settled { reading, current, range };
        }
        self.tries = self.tries.saturating_add(1);
        if self.tries >= self.times.tries {
            return Settling::Restless { range, crept, current };
        }
        let tries = self.tries;
        *self = Self::new(SettleTimes { wait: 0, ..self.times }, self.max_range);
        self.tries = tries;
        Settling::Waiting
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TIMES: SettleTimes = SettleTimes { wait: 10, window: 8, tries: 3 };

    fn run(reading: impl Fn(u16) -> f32) -> Settling {
        let mut settle = Settle::new(TIMES, 4.0);
        for tick in 0..100 {
            let step = settle.tick(reading(tick), 1.0);
            if step != Settling::Waiting {
                return step;
            }
        }
        Settling::Waiting
    }

    #[test]
    fn the_bounce_before_the_wait_is_not_averaged() {
        let settled = run(|tick| if tick < 10 { 900.0 } else { 100.0 });
        assert_eq!(settled, Settling::Settled { reading: 100.0, current: 1.0, range: 0.0 });
    }

    #[test]
    fn a_reading_that_creeps_is_restless() {
        assert!(matches!(run(|tick| f32::from(tick) * 0.9), Settling::Restless { .. }));
    }
}
