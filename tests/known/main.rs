//! Is an actuator that nobody knows found out as it is? `characterise` on plants drawn at random, held against what each
//! plant is made of.
//!
//! `PLANTS=3000 FIRST=52000001 cargo test --release -p vanebench-checks --test known -- --nocapture` prints the survey on
//! record; the quick run draws a few.

mod bench;
mod plants;
mod tally;
mod truth;

use rayon::prelude::*;

use bench::{Met, characterised};
use plants::drawn;
use tally::Tally;

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
