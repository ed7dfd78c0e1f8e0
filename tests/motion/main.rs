//! A motion ends itself where it cannot go on, and nowhere else.
//!
//! Units, faults and motions are the world's and the bench's; when the condition began is read from the plant, not
//! from what the controller saw. The watch was tuned on other seeds.

mod look;
mod support;

use firmware_core::motion::Ending;
use firmware_core::settings::Settings;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;
use rayon::prelude::*;
use study::campaign::learn::exact_bounds;
use study::catalogue::{self, Case};
use support::{Row, Rule, Told, Unit, motions, wide_unit};
use vanebench::actuator::DEMO;

/// Sound units, each with one of each motion; `MOTION_UNITS=1429` makes ten thousand motions of them.
fn units() -> u64 {
    std::env::var("MOTION_UNITS").ok().and_then(|units| units.parse().ok()).unwrap_or(12)
}

/// First seed of the reported units.
const SEED: u64 = 97_000_001;

/// Travel that the lever has left after the condition began, opening: it stands, but for what a stop gives.
const STANDS: f64 = 0.002;
/// Part of the limit of the current that counts as at the limit: switches and leads take some of the volts.
const AT_LIMIT: f64 = 0.9;
/// Part of the time that the current must be at the limit: noise takes it off for a tick.
const LASTING: f64 = 0.95;
/// What the issue allows from the condition to the end, ms.
const ALLOWED_MS: usize = 500;

/// Time from the true condition to the end, ms: the lever stands off its goal by more than the settled band, with the
/// winding's current at its limit.
fn delay_ms(rows: &[Row], settled: f64) -> usize {
    let way = |row: &Row| row.wanted.map(|wanted| (wanted - row.lever).signum());
    let off = |row: &Row| row.wanted.is_some_and(|wanted| (wanted - row.lever).abs() > settled);
    let last = rows.last().expect("ticks");
    let toward = way(last).unwrap_or(0.0);
    let mut furthest = f64::NEG_INFINITY;
    let stands = rows.iter().rev().take_while(|row| {
        furthest = furthest.max(row.lever * toward);
        way(row) == Some(toward) && off(row) && furthest - row.lever * toward <= STANDS
    });
    let stood = &rows[rows.len() - stands.count()..];
    let allowed = most_current_a(rows);
    let pairs = stood.iter().rev().zip(allowed.iter().rev());
    let mut hits = 0;
    let at_limit = pairs.map(|(row, most)| {
        hits += usize::from(row.current_a.abs() >= AT_LIMIT * most);
        hits
    });
    let longest = (1..).zip(at_limit).filter(|(ticks, hits)| *hits as f64 >= LASTING * *ticks as f64);
    longest.map(|(ticks, _)| ticks).max().unwrap_or(0)
}

/// The most current that the settings allow the winding in each tick, A: by volts, and by the heat of its own current.
fn most_current_a(rows: &[Row]) -> Vec<f64> {
    let Settings { actuator, limits, .. } = Settings::DEFAULT;
    let (most, continuous) = (f64::from(actuator.max_current.0), f64::from(limits.continuous_current.0));
    let mut mean_square = 0.0;
    let by_heat = |used: f64| most - (most - continuous) * ((used - FADE_FROM) / (1.0 - FADE_FROM)).max(0.0);
    rows.iter()
        .map(|row| {
            mean_square += (row.current_a.powi(2) - mean_square) * 1e-3 / f64::from(limits.heat_time_s);
            let allowed = by_heat(mean_square / continuous.powi(2));
            allowed * (f64::from(actuator.winding_resistance_ohm) / row.winding_ohm).min(1.0)
        })
        .collect()
}

/// Heat from which the controller fades the current down, as a part of what the winding takes for ever.
const FADE_FROM: f64 = 0.7;

/// Heat put into the winding, J.
fn heat_j(told: &Told) -> f64 {
    told.rows.iter().map(|row| row.current_a * row.current_a * row.winding_ohm).sum::<f64>() * 1e-3
}

/// A unit that was sound when it was learned, with a fault since; where its lever stands at the start.
fn faulty_unit(fault: &str, seed: u64) -> (Case, Option<f64>) {
    let mut rng = Pcg64Mcg::seed_from_u64(seed);
    let mut case = Case::of(wide_unit(&mut rng));
    let preset = catalogue::find(fault).expect("in the catalogue");
    preset.apply(&mut case, preset.severity.at(rng.random_range(0.15..0.9)));
    let place = match fault {
        "seized-ring" => Some(rng.random_range(0.2..0.8)),
        _ => case.start_opening(None),
    };
    (case, place)
}

/// A motion of a faulty unit, with the rule and without it.
struct Pair {
    ending: Option<Ending>,
    delay_ms: usize,
    heat_j: [f64; 2],
    ticks: [usize; 2],
}

impl Pair {
    fn of(on: &Told, off: &Told, settled: f64) -> Self {
        let ending = on.ending.map(|(why, _)| why);
        Self {
            ending,
            delay_ms: ending.map_or(0, |_| delay_ms(&on.rows, settled)),
            heat_j: [on, off].map(heat_j),
            ticks: [on, off].map(|told| told.rows.len()),
        }
    }
}

#[test]
fn what_blocks_the_lever_ends_the_motion_within_half_a_second() {
    let profile = DEMO.profile().unwrap();
    let (motions, settled) = (motions(&profile), profile.plan.bands.settled);
    for fault in ["blocked-travel", "blocked-opening", "soft-obstruction", "seized-ring"] {
        let pairs: Vec<Pair> = (SEED..SEED + units().min(100))
            .into_par_iter()
            .flat_map_iter(|seed| {
                let (case, place) = faulty_unit(fault, seed);
                let run = move |rule, segments: &_| Unit::new(&case, place, seed).run(segments, rule);
                motions.iter().map(move |(_, to)| Pair::of(&run(Rule::On, to), &run(Rule::Off, to), settled))
            })
            .collect();
        let ended: Vec<&Pair> = pairs.iter().filter(|pair| pair.ending.is_some()).collect();
        let worst = |why| {
            let delays = ended.iter().filter(|pair| pair.ending == Some(why)).map(|pair| pair.delay_ms);
            delays.max().unwrap_or(0)
        };
        let (worst_ms, hot_ms) = (worst(Ending::Obstructed), worst(Ending::HeatLimit));
        let mean =
            |which: usize| ended.iter().map(|pair| pair.heat_j[which]).sum::<f64>() / ended.len() as f64;
        let (with, without) = (mean(0), mean(1));
        let most = ended.iter().map(|pair| pair.heat_j[0]).fold(0.0, f64::max);
        let why = |why| ended.iter().filter(|pair| pair.ending == Some(why)).count();
        println!(
            "{fault}: {} motions, {} ended: {} obstructed, at most {worst_ms} ms after the condition, {} at the heat \
             limit, at most {hot_ms} ms after, {} without motion; into the winding {with:.1} J in the mean and {most:.1} J at most, {without:.1} J \
             in the mean without the rule",
            pairs.len(),
            ended.len(),
            why(Ending::Obstructed),
            why(Ending::HeatLimit),
            why(Ending::NoMotion),
        );
        assert!(worst_ms > 0 && worst_ms <= ALLOWED_MS, "{fault}: {worst_ms} ms");
        assert!(3 * ended.len() >= pairs.len(), "{fault}: only {} of {} ended", ended.len(), pairs.len());
        // Without the rule they go on: the check can fail.
        assert!(without >= 1.5 * with, "{fault}: {without:.1} J without the rule, {with:.1} J with it");
        assert!(ended.iter().all(|pair| pair.ticks[1] >= pair.ticks[0]), "{fault}");
    }
}

#[test]
fn a_sound_unit_of_the_wide_spread_runs_every_motion_to_its_end() {
    let motions = motions(&DEMO.profile().unwrap());
    let runs: Vec<(u64, &str, Told)> = (0..units())
        .into_par_iter()
        .flat_map_iter(|number| {
            let seed = SEED + 1_000_000 + number;
            let config = wide_unit(&mut Pcg64Mcg::seed_from_u64(seed));
            let mut unit = Unit::new(&Case::of(config), None, seed);
            motions.iter().map(move |(name, segments)| {
                (seed, name.as_str(), unit.run(segments, Rule::On).without_rows())
            })
        })
        .collect();
    // Where supply, heat and friction leave a ramp too little push, it is spent and the lever has truly not moved; a hot
    // and tight unit draws more than its winding takes for ever, one motion after the other.
    let is_true = |told: &Told| match told.ending {
        Some((Ending::NoMotion, _)) => told.last_ramp_travel < TRULY_MOVED,
        Some((Ending::HeatLimit, _)) => told.heat_used > FADE_FROM,
        Some((Ending::Obstructed | Ending::SupplyRange | Ending::SensorFault, _)) | None => false,
    };
    let truly = |why| {
        runs.iter()
            .filter(|(_, _, told)| is_true(told) && told.ending.is_some_and(|(seen, _)| seen == why))
            .count()
    };
    let (unmoved, hot) = (truly(Ending::NoMotion), truly(Ending::HeatLimit));
    let wrong: Vec<String> = runs
        .iter()
        .filter(|(_, _, told)| told.ending.is_some() && !is_true(told))
        .map(|(seed, name, told)| {
            format!("{name} of unit {seed}: {:?}, heat {:.2}", told.ending, told.heat_used)
        })
        .collect();
    let fastest = runs.iter().map(|(_, _, told)| told.parting_speed).fold(0.0, f64::max);
    println!(
        "{} motions of sound units: {} false ends, at most {:.2e} of motions; {unmoved} ramps truly spent without motion, {hot} windings truly at their heat limit; \
         fastest lever after a motion {fastest:.1} of its travel a second",
        runs.len(),
        wrong.len(),
        exact_bounds(wrong.len() as u64, runs.len() as u64)[1],
    );
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// True travel during a ramp below which nothing has moved, opening: play of 1.2° is 1.7 %.
const TRULY_MOVED: f64 = 0.035;
