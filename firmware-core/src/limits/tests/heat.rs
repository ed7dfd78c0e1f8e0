//! Winding heat, stall and the room that they leave, against closed forms.

use super::*;

/// A drive at 12 V whose lever stands and whose current reads so many amperes.
fn standing(amperes: Option<f32>) -> DriveNow {
    DriveNow {
        supply: Volt(12.0),
        back_emf: Volt(0.0),
        motor_current: amperes.map(Ampere),
        position: Some(Counts(8000)),
        max_current: Settings::default().actuator.max_current,
    }
}

fn duty(share: f32) -> Duty {
    Duty::saturating(share, Duty::ZERO)
}

fn heated_to(share: f32) -> LimitMemory {
    let continuous = Settings::default().limits.continuous_current.0;
    LimitMemory { heat: share * continuous * continuous, ..LimitMemory::default() }
}

/// First order: (I/I∞)² (1 − e^(−t/τ)), by Euler's steps of a 20 000th of τ.
#[test]
fn heat_rises_with_the_square_of_the_current_and_the_windings_time_constant() {
    let settings = Settings::default();
    let (continuous, tau_s) = (settings.limits.continuous_current.0, settings.limits.heat_time_s);
    for amperes in [0.5, -1.3] {
        let mut limits = LimitMemory::default();
        for (seconds, until) in [(5, 5.0), (15, 20.0)] {
            for _ in 0..seconds * 1000 {
                limits.tick(&settings, &standing(Some(amperes)), duty(amperes / 8.0), Push::Holding);
            }
            let ratio = amperes / continuous;
            let expected = ratio * ratio * (1.0 - libm::expf(-until / tau_s));
            let got = limits.heat_share(&settings);
            assert!((got / expected - 1.0).abs() < 2e-3, "{got} after {until} s, expected {expected}");
        }
    }
}

#[test]
fn without_a_reading_heat_goes_by_what_duty_supply_and_speed_make_flow() {
    let settings = Settings::default();
    let resistance = settings.actuator.winding_resistance_ohm;
    let mut limits = LimitMemory::default();
    let drive = DriveNow { back_emf: Volt(0.9), ..standing(None) };
    for _ in 0..3000 {
        limits.tick(&settings, &drive, duty(0.2), Push::Holding);
    }
    let amperes = (0.2 * 12.0 - 0.9) / resistance;
    assert!((limits.current - amperes).abs() < 1e-5, "{} A, expected {amperes}", limits.current);
    let left = 1.0 - libm::expf(-2.999 / settings.limits.heat_time_s);
    assert!((limits.heat / (amperes * amperes * left) - 1.0).abs() < 2e-3, "{} A²", limits.heat);
}

#[test]
fn current_is_whole_below_seven_tenths_of_heat_and_continuous_at_the_limit() {
    let settings = Settings::default();
    let (most, continuous) = (settings.actuator.max_current.0, settings.limits.continuous_current.0);
    let left = |share: f32| heated_to(share).current_by_heat(&settings);
    for share in [0.0, 0.5, FADE_FROM] {
        assert!((left(share) - most).abs() < 1e-5, "{} A at {share}", left(share));
    }
    let between = left(0.85);
    assert!((between - (most + continuous) / 2.0).abs() < 1e-4, "halfway: {between} A");
    assert!((left(1.0) - continuous).abs() < 1e-4);
    assert!((left(3.0) - FADE_FROM * continuous).abs() < 1e-6, "and never less than that");
}

#[test]
fn a_winding_that_takes_its_largest_current_for_ever_is_not_faded() {
    let mut settings = Settings::default();
    settings.limits.continuous_current = settings.actuator.max_current;
    let heat = 2.0 * settings.limits.continuous_current.0 * settings.limits.continuous_current.0;
    let limits = LimitMemory { heat, ..LimitMemory::default() };
    assert_eq!(limits.current_by_heat(&settings), settings.actuator.max_current.0);
}

/// What is left of full duty either way is the back-EMF and the allowed current times the resistance.
#[test]
fn the_duty_left_makes_the_allowed_current_on_top_of_the_back_emf() {
    let settings = Settings::default();
    let resistance = settings.actuator.winding_resistance_ohm;
    let cold = settings.actuator.max_current.0;
    let hot = heated_to(0.85).current_by_heat(&settings);
    for (heat, allowed, limit) in [(0.0, cold, Limit::Current), (0.85, hot, Limit::Heat)] {
        for (wanted, emf) in [(1.0, 1.5), (-1.0, 1.5), (1.0, -2.0), (-1.0, -2.0)] {
            let mut limits = heated_to(heat);
            let drive = DriveNow { back_emf: Volt(emf), ..standing(None) };
            let left = limits.tick(&settings, &drive, duty(wanted), Push::Normal);
            let expected = (emf + wanted * allowed * resistance) / 12.0;
            assert!((left.duty.get() - expected).abs() < 2e-3, "{left:?}, expected {expected}");
            assert!(left.limits.contains(limit), "{left:?}");
        }
    }
}

#[test]
fn a_turning_motor_that_would_brake_too_hard_is_let_go_and_never_driven_the_other_way() {
    assert_eq!(toward_zero(0.5, 0.2), 0.2);
    assert_eq!(toward_zero(0.5, -0.3), 0.0);
    assert_eq!(toward_zero(0.5, 0.9), 0.5);
    assert_eq!(toward_zero(-0.5, -0.2), -0.2);
    assert_eq!(toward_zero(-0.5, 0.3), 0.0);
    assert_eq!(toward_zero(-0.5, -0.9), -0.5);
}

#[test]
fn a_push_into_a_learned_stop_keeps_to_its_own_duty() {
    let settings = Settings::default();
    let most = settings.limits.end_stop_duty.get();
    for sign in [1.0, -1.0] {
        let mut limits = LimitMemory::default();
        let left = limits.tick(&settings, &standing(None), duty(0.3 * sign), Push::IntoStop);
        assert_eq!(left.duty.get(), most * sign);
        assert!(left.limits.contains(Limit::EndStop) && !left.limits.contains(Limit::Duty));
        let free = limits.tick(&settings, &standing(None), duty(0.1 * sign), Push::IntoStop);
        assert!(free.limits.iter().next().is_none(), "{free:?}");
    }
}

/// Ticks until a push of so many amperes on a lever that stands is called a stall.
fn stalled_after(amperes: f32, push: Push) -> Option<u16> {
    let settings = Settings::default();
    let mut limits = LimitMemory::default();
    (0..settings.limits.stall_ticks.saturating_mul(2)).find(|_| {
        let left = limits.tick(&settings, &standing(Some(amperes)), duty(amperes / 8.0), push);
        left.faults.contains(Fault::Stalled)
    })
}

#[test]
fn a_push_without_travel_is_a_stall_after_its_time_and_holding_is_none() {
    let limits = Settings::default().limits;
    let over = limits.stall_current.0 + 0.05;
    assert_eq!(stalled_after(over, Push::Normal), Some(limits.stall_ticks));
    assert_eq!(stalled_after(-over, Push::IntoStop), Some(limits.stall_ticks));
    assert_eq!(stalled_after(over - 0.1, Push::Normal), None, "hardly a push");
    assert_eq!(stalled_after(over, Push::Holding), None);
}

#[test]
fn past_the_stall_the_guard_pushes_in_pulses_and_all_else_keeps_the_stalled_current() {
    let settings = Settings::default();
    let limits = &settings.limits;
    let period = limits.break_away_ticks + limits.break_away_pause_ticks;
    let over = limits.stall_current.0 + 0.05;
    let mut stall = Stall::default();
    let mut held = |push| stall.tick(&settings, &standing(Some(over)), over, duty(0.3), push);
    for _ in 0..=limits.stall_ticks {
        held(Push::Normal);
    }
    assert!(held(Push::Normal));
    let free = (0..10 * period).filter(|_| !held(Push::BreakAway)).count();
    assert_eq!(free, usize::from(10 * limits.break_away_ticks));
    assert!(held(Push::Normal));
}

#[test]
fn travel_or_a_turn_of_the_push_ends_a_stall() {
    let settings = Settings::default();
    let limits = &settings.limits;
    let over = limits.stall_current.0 + 0.05;
    let moved = limits.stall_travel_counts as i16 + 1;
    for (counts, sign, ends) in
        [(8000 + moved, 1.0, true), (8000 + moved - 1, 1.0, false), (8000, -1.0, true)]
    {
        let mut stall = Stall::default();
        for _ in 0..=limits.stall_ticks + 1 {
            stall.tick(&settings, &standing(Some(over)), over, duty(0.3), Push::Normal);
        }
        let now = DriveNow { position: Some(Counts(counts)), ..standing(Some(over)) };
        assert_eq!(
            stall.tick(&settings, &now, over, duty(0.3 * sign), Push::Normal),
            !ends,
            "{counts} {sign}"
        );
    }
}

#[test]
fn a_lever_whose_position_is_lost_stalls_by_time_alone() {
    let settings = Settings::default();
    let over = settings.limits.stall_current.0 + 0.05;
    let blind = DriveNow { position: None, ..standing(Some(over)) };
    let mut stall = Stall::default();
    let first = (0..2 * settings.limits.stall_ticks)
        .find(|_| stall.tick(&settings, &blind, over, duty(0.3), Push::Normal));
    assert_eq!(first, Some(settings.limits.stall_ticks));
}
