//! Every built-in law on the engine: no limit passed, no fault, the guard at rest.

use firmware_core::settings::{LawName, Settings};
use rayon::prelude::*;
use study::run::{RunOutcome, run_scenario};
use study::scenario::BuiltIn;

const SCENARIOS: [&str; 5] = ["tip-in", "boost-step", "load-pulses", "altitude-climb", "recirculation-60"];

fn outcomes() -> Vec<(LawName, &'static str, RunOutcome)> {
    let pairs: Vec<_> = LawName::ALL.iter().flat_map(|law| SCENARIOS.map(|name| (*law, name))).collect();
    let run = |(law, name): (LawName, &'static str)| {
        let mut settings = Settings::default();
        settings.target.law = law;
        let scenario = BuiltIn::named(name).unwrap().scenario().unwrap();
        (law, name, run_scenario(&scenario, &settings, 1).unwrap())
    };
    pairs.into_par_iter().map(run).collect()
}

#[test]
fn no_law_passes_a_limit_or_wakes_the_guard() {
    for (law, name, outcome) in outcomes() {
        println!("{} on {name}: {:?}", law.word(), outcome.metrics);
        let passed = outcome.metrics.limits_passed();
        assert!(passed.is_empty(), "{} on {name}: {passed:?}", law.word());
        assert!(outcome.events.is_empty(), "{} on {name}: {:?}", law.word(), outcome.events);
        assert!(outcome.faults.is_empty(), "{} on {name}: {:?}", law.word(), outcome.faults);
    }
}
