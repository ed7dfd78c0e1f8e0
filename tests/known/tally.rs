//! What a survey came to, in a table.

use std::collections::BTreeMap;
use std::fmt;

use firmware_core::settings::SpringAction;
use study::campaign::learn::exact_bounds;
use vanebench::characterise::{Found, Value};

use crate::bench::{Learned, Met};
use crate::truth::Truth;

/// Need up to which time and heat are held to the tighter bounds, A.
const SMALL_NEED_A: f64 = 1.0;

/// What is meant to hold everywhere: current over its cap, as a share of it; speed at a stop, travel/s; the winding's rise
/// below and above that need, K. The time is meant for 95 of 100, s.
const MEANT_OVER_CAP: f64 = 0.1;
const MEANT_STOP_SPEED: f64 = 0.4;
const MEANT_RISE_K: [f64; 2] = [15.0, 40.0];
const MEANT_SECONDS: f64 = 150.0;

/// Errors of one quantity.
#[derive(Debug, Default)]
struct Errors {
    /// Seed, error, and whether the claimed interval holds the truth.
    all: Vec<(u64, f64, bool)>,
}

impl Errors {
    fn add(&mut self, seed: u64, found: Value, truth: f64, scale: f64) {
        let error = found.value - truth;
        self.all.push((seed, error / scale, error.abs() <= found.uncertainty));
    }

    fn rms(&self) -> f64 {
        (self.all.iter().map(|(_, error, _)| error * error).sum::<f64>() / self.all.len().max(1) as f64)
            .sqrt()
    }
}

/// The whole survey.
#[derive(Debug, Default)]
pub struct Tally {
    plants: u64,
    finished: u64,
    refused: BTreeMap<String, Vec<u64>>,
    direction_wrong: Vec<u64>,
    spring_wrong: Vec<u64>,
    spring_missed: Vec<u64>,
    unmeasured: u64,
    learns: BTreeMap<String, Vec<u64>>,
    /// Each unit with current to spare that was refused: seed, why, what was found and what is true.
    strong_refused: Vec<String>,
    strong: u64,
    strong_sound: u64,
    weak_sound: u64,
    errors: BTreeMap<&'static str, Errors>,
    over_cap: Vec<(f64, u64)>,
    stop_speed: Vec<(f64, u64)>,
    rise_small: Vec<(f64, u64)>,
    rise_large: Vec<(f64, u64)>,
    seconds_small: Vec<(f64, u64)>,
    seconds_large: Vec<(f64, u64)>,
}

impl Tally {
    pub fn of(met: &[(u64, Met)]) -> Self {
        let mut tally = Self { plants: met.len() as u64, ..Self::default() };
        for (seed, met) in met {
            tally.over_cap.push((met.over_cap, *seed));
            tally.stop_speed.push((met.stop_speed, *seed));
            let (rise, seconds) = if met.need_a < SMALL_NEED_A {
                (&mut tally.rise_small, &mut tally.seconds_small)
            } else {
                (&mut tally.rise_large, &mut tally.seconds_large)
            };
            rise.push((met.rise_k, *seed));
            match &met.found {
                Ok(found) => {
                    seconds.push((met.seconds, *seed));
                    tally.add_learn(*seed, met);
                    tally.add(*seed, found, &met.truth);
                }
                Err(words) => tally.refused.entry(cause(words)).or_default().push(*seed),
            }
        }
        tally
    }

    fn add(&mut self, seed: u64, found: &Found, truth: &Truth) {
        self.finished += 1;
        if found.counts_direction != truth.direction {
            self.direction_wrong.push(seed);
        }
        match (truth.spring, found.spring) {
            (SpringAction::Opens | SpringAction::Closes, SpringAction::None) => self.spring_missed.push(seed),
            (real, said) if real != said => self.spring_wrong.push(seed),
            _ => {}
        }
        let mut error = |what, found, truth, scale| {
            self.errors.entry(what).or_default().add(seed, found, truth, scale);
        };
        error("resistance", found.resistance_ohm, truth.ohm, truth.ohm);
        error("friction", found.friction_a, truth.friction_a, truth.friction_a);
        if truth.spring != SpringAction::None {
            let strongest = truth.spring_a[1];
            error("spring, least", found.spring_a[0], truth.spring_a[0], strongest);
            error("spring, most", found.spring_a[1], strongest, strongest);
        }
        error("open stop", found.stops[0], truth.stops[0], truth.span);
        error("closed stop", found.stops[1], truth.stops[1], truth.span);
        match found.back_emf {
            Some(value) => error("back-EMF", value, truth.back_emf, truth.back_emf),
            None => self.unmeasured += 1,
        }
    }

    fn add_learn(&mut self, seed: u64, met: &Met) {
        let is_sound = met.learned == Some(Learned::Sound);
        self.strong += u64::from(met.is_strong);
        self.strong_sound += u64::from(met.is_strong && is_sound);
        self.weak_sound += u64::from(!met.is_strong && is_sound);
        if let Some(Learned::Refused(words) | Learned::NoProfile(words)) = &met.learned {
            let name = words.split([' ', '{', '(']).next().unwrap_or_default();
            let strength = if met.is_strong { "strong" } else { "weak" };
            self.learns.entry(format!("{strength}: {name}")).or_default().push(seed);
            if let (true, Ok(found)) = (met.is_strong, &met.found) {
                let truth = &met.truth;
                self.strong_refused.push(format!("{seed}: {words}\n    {truth:?}\n    {found:?}"));
            }
        }
    }

    pub fn finished(&self) -> u64 {
        self.finished
    }

    pub fn wrong_signs(&self) -> usize {
        self.direction_wrong.len() + self.spring_wrong.len()
    }
}

/// The words of a refusal without its numbers.
fn cause(words: &str) -> String {
    let plain: String = words.chars().filter(|letter| !letter.is_ascii_digit()).collect();
    plain.split(". ").next().unwrap_or_default().chars().take(70).collect()
}

fn counted(f: &mut fmt::Formatter<'_>, what: &str, count: u64, of: u64) -> fmt::Result {
    let [low, high] = exact_bounds(count, of).map(|bound| 100.0 * bound);
    writeln!(f, "{what:<34}{count:>6} of {of}, {low:.2} to {high:.2} %")
}

fn spread(f: &mut fmt::Formatter<'_>, what: &str, values: &[(f64, u64)], meant: f64) -> fmt::Result {
    let mut sorted = values.to_vec();
    sorted.sort_by(|one, other| one.0.total_cmp(&other.0));
    let at = |share: f64| {
        let place = (share * (sorted.len().saturating_sub(1)) as f64).round() as usize;
        sorted.get(place).copied().unwrap_or((f64::NAN, 0))
    };
    let (median, high, (worst, seed)) = (at(0.5).0, at(0.95).0, at(1.0));
    let over = sorted.iter().filter(|(value, _)| *value > meant).count();
    writeln!(
        f,
        "{what:<34}median {median:.3}, 95 of 100 {high:.3}, worst {worst:.3} (seed {seed}), {over} over {meant}"
    )
}

impl fmt::Display for Tally {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        counted(f, "finished", self.finished, self.plants)?;
        for (cause, seeds) in &self.refused {
            let some: Vec<String> = seeds.iter().take(8).map(u64::to_string).collect();
            writeln!(f, "  {:>5} {cause} (seeds {} …)", seeds.len(), some.join(", "))?;
        }
        counted(f, "direction wrong", self.direction_wrong.len() as u64, self.finished)?;
        counted(f, "spring the wrong way", self.spring_wrong.len() as u64, self.finished)?;
        counted(f, "spring there, said to be none", self.spring_missed.len() as u64, self.finished)?;
        if self.wrong_signs() > 0 {
            writeln!(f, "  seeds {:?} {:?}", self.direction_wrong, self.spring_wrong)?;
        }
        counted(f, "back-EMF not measured", self.unmeasured, self.finished)?;
        for (what, errors) in &self.errors {
            let held = errors.all.iter().filter(|(.., held)| *held).count();
            let mean = errors.all.iter().map(|(_, error, _)| error).sum::<f64>() / errors.all.len() as f64;
            let worst = errors.all.iter().max_by(|one, other| one.1.abs().total_cmp(&other.1.abs()));
            let (seed, worst, _) = worst.copied().unwrap_or_default();
            writeln!(
                f,
                "{what:<16} RMS {:>7.3} %  mean {:>7.3} %  worst {:>8.2} % (seed {seed})  holds the truth {:.1} % of {}",
                100.0 * errors.rms(),
                100.0 * mean,
                100.0 * worst,
                100.0 * held as f64 / errors.all.len() as f64,
                errors.all.len()
            )?;
        }
        let weak = self.finished - self.strong;
        counted(f, "learned, current to spare", self.strong_sound, self.strong)?;
        counted(f, "learned, too little to spare", self.weak_sound, weak)?;
        for (cause, seeds) in &self.learns {
            let some: Vec<String> = seeds.iter().take(8).map(u64::to_string).collect();
            writeln!(f, "  {:>5} {cause} (seeds {} …)", seeds.len(), some.join(", "))?;
        }
        for unit in &self.strong_refused {
            writeln!(f, "  {unit}")?;
        }
        spread(f, "current over its cap, share", &self.over_cap, MEANT_OVER_CAP)?;
        spread(f, "speed at a stop, travel/s", &self.stop_speed, MEANT_STOP_SPEED)?;
        spread(f, "winding's rise, need < 1 A, K", &self.rise_small, MEANT_RISE_K[0])?;
        spread(f, "winding's rise, need ≥ 1 A, K", &self.rise_large, MEANT_RISE_K[1])?;
        spread(f, "board's time, need < 1 A, s", &self.seconds_small, MEANT_SECONDS)?;
        spread(f, "board's time, need ≥ 1 A, s", &self.seconds_large, MEANT_SECONDS)
    }
}
