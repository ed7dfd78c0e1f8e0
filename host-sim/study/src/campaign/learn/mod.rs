//! Does end-stop learning ever believe a wrong stop? Every fault of the catalogue, many times over.
//!
//! In: how many runs, a seed, perhaps one fault. Out: per fault what was accepted, refused and why, and what
//! of that was wrong by the truth of the world. A run depends on seed, fault and its own number only, so
//! the tally is the same on any number of threads.

mod ablation;
mod bound;
mod case;
mod curve;
mod judge;
mod study;
mod summary;
mod tally;
mod two_faults;

pub use ablation::{SignRow, ablation};
pub use bound::{Rate, exact_bounds};
pub use case::{LearnRun, LearnRunError, relearn, run};
pub use curve::{Curves, ERROR_STEP_ENDS, ERROR_STEPS, Endings, SEVERITY_STEPS};
pub(crate) use judge::intended_stops;
pub use judge::{JudgedLearn, LearnVerdict, TOLERANCE};
use judge::{judge, met_stops};
pub use study::{GaugeStudyError, GaugeStudyPlan, StudyLearns, StudyReadings, study};
pub use summary::{LearnCampaign, LearnExtras};
pub use tally::{FaultTally, LearnCounts, Percentiles};
pub use two_faults::{PairTally, two_faults};

use std::ops::Range;

use firmware_core::calibration::{Setup, Warmth};
use firmware_core::learn::LearnOrder;
use firmware_core::settings::Settings;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;

use super::part::{Asks, Marks};
use super::part_error::PartError;
use super::tally::count;
use super::{Next, PartOrder, Progress, SoFar};
use crate::catalogue::{Case, Preset, draw_of, travel_counts};
use plant::world::WorldConfig;

/// Learns in a chunk, the unit of work.
const CHUNK: u64 = 16;
/// Winding surroundings from which a unit counts as hot, °C.
const HOT_FROM_C: f64 = 50.0;

/// What a learn campaign runs.
#[derive(Debug, Clone)]
pub struct LearnRuns {
    /// Faults, in the order of the result.
    pub presets: Vec<&'static Preset>,
    /// The nominal unit of the kind that is learned.
    pub nominal: WorldConfig,
    /// The controller's settings.
    pub settings: Settings,
    /// Learns of each fault.
    pub runs: u64,
    /// Seed of the campaign.
    pub seed: u64,
}

/// Why a learn campaign could not be run.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum LearnCampaignError {
    /// One learn failed.
    #[error("{fault}, learn {number}: {error}")]
    Learn {
        /// Name of the fault.
        fault: &'static str,
        /// Number of the learn.
        number: u64,
        /// Why.
        error: LearnRunError,
    },
    /// A unit with two faults failed.
    #[error("{} and {}, pair {number}: {error}", faults[0], faults[1])]
    Pair {
        /// Names of its faults.
        faults: [&'static str; 2],
        /// Number of the pair.
        number: u64,
        /// Why.
        error: LearnRunError,
    },
    /// The file that keeps the part.
    #[error(transparent)]
    Part(#[from] PartError),
}

/// Runs a part of a learn campaign, every fault so many times, on the present rayon pool.
///
/// # Errors
/// [`LearnCampaignError`] when a world cannot be made or runs away, or the file cannot be used.
pub fn campaign(
    plan: &LearnRuns,
    job: &PartOrder<'_>,
    watch: impl FnMut(Progress) -> Next + Send,
) -> Result<SoFar<LearnCounts>, LearnCampaignError> {
    let learns = plan.learns();
    let names: Vec<&str> = plan.presets.iter().map(|preset| preset.name).collect();
    let marks = Marks::new(learns)
        .with("faults", names.join(", "))
        .with_sum_of("unit", &plan.nominal)
        .with_sum_of("settings", &plan.settings)
        .with("seed", plan.seed);
    count((Asks::Learn, marks, learns), CHUNK, job, |learns| some(plan, learns), watch)
}

impl LearnRuns {
    /// Learns in all.
    fn learns(&self) -> u64 {
        self.runs * self.presets.len() as u64
    }

    /// One learn by its number, judged.
    fn learn(&self, learn: u64) -> Result<(&'static Preset, JudgedLearn), LearnCampaignError> {
        let number = learn % self.runs;
        let preset = self.presets[(learn / self.runs) as usize];
        one(preset, &self.nominal, &self.settings, self.seed, number)
            .map(|judged| (preset, judged))
            .map_err(|error| LearnCampaignError::Learn { fault: preset.name, number, error })
    }
}

fn some(plan: &LearnRuns, learns: Range<u64>) -> Result<LearnCounts, LearnCampaignError> {
    let mut counts = LearnCounts::default();
    for learn in learns {
        let (preset, judged) = plan.learn(learn)?;
        counts.add(preset, judged);
    }
    Ok(counts)
}

/// One run: a healthy unit is drawn, the fault put in at a drawn severity, and the learn judged by truth.
///
/// # Errors
/// [`LearnRunError`] when the world cannot be made or runs away.
pub fn one(
    preset: &Preset,
    nominal: &WorldConfig,
    settings: &Settings,
    seed: u64,
    number: u64,
) -> Result<JudgedLearn, LearnRunError> {
    let rng = Pcg64Mcg::seed_from_u64(mix(seed, preset.name, number));
    learn_of(&[preset], Scrutiny::WhereSignalsAreSound, (nominal, settings), rng)
}

/// How closely a person beside the unit looks before confirming it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Scrutiny {
    /// Only what leaves every signal sound: what signals can show alone, they must show alone.
    WhereSignalsAreSound,
    /// Every check, carefully.
    Everywhere,
}

/// A healthy unit is drawn, all faults put in at drawn severities, and the learn judged by truth. With several, any
/// reason fits, and the severity told is the last one's.
fn learn_of(
    faults: &[&Preset],
    scrutiny: Scrutiny,
    (nominal, settings): (&WorldConfig, &Settings),
    mut rng: Pcg64Mcg,
) -> Result<JudgedLearn, LearnRunError> {
    let healthy = draw_of(nominal, &mut rng);
    let mut case = Case::of_kind(nominal, healthy.clone());
    let mut severity = 0.0;
    for preset in faults {
        severity = preset.severity.at(rng.random::<f64>());
        preset.apply(&mut case, severity);
        match scrutiny {
            Scrutiny::WhereSignalsAreSound => {}
            Scrutiny::Everywhere => case.failed_checks.extend(preset.shown(severity)),
        }
    }
    let moved_by_hand = if rng.random::<bool>() { Some(rng.random::<f64>()) } else { None };
    let hot = healthy.actuator.motor.heat.is_some_and(|heat| heat.surroundings_c > HOT_FROM_C);
    let checked = case.checks_passed();
    let warmth = if hot { Warmth::Hot } else { Warmth::Cold };
    let order = LearnOrder::full(Setup::Attached, warmth, checked);
    let start = case.start_opening(moved_by_hand);
    let learned = run(&case, settings, order, start, rng.random())?;
    let intended = intended_stops(&healthy, &case, learned.ticks)?;
    let met = met_stops(&case, learned.ticks)?;
    Ok(judge(faults, severity, checked, &learned, (intended, met), travel_counts(nominal)))
}

/// One seed per campaign seed, fault and run (FNV-1a over the name, then splitmix64).
fn mix(seed: u64, name: &str, number: u64) -> u64 {
    let mut hash = 0xcbf2_9ce4_8422_2325_u64;
    for byte in name.bytes() {
        hash = (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3);
    }
    let mut z = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ hash ^ number.wrapping_mul(0xD1B5_4A32_D192_ED03);
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

#[cfg(test)]
mod tests {
    use firmware_core::learn::LearnOutcome;
    use rayon::iter::{IntoParallelIterator, ParallelIterator};

    use super::*;
    use crate::catalogue::{self, Tag};

    /// What a learn of the nominal unit makes of a fault at its typical severity.
    fn typical(preset: &Preset, seed: u64) -> LearnOutcome {
        let case = preset.unit(None);
        let order = LearnOrder::full(Setup::Attached, Warmth::Cold, case.checks_passed());
        run(&case, &Settings::default(), order, case.start_opening(None), seed).unwrap().outcome
    }

    #[test]
    fn at_its_typical_severity_each_fault_ends_as_it_must() {
        let runs: Vec<(&Preset, u64)> =
            catalogue::all().flat_map(|preset| (1..=3).map(move |seed| (preset, seed))).collect();
        let odd: Vec<String> = runs
            .into_par_iter()
            .filter_map(|(preset, seed)| {
                let outcome = typical(preset, seed);
                let is_right = match (preset.tag, &outcome) {
                    (Tag::MustReject, LearnOutcome::Refused(refusal)) => {
                        preset.reasons.contains(&refusal.name())
                    }
                    (Tag::MustReject, _) => false,
                    (Tag::MustAccept, outcome) => matches!(outcome, LearnOutcome::Accepted(_)),
                    (Tag::UndecidableWithout(_), outcome) => !matches!(outcome, LearnOutcome::Accepted(_)),
                };
                (!is_right).then(|| format!("{}, seed {seed}: {outcome:?}", preset.name))
            })
            .collect();
        assert!(odd.is_empty(), "{}", odd.join("\n"));
    }
}
