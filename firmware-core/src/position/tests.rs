use super::*;
use crate::units::TICK_SECONDS;

const WIDE: OutputRange = OutputRange { low: -100.0, high: 100.0 };

fn errand(wanted: f32, measured: f32) -> Errand {
    Errand { wanted, measured, back_emf_v_per_opening_per_s: 1.5, range: WIDE }
}

/// A watch over a vane that has stood at 0.5 for so many ticks.
fn stood(ticks: u16) -> Stuck {
    let mut stuck = Stuck { mean: 0.5, ticks: 0 };
    for _ in 0..ticks {
        assert!(!stuck.breaks_away(0.5, 0.1));
    }
    stuck
}

#[test]
fn a_stuck_vane_breaks_away_when_it_leaves_its_mean_toward_the_goal() {
    let far = 1.01 * BREAK_AWAY_TRAVEL;
    assert!(stood(STUCK_TICKS).breaks_away(0.5 + far, 0.1));
    assert!(stood(STUCK_TICKS).breaks_away(0.5 - far, -0.1));
    assert!(!stood(STUCK_TICKS).breaks_away(0.5 + far, -0.1), "away from the goal");
    assert!(!stood(STUCK_TICKS).breaks_away(0.5 + 0.99 * BREAK_AWAY_TRAVEL, 0.1), "noise");
    assert!(!stood(STUCK_TICKS - 1).breaks_away(0.5 + far, 0.1), "not stuck for long enough");
}

#[test]
fn a_vane_that_breaks_away_is_not_stuck_until_it_has_stood_again() {
    let mut stuck = stood(STUCK_TICKS);
    assert!(stuck.breaks_away(0.51, 0.1));
    assert!(!stuck.breaks_away(0.52, 0.1));
}

/// The mean follows with time constant 8 ticks; a ramp runs ahead of it by 8 ticks' travel in the end.
#[test]
fn a_vane_that_creeps_slower_than_the_mean_follows_stays_stuck() {
    let creep = |per_tick: f32| {
        let mut stuck = stood(STUCK_TICKS);
        (1..200).any(|tick| stuck.breaks_away(0.5 + per_tick * tick as f32, 0.1))
    };
    assert!(!creep(0.98 * BREAK_AWAY_TRAVEL / MEAN_TICKS));
    assert!(creep(1.02 * BREAK_AWAY_TRAVEL / MEAN_TICKS));
}

#[test]
fn feed_forward_is_back_emf_inertia_and_friction_of_the_path() {
    let settings = PositionSettings::default();
    for (per_s, per_s2) in [(2.0, 30.0), (-2.0, 30.0), (0.0, -10.0)] {
        let path = Reference { opening: 0.5, per_s, per_s2 };
        let sliding = settings.sliding_friction_v * per_s / (libm::fabsf(per_s) + FRICTION_SPEED);
        let expected = 1.5 * per_s + settings.inertia_v_s2 * per_s2 + sliding;
        let got = feed_forward(&settings, &errand(0.5, 0.5), path);
        assert!((got - expected).abs() < 1e-5, "{got}, expected {expected}");
    }
}

/// A loop in its first ticks, no rest yet: gain times error and what has been integrated.
#[test]
fn the_loop_asks_for_gain_times_error_and_its_integral() {
    let settings = PositionSettings { derivative_time_s: 0.0, ..PositionSettings::default() };
    let mut position = PositionLoop::default();
    position.tick(&settings, &errand(0.5, 0.5));
    // Ten bands: even the first tick's share of it in the quiet error is outside.
    let error = 10.0 * settings.rest_band;
    let measured = 0.5 - error;
    for tick in 1..=20 {
        let pull = position.tick(&settings, &errand(0.5, measured));
        let integrated = settings.gain_v * error * TICK_SECONDS / settings.integral_time_s * tick as f32;
        let expected = settings.gain_v * error + integrated;
        assert!((pull.volts - expected).abs() < 1e-3 * expected, "{pull:?} at {tick}, expected {expected}");
        assert!(!pull.is_resting);
    }
}

#[test]
fn a_full_integral_grows_no_further_and_comes_back() {
    let settings = PositionSettings::default();
    let mut position = PositionLoop::default();
    position.tick(&settings, &errand(0.5, 0.5));
    for _ in 0..20_000 {
        position.tick(&settings, &errand(0.5, 0.3));
    }
    let full = position.regulator.integral();
    let step = settings.gain_v * 0.2 * TICK_SECONDS / settings.integral_time_s;
    assert!(full >= settings.integral_max_v && full <= settings.integral_max_v + step, "{full} V");
    for _ in 0..100 {
        position.tick(&settings, &errand(0.5, 0.7));
    }
    assert!(position.regulator.integral() < full);
}

#[test]
fn a_vane_that_rests_is_left_alone_and_a_larger_error_ends_it() {
    let settings = PositionSettings::default();
    let mut position = PositionLoop::default();
    let rested = (0..2000).position(|_| position.tick(&settings, &errand(0.5, 0.5)).is_resting);
    assert!(rested.is_some_and(|tick| tick >= usize::from(settings.rest_ticks)), "{rested:?}");
    let near = 0.5 + 0.9 * settings.rest_band * settings.wake_factor;
    assert!((0..500).all(|_| position.tick(&settings, &errand(0.5, near)).is_resting));
    let far = 0.5 + 1.2 * settings.rest_band * settings.wake_factor;
    assert!((0..500).any(|_| !position.tick(&settings, &errand(0.5, far)).is_resting));
}

#[test]
fn what_a_resting_vane_gets_keeps_the_range() {
    let settings = PositionSettings::default();
    let mut position = PositionLoop::default();
    for _ in 0..2000 {
        position.tick(&settings, &errand(0.5, 0.5));
    }
    let narrow = OutputRange { low: 0.25, high: 1.0 };
    let pull = position.tick(&settings, &Errand { range: narrow, ..errand(0.5, 0.5) });
    assert_eq!((pull.volts, pull.is_resting), (0.25, true));
}
