//! Every fault of the catalogue on a unit that is then characterised, and learned on the profile that came of itself: is a
//! fault ever taken for sound?
//!
//! `FAULT_UNITS=20 cargo test --release -p vanebench-checks --test known fault -- --nocapture` prints the long run.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};

use firmware_core::calibration::{Setup, Warmth};
use firmware_core::learn::{Check, CheckSet, LearnOrder, LearnOutcome};
use plant::toml_file::TomlFile;
use rayon::prelude::*;
use study::campaign::learn::{exact_bounds, run};
use study::catalogue::{self, Case, Preset, Tag};
use vanebench::characterise::{self, Answers};
use vanebench::profile::Profile;

use crate::bench::{Seen, found};
use crate::number;

/// Units of each fault in the quick run.
const QUICK: u64 = 1;
/// First seed of the units.
const FIRST_SEED: u64 = 77_000_001;

/// How a unit with a fault was met.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum MetFault {
    Accepted,
    /// Accepted, had a person confirmed what nobody can confirm of windows that are the unit's own.
    AllButConfirmed,
    NotProven,
    Refused,
    NotLearned,
    NoProfile,
    NotCharacterised,
}

/// What the plate of actuator A says.
fn answers() -> Answers {
    Answers { degrees: 70.0, rated_voltage: 12.0, continuous_current: 1.2, back_drives: true }
}

fn met(preset: &Preset, share: f64, seed: u64) -> MetFault {
    let case = preset.on(&Case::of(Default::default()).world, Some(preset.severity.at(share)));
    let seen = Arc::new(Mutex::new(Seen::default()));
    let Ok(found) = found(&case, &answers(), seed, &seen) else { return MetFault::NotCharacterised };
    let text = characterise::profile_text("u", &found, &answers());
    let Ok(profile) = Profile::read(&TomlFile::from_text("profile.toml", &text)) else {
        return MetFault::NoProfile;
    };
    let learned = |checks: CheckSet| {
        let order = LearnOrder::full(Setup::Attached, Warmth::Cold, checks);
        run(&case, &profile.settings, order, case.start_opening(None), seed).map(|run| run.outcome)
    };
    let careful = seen_by_a_person(preset, &case);
    let confirmable = careful.without(Check::Indexing).without(Check::SensorScale);
    match (learned(confirmable), learned(careful)) {
        (Ok(LearnOutcome::Accepted(_)), _) => MetFault::Accepted,
        (_, Ok(LearnOutcome::Accepted(_))) => MetFault::AllButConfirmed,
        (Ok(LearnOutcome::NotProven { .. }), _) => MetFault::NotProven,
        (Ok(LearnOutcome::Refused(_)), _) => MetFault::Refused,
        (Err(_), _) => MetFault::NotLearned,
    }
}

/// The checks that hold on this unit.
fn seen_by_a_person(preset: &Preset, case: &Case) -> CheckSet {
    let failed = match preset.tag {
        Tag::UndecidableWithout(check) => Some(check),
        Tag::MustReject | Tag::MustAccept => None,
    };
    case.failed_checks.iter().copied().chain(failed).fold(CheckSet::ALL, CheckSet::without)
}

#[test]
fn no_fault_is_accepted_on_a_profile_of_its_own_unit() {
    let units = number("FAULT_UNITS", QUICK);
    let presets: Vec<&Preset> = catalogue::all().filter(|preset| preset.tag != Tag::MustAccept).collect();
    let runs: Vec<(&str, MetFault)> = presets
        .par_iter()
        .flat_map_iter(|preset| {
            (0..units).map(|unit| {
                let share = (unit as f64 + 0.75) / units as f64;
                (preset.name, met(preset, share.min(1.0), FIRST_SEED + unit))
            })
        })
        .collect();
    let mut counts: BTreeMap<MetFault, BTreeMap<&str, u64>> = BTreeMap::new();
    for (name, met) in &runs {
        *counts.entry(*met).or_default().entry(name).or_default() += 1;
    }
    for (met, names) in &counts {
        println!("{met:?}: {} of {}: {names:?}", names.values().sum::<u64>(), runs.len());
    }
    let accepted = counts.get(&MetFault::Accepted).map_or(0, |names| names.values().sum());
    let [_, most] = exact_bounds(accepted, runs.len() as u64);
    println!("accepted {accepted} of {}, at most {:.2} %", runs.len(), 100.0 * most);
    assert_eq!(accepted, 0, "a fault was accepted");
}
