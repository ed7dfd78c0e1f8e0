//! Whether the campaigns on record are those of this code: every bit of some runs of every kind, kept as checksums.
//!
//! A run is its configuration and its seed, so a changed checksum means changed code. Where the change is meant,
//! `cargo test --test bits -- --ignored` writes the new ones, and `tests/reference/renew-campaigns` makes the campaigns
//! anew; it also ends by writing them.
#![allow(clippy::unwrap_used, reason = "a check that cannot go on says where it stopped")]

use std::fmt::Write as _;

use crc::{CRC_64_XZ, Crc};
use firmware_core::settings::Settings;
use rayon::prelude::*;
use study::campaign::guard::{GuardCampaign, run_one};
use study::campaign::learn::one;
use study::campaign::{CampaignPlan, KeepRuns, Next, PartOrder, Spread, run_campaign};
use study::catalogue;
use study::run::{Record, RunOutcome, run_world};
use study::scenario::BuiltIn;
use study::scenario::builtins;
use study::trace::COLUMNS;
use vanebench::actuator::named;
use vanebench_checks::reference_dir;

/// Seed of every run here.
const SEED: u64 = 1;
/// Longest run of a scenario, s.
const MOST_S: f64 = 25.0;
/// Worlds of the guard: each named fault under some drive, several times.
const GUARD_WORLDS: u32 = 96;
/// Runs of each scenario's campaign: as many as go side by side.
const SIDE_BY_SIDE: u64 = 16;
/// Longest run of those, s.
const CAMPAIGN_S: f64 = 6.0;
/// The actuators that a learn campaign can name.
const ACTUATORS: [&str; 6] = [
    "bench-actuator-a",
    "bench-actuator-b",
    "bench-actuator-c",
    "bench-actuator-d",
    "bench-actuator-e",
    "bench-actuator-f",
];

/// Checksum of numbers, to the last bit. No text goes in: words may change.
fn checksum(numbers: &[f64]) -> u64 {
    let crc = Crc::<u64>::new(&CRC_64_XZ);
    let mut digest = crc.digest();
    for number in numbers {
        digest.update(&number.to_bits().to_le_bytes());
    }
    digest.finalize()
}

fn scenario(built_in: &BuiltIn) -> u64 {
    let mut scenario = built_in.scenario().unwrap();
    scenario.duration_s = scenario.duration_s.min(MOST_S);
    let run =
        run_world(&scenario, &scenario.world, &Settings::default(), SEED, Record::EveryTicks(5)).unwrap();
    let RunOutcome { events, fault_changes, trace, .. } = run;
    let mut numbers: Vec<f64> =
        trace.rows.iter().flat_map(|row| COLUMNS.iter().map(|column| (column.value)(row))).collect();
    numbers.extend(events.iter().map(|event| event.t_s));
    numbers.extend(fault_changes.iter().map(|change| change.t_s));
    checksum(&numbers)
}

/// Drawn units and engines, side by side.
fn campaign(built_in: &BuiltIn) -> u64 {
    let mut scenario = built_in.scenario().unwrap();
    scenario.duration_s = scenario.duration_s.min(CAMPAIGN_S);
    let (settings, spread) = (Settings::default(), Spread::default());
    let plan =
        CampaignPlan { scenario, settings, spread, seed: SEED, runs: SIDE_BY_SIDE, keep: KeepRuns::None };
    let stats = run_campaign(&plan, &PartOrder::WHOLE, |_| Next::GoOn).unwrap().counted;
    let numbers: Vec<f64> = stats.table().iter().flat_map(|row| [row.mean, row.least, row.most]).collect();
    checksum(&numbers)
}

fn guard_world(index: u32) -> Vec<f64> {
    let campaign = GuardCampaign { settings: Settings::default(), worlds: GUARD_WORLDS, seed: SEED };
    let figures = run_one(&campaign, index).unwrap();
    let told = figures.told.iter().map(|fault| f64::from(fault as u8));
    let counts = [f64::from(u8::from(figures.is_demanding)), f64::from(figures.reaction_ticks)];
    figures.used.into_iter().chain(counts).chain(told).collect()
}

fn learns(actuator: &str) -> u64 {
    let built_in = named(actuator).unwrap();
    let (nominal, settings) = (built_in.plant().unwrap(), built_in.profile().unwrap().settings);
    let numbers: Vec<f64> = catalogue::all()
        .flat_map(|preset| {
            let learn = one(preset, &nominal, &settings, SEED, 0).unwrap();
            let found = learn.errors.into_iter().chain(learn.repeat).chain([learn.met]).flatten();
            let how = [learn.severity, f64::from(learn.ticks), learn.impact, learn.largest_duty];
            found.chain(how).collect::<Vec<_>>()
        })
        .collect();
    checksum(&numbers)
}

/// Every scenario and some worlds of the guard, a line each.
fn control_bits() -> String {
    let scenarios: Vec<&BuiltIn> = builtins().iter().collect();
    let sums: Vec<[u64; 2]> =
        scenarios.par_iter().map(|built_in| [scenario(built_in), campaign(built_in)]).collect();
    let mut lines = String::new();
    for (built_in, [one, many]) in scenarios.iter().zip(sums) {
        writeln!(lines, "{one:016x} {}", built_in.name).unwrap();
        writeln!(lines, "{many:016x} {SIDE_BY_SIDE} units under {}", built_in.name).unwrap();
    }
    let worlds: Vec<f64> = (0..GUARD_WORLDS).into_par_iter().flat_map_iter(guard_world).collect();
    writeln!(lines, "{:016x} {GUARD_WORLDS} worlds of the guard", checksum(&worlds)).unwrap();
    lines
}

/// A learn of each fault of the catalogue on each actuator, a line for each actuator.
fn learn_bits() -> String {
    let sums: Vec<u64> = ACTUATORS.par_iter().map(|actuator| learns(actuator)).collect();
    ACTUATORS.iter().zip(sums).map(|(name, sum)| format!("{sum:016x} {name}\n")).collect()
}

fn compare(file: &str, now: &str, campaign: &str) {
    let kept = std::fs::read_to_string(reference_dir().join(file)).unwrap();
    let changed: Vec<&str> = now.lines().filter(|line| !kept.lines().any(|old| old == *line)).collect();
    assert!(
        changed.is_empty() && kept.lines().count() == now.lines().count(),
        "the bits are not those of the campaign on record: {changed:#?}; where that is meant: \
         `tests/reference/renew-campaigns SEED {campaign}`"
    );
}

#[test]
fn the_guards_campaign_on_record_is_that_of_this_code() {
    compare("control/bits.txt", &control_bits(), "guard");
}

#[test]
fn the_learn_campaigns_on_record_are_those_of_this_code() {
    compare("learn/bits.txt", &learn_bits(), "learn");
}

#[test]
#[ignore = "writes the checksums instead of checking them"]
fn write_the_bits_of_control() {
    std::fs::write(reference_dir().join("control/bits.txt"), control_bits()).unwrap();
}

#[test]
#[ignore = "writes the checksums instead of checking them"]
fn write_the_bits_of_learning() {
    std::fs::write(reference_dir().join("learn/bits.txt"), learn_bits()).unwrap();
}
