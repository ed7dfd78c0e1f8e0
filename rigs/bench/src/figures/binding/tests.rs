//! Levers made by hand, with known places.

use firmware_core::learn::Stop;

use super::{BindingPlace, Picture, RampSample, Sound};
use crate::figures::VaneDirection;

/// Counts fall when it opens, as on bench actuator A.
const SOUND: Sound =
    Sound { open_sign: -1.0, span: 10_700.0, closed: (13_208.0, 13_454.0), open: (2446.0, 2692.0) };

/// A lever that rests open and follows the push between two ends, held by friction, caught at some places until
/// the push passes a value.
fn ramps(ends: (f64, f64), catch: Option<(f64, f64)>) -> Vec<RampSample> {
    let asked = |t: i32| match t {
        0..=1400 => -f64::from(t) / 1000.0,
        1401..=2800 => -1.4 + f64::from(t - 1400) / 1000.0,
        2801..=4200 => f64::from(t - 2800) / 1000.0,
        4201..=5600 => 1.4 - f64::from(t - 4200) / 1000.0,
        _ => 0.0,
    };
    let mut counts = ends.0;
    (0..=5600)
        .map(|t| {
            let asked = asked(t);
            let pull = match asked {
                push if push < -0.7 => 40.0,
                push if push > -0.2 => -40.0,
                _ => 0.0,
            };
            let next = (counts + pull).clamp(ends.0.min(ends.1), ends.0.max(ends.1));
            let is_caught = catch
                .is_some_and(|(at, until)| (counts - at).abs() < 41.0 && pull > 0.0 && asked.abs() < until);
            counts = if is_caught { counts } else { next };
            RampSample { asked, current: asked, counts }
        })
        .collect()
}

fn places(pushes: &[RampSample]) -> Vec<BindingPlace> {
    Picture::try_new(pushes, &SOUND).unwrap().places
}

#[test]
fn a_free_lever_between_sound_stops_has_no_place_that_stands_out() {
    assert_eq!(places(&ramps((2560.0, 13_340.0), None)), []);
}

#[test]
fn a_lever_that_ends_short_or_past_a_window_names_the_stop_and_where_it_ended() {
    let window = SOUND.closed;
    let short = places(&ramps((2560.0, 8000.0), None));
    assert_eq!(short, [BindingPlace::StopsShort { stop: Stop::Closed, counts: 8000.0, window }]);
    let past = places(&ramps((2560.0, 14_080.0), None));
    assert_eq!(past, [BindingPlace::PassesStop { stop: Stop::Closed, counts: 14_080.0, window }]);
}

#[test]
fn a_lever_that_hangs_until_the_push_has_risen_names_place_and_push() {
    let found = places(&ramps((2560.0, 13_340.0), Some((8000.0, 1.1))));
    let [BindingPlace::Hangs { direction: VaneDirection::Closing, counts, freed_a }] = found[..] else {
        panic!("{found:?}")
    };
    assert!((counts - 8000.0).abs() < 700.0 && (freed_a + 1.1).abs() < 0.05, "{counts} {freed_a}");
}

#[test]
fn a_lever_that_only_gives_and_one_that_goes_the_wrong_way_are_told_apart() {
    let found = places(&ramps((2560.0, 2700.0), None));
    assert_eq!(found, [BindingPlace::DoesNotMove { counts: 2560.0, moved: 140.0, share: 140.0 / 10_700.0 }]);
    let turned: Vec<RampSample> = ramps((2560.0, 13_340.0), None)
        .into_iter()
        .map(|push| RampSample { counts: 15_900.0 - push.counts, ..push })
        .collect();
    assert!(matches!(places(&turned)[..], [BindingPlace::WrongWay { .. }]), "{:?}", places(&turned));
}

#[test]
fn nothing_recorded_gives_no_picture() {
    assert_eq!(Picture::try_new(&[], &SOUND), None);
}

#[test]
fn a_motor_that_takes_no_current_is_not_called_a_lever_that_binds() {
    let dead: Vec<RampSample> = ramps((2560.0, 2700.0), None)
        .into_iter()
        .map(|push| RampSample { current: 0.003, counts: 2560.0, ..push })
        .collect();
    assert!(matches!(places(&dead)[..], [BindingPlace::NoCurrent { .. }]), "{:?}", places(&dead));
}
