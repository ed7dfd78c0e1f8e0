//! Is an actuator that nobody knows found out as it is? `characterise` on plants drawn at random, held against what each
//! plant is made of.
//!
//! `PLANTS=3000 FIRST=52000001 cargo test --release -p vanebench-checks --test known -- --nocapture` prints the survey on
//! record; the quick run draws a few.

mod bench;
mod faults;
mod plants;
mod tally;
mod truth;

use rayon::prelude::*;

use bench::{Learned, Met, characterised};
use plants::{Drawn, drawn};
use tally::Tally;
use vanebench::characterise::Answers;
use vanebench::port::PortSpec;

/// Plants of the quick run.
const QUICK: u64 = 6;
/// First seed of the quick run; the probe was tuned on seeds from 1 on.
const QUICK_SEED: u64 = 1;

fn number(variable: &str, quick: u64) -> u64 {
    std::env::var(variable).ok().and_then(|given| given.parse().ok()).unwrap_or(quick)
}

#[test]
fn an_unknown_actuator_is_found_out_as_it_is() {
    let (first, count) = (number("FIRST", QUICK_SEED), number("PLANTS", QUICK));
    let met: Vec<(u64, Met)> = (first..first + count)
        .into_par_iter()
        .map(|seed| (seed, characterised(&drawn(seed), seed)))
        .collect();
    let tally = Tally::of(&met);
    println!("{tally}");
    assert_eq!(tally.wrong_signs(), 0, "a direction or a spring the wrong way");
    assert!(tally.finished() > 0, "none finished");
}

/// None of these is drawn: no range decides what they are. A learn on what came out takes all six for sound.
#[test]
fn the_six_invented_actuators_are_found_out() {
    let mut refused = Vec::new();
    for letter in ["a", "b", "c", "d", "e", "f"] {
        let port = format!("virtual:bench-actuator-{letter}/healthy");
        let PortSpec::Virtual { unit, .. } = port.parse().expect("a virtual port") else { panic!("{port}") };
        let profile = unit.actuator.profile().expect("a profile");
        let answers = Answers {
            degrees: profile.travel_deg,
            rated_voltage: f64::from(profile.settings.actuator.nominal_supply.0),
            continuous_current: f64::from(profile.settings.limits.continuous_current.0),
            back_drives: true,
        };
        let unit = Drawn { world: unit.actuator.plant().expect("a plant"), answers, need_a: 0.0 };
        let met = characterised(&unit, 1);
        println!("{letter}: {met:?}");
        let found = met.found.expect(letter);
        assert_eq!(
            (found.counts_direction, found.spring),
            (met.truth.direction, met.truth.spring),
            "{letter}"
        );
        let span = (found.stops[0].value - found.stops[1].value).abs();
        assert!((span / met.truth.span - 1.0).abs() < 0.012, "{letter}: {span} of {}", met.truth.span);
        assert!((found.resistance_ohm.value / met.truth.ohm - 1.0).abs() < 0.03, "{letter}");
        if met.learned != Some(Learned::Sound) {
            refused.push(letter);
        }
    }
    assert_eq!(refused, [""; 0], "sound units that a learn refuses");
}
