//! The trim's first ticks, worked by hand.

use super::*;
use crate::position::regulator::{Integral, OutputRange};
use crate::target::trim::{Trim, unless_still};

fn aim(air: &Air, boost: f32, gain_factor: f32) -> Aim<'_> {
    Aim { target: 180.0, boost, feed_forward: 0.5, minimum: 0.1, gain_factor, air }
}

#[test]
fn boost_over_its_target_opens_by_gain_times_factor_at_once_and_by_the_integral_later() {
    let settings = TargetSettings::default().trim;
    let range = OutputRange { low: -0.5, high: 0.5 };
    let air = air(Mode::Boost, 2000.0, 0.6, 180.0);
    for factor in [1.6, 0.65] {
        let mut trim = Trim::default();
        trim.start(&settings, &aim(&air, 180.0, factor), 0.0);
        let proportional = settings.gain_per_kpa * factor * 10.0;
        let per_tick = proportional * TICK_SECONDS / settings.integral_time_s;
        for ticks in 1..=100_u8 {
            let opens = trim.tick(&settings, &aim(&air, 190.0, factor), range);
            let expected = proportional + per_tick * f32::from(ticks);
            assert!((opens - expected).abs() <= 1.1 * per_tick, "{opens} after {ticks}, expected {expected}");
        }
    }
}

#[test]
fn the_integral_stands_within_the_still_band_on_either_side() {
    let settings = TargetSettings::default().trim;
    let air = air(Mode::Boost, 2000.0, 0.6, 180.0);
    for (off, integral) in [(0.9, Integral::Holds), (1.1, Integral::Runs)] {
        for sign in [-1.0, 1.0] {
            let boost = 180.0 + sign * off * settings.still_kpa;
            assert_eq!(unless_still(&settings, &aim(&air, boost, 1.0)), integral, "{boost}");
        }
    }
}
