use super::*;
use crate::units::{Counts, Volt};

/// A lever at rest or turning, 12 V.
fn drive(amperes: f32, back_emf: f32) -> DriveNow {
    DriveNow {
        supply: Volt(12.0),
        back_emf: Volt(back_emf),
        motor_current: Some(Ampere(amperes)),
        position: Some(Counts(8000)),
        max_current: Settings::default().actuator.max_current,
    }
}

fn driven_with(volts: f32) -> Flow {
    Flow { volts, ..Flow::default() }
}

/// Volts less 4 % of the supply and 1.2 times an opposing back-EMF, over 1.75 times the resistance.
#[test]
fn the_least_current_of_a_sound_unit_leaves_out_what_any_unit_may_lose() {
    let settings = Settings::default();
    let resistance = settings.actuator.winding_resistance_ohm;
    for (volts, back_emf, left) in [
        (6.0, 0.0, 6.0 - 0.48),
        (6.0, 2.0, 6.0 - 2.4 - 0.48),
        (-6.0, -2.0, 6.0 - 2.4 - 0.48),
        (6.0, -2.0, 6.0 - 0.48),
        (-6.0, 2.0, 6.0 - 0.48),
    ] {
        let got = driven_with(volts).surely_flowing(&settings, &drive(0.0, back_emf));
        let expected = left / (1.75 * resistance);
        assert!((got - expected).abs() < 1e-5, "{got} A at {volts} V, {back_emf} V; expected {expected}");
    }
    let lost = DriveNow { position: None, ..drive(0.0, 0.0) };
    assert_eq!(driven_with(6.0).surely_flowing(&settings, &lost), 0.0);
}

/// Volts less back-EMF, a fifth of it for its constant, four times its change for the speed filter.
#[test]
fn the_most_volts_on_the_winding_count_in_what_is_uncertain() {
    for (volts, back_emf, before, expected) in [
        (6.0, 0.0, 0.0, 6.0),
        (6.0, 2.0, 2.0, 4.0 + 0.4),
        (6.0, -2.0, -2.0, 8.0 + 0.4),
        (6.0, 2.0, 1.5, 4.0 + 0.4 + 2.0),
        (-6.0, 2.0, 2.5, 8.0 + 0.4 + 2.0),
    ] {
        let flow = Flow { back_emf: before, ..driven_with(volts) };
        let got = flow.surely_driving(&drive(0.0, back_emf));
        assert!((got - expected).abs() < 1e-5, "{got} V, expected {expected}");
    }
}

/// Whether so small a current under steady volts is called missing in the end, and in which tick.
fn missing_after(amperes: f32) -> Option<usize> {
    let settings = Settings::default();
    let mut flow = driven_with(6.0);
    (0..300).position(|_| {
        flow.tick(&settings, &drive(amperes, 0.0));
        flow.faults().contains(Fault::CurrentMissing)
    })
}

#[test]
fn a_fifth_of_the_least_current_is_the_edge_of_missing() {
    let settings = Settings::default();
    let edge = MISSING_SHARE * driven_with(6.0).surely_flowing(&settings, &drive(0.0, 0.0));
    let hundredth_tick = usize::from(MISSING_TICKS) - 1;
    assert_eq!(missing_after(0.99 * edge), Some(hundredth_tick));
    assert_eq!(missing_after(-0.99 * edge), Some(hundredth_tick), "the sign does not matter");
    assert_eq!(missing_after(1.01 * edge), None);
}

#[test]
fn nothing_is_missing_where_little_would_flow_or_the_bridge_is_off() {
    let settings = Settings::default();
    let faint = JUDGED_FROM
        * settings.actuator.max_current.0
        * MOST_RESISTANCE
        * settings.actuator.winding_resistance_ohm
        + 0.48;
    for (volts, is_told) in [(0.0, false), (0.98 * faint, false), (1.02 * faint, true)] {
        let mut flow = driven_with(volts);
        for _ in 0..MISSING_TICKS {
            flow.tick(&settings, &drive(0.0, 0.0));
        }
        assert_eq!(flow.faults().contains(Fault::CurrentMissing), is_told, "{volts} V");
    }
}

/// The resistance that the reading shows, as a share of the nominal one, and 0.2 % of it given back in each tick.
#[test]
fn a_reading_over_the_limit_cuts_the_drive_to_the_resistance_that_it_shows() {
    let settings = Settings::default();
    let (most, resistance) = (settings.actuator.max_current.0, settings.actuator.winding_resistance_ohm);
    let mut flow = driven_with(6.0);
    flow.tick(&settings, &drive(most + 1.0, 0.0));
    let shown = 6.0 / ((most + 1.0) * resistance);
    assert!((flow.resistance_share() - shown).abs() < 1e-5, "{}, expected {shown}", flow.resistance_share());
    flow.tick(&settings, &drive(most, 0.0));
    assert!((flow.resistance_share() - shown - RECOVERY).abs() < 1e-5, "at the limit it gives back");
    for _ in 0..500 {
        flow.tick(&settings, &drive(0.5 * most, 0.0));
    }
    assert_eq!(flow.resistance_share(), 1.0);
}

/// Whether a steady current at 2 V is called a short in the end.
fn is_called_short(amperes: f32) -> bool {
    let settings = Settings::default();
    let mut flow = driven_with(2.0);
    for _ in 0..MISSING_TICKS {
        flow.tick(&settings, &drive(amperes, 0.0));
    }
    flow.faults().contains(Fault::OverCurrent)
}

#[test]
fn a_short_shows_less_than_half_the_resistance_at_more_than_half_the_current() {
    let settings = Settings::default();
    let resistance = settings.actuator.winding_resistance_ohm;
    let half_resistance = 2.0 / (SHORTED_SHARE * resistance);
    assert!(half_resistance > JUDGED_SHORT_FROM * settings.actuator.max_current.0, "the case judges shares");
    assert!(is_called_short(1.02 * half_resistance));
    assert!(is_called_short(-1.02 * half_resistance));
    assert!(!is_called_short(0.98 * half_resistance));
}

#[test]
fn a_reading_that_nothing_drives_is_ignored_until_it_has_healed() {
    let settings = Settings::default();
    let limits = &settings.plausibility;
    let most = settings.actuator.max_current.0;
    let edge = LEADS_SHARE * most * settings.actuator.winding_resistance_ohm;
    let ignored_after = |volts: f32, back_emf: f32, amperes: f32| {
        let mut flow = driven_with(volts);
        (1..=2 * limits.debounce_ticks).find(|_| flow.tick(&settings, &drive(amperes, back_emf)).is_none())
    };
    assert_eq!(ignored_after(0.9 * edge, 0.0, most + 0.1), Some(limits.debounce_ticks));
    assert_eq!(ignored_after(-0.5 * edge, 0.4 * edge, -most - 0.1), Some(limits.debounce_ticks));
    assert_eq!(ignored_after(0.6 * edge, -0.6 * edge, most + 0.1), None, "the motor turns");
    assert_eq!(ignored_after(0.0, 0.0, most), None, "at the limit");

    let mut flow = driven_with(0.0);
    for _ in 0..limits.debounce_ticks {
        flow.tick(&settings, &drive(most + 0.1, 0.0));
    }
    assert!(flow.faults().contains(Fault::CurrentRange));
    let healed = (1..=2 * limits.heal_ticks).find(|_| flow.tick(&settings, &drive(0.0, 0.0)).is_some());
    assert_eq!(healed, Some(limits.heal_ticks));
    assert!(!flow.faults().contains(Fault::CurrentRange));
}
