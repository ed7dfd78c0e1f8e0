//! Learns for a gauge study: the same units, set up anew several times, learned several times each.
//!
//! In: numbers of units, set-ups and learns. Out: both stops and the travel in per cent of travel,
//! `[set-up][unit][learn]`. A set-up is another day on the bench: supply, winding temperature and the
//! sensor's noise differ, and the bracket takes up its bolts' play by up to ±0.02 % of travel (invented).

use std::ops::Range;

use firmware_core::calibration::{Setup, Warmth};
use firmware_core::learn::{CheckSet, LearnOrder, LearnOutcome};
use firmware_core::settings::Settings;
use rand::{Rng, RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;
use serde::{Deserialize, Serialize};

use super::case::{LearnRunError, run};
use crate::campaign::part::{Asks, Marks};
use crate::campaign::part_error::PartError;
use crate::campaign::tally::count;
use crate::campaign::{Counted, Next, PartOrder, Progress, SoFar};
use crate::catalogue::{Case, draw_unit};
use plant::world::WorldConfig;

/// Nominal travel, counts.
const TRAVEL_COUNTS: f64 = 10_700.0;
/// How far the bracket may settle, share of travel.
const BRACKET: f64 = 0.0002;

/// Size of a study.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct GaugeStudyPlan {
    /// Units.
    pub units: usize,
    /// Set-ups of each.
    pub setups: usize,
    /// Learns in each set-up.
    pub learns: usize,
    /// Seed.
    pub seed: u64,
}

/// Readings in per cent of travel, `[set-up][unit][learn]`.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct StudyReadings {
    /// Closed stop.
    pub closed: Vec<Vec<Vec<f64>>>,
    /// Open stop.
    pub open: Vec<Vec<Vec<f64>>>,
    /// Travel between them.
    pub travel: Vec<Vec<Vec<f64>>>,
}

/// Why there is no study.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum GaugeStudyError {
    /// The world or the learner failed.
    #[error(transparent)]
    Run(#[from] LearnRunError),
    /// A sound unit was not accepted.
    #[error(
        "unit {unit} in set-up {setup} was not accepted: {outcome}. A study needs sound units; try another \
         seed"
    )]
    NotAccepted {
        /// Which unit.
        unit: usize,
        /// Which set-up.
        setup: usize,
        /// How the learn ended.
        outcome: String,
    },
    /// The file that keeps the part.
    #[error(transparent)]
    Part(#[from] PartError),
}

/// Runs a part of the learns of a study, on the present rayon pool.
///
/// # Errors
/// [`GaugeStudyError`].
pub fn study(
    settings: &Settings,
    plan: GaugeStudyPlan,
    job: &PartOrder<'_>,
    watch: impl FnMut(Progress) -> Next + Send,
) -> Result<SoFar<StudyLearns>, GaugeStudyError> {
    let drawn = draw(plan);
    let learns = drawn.len() as u64;
    let marks = Marks::new(learns)
        .with("units", plan.units)
        .with("set-ups", plan.setups)
        .with("learns of each", plan.learns)
        .with_sum_of("settings", settings)
        .with("seed", plan.seed);
    let some = |learns: Range<u64>| {
        let these = drawn.get(learns.start as usize..learns.end as usize).unwrap_or_default();
        these.iter().map(|drawn| learn(drawn, settings)).collect::<Result<_, _>>().map(StudyLearns)
    };
    count((Asks::Gauge, marks, learns), 1, job, some, watch)
}

/// One learn to be made.
struct DrawnLearn {
    case: Case,
    seed: u64,
    unit: usize,
    setup: usize,
}

/// Every learn of a study, drawn in order.
fn draw(plan: GaugeStudyPlan) -> Vec<DrawnLearn> {
    let mut rng = Pcg64Mcg::seed_from_u64(plan.seed);
    let units: Vec<WorldConfig> = (0..plan.units).map(|_| draw_unit(&mut rng)).collect();
    let mut drawn = Vec::new();
    for setup in 0..plan.setups {
        for (number, unit) in units.iter().enumerate() {
            let case = Case::of(set_up(unit, &mut rng));
            let learns = (0..plan.learns).map(|_| DrawnLearn {
                case: case.clone(),
                seed: rng.random(),
                unit: number,
                setup,
            });
            drawn.extend(learns);
        }
    }
    drawn
}

/// Both stops of every learn, in per cent of travel, in the order of the study.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct StudyLearns(Vec<[f64; 2]>);

impl Counted for StudyLearns {
    fn join(&mut self, later: Self) {
        self.0.extend(later.0);
    }

    fn is_sound(&self) -> bool {
        true
    }
}

impl StudyLearns {
    /// The learns sorted by set-up and unit.
    #[must_use]
    pub fn readings(&self, plan: GaugeStudyPlan) -> StudyReadings {
        let sorted = |value: fn(&[f64; 2]) -> f64| -> Vec<Vec<Vec<f64>>> {
            let by_unit = self.0.chunks(plan.learns.max(1)).map(|learns| learns.iter().map(value).collect());
            let by_unit: Vec<Vec<f64>> = by_unit.collect();
            by_unit.chunks(plan.units.max(1)).map(<[_]>::to_vec).collect()
        };
        StudyReadings {
            closed: sorted(|stops| stops[0]),
            open: sorted(|stops| stops[1]),
            travel: sorted(|stops| (stops[0] - stops[1]).abs()),
        }
    }
}

fn set_up(unit: &WorldConfig, rng: &mut impl Rng) -> WorldConfig {
    let mut unit = unit.clone();
    unit.actuator.bridge.supply_v = rng.random_range(11.5..14.5);
    if let Some(heat) = &mut unit.actuator.motor.heat {
        heat.surroundings_c = rng.random_range(15.0..40.0);
    }
    let position = &mut unit.sensors.position;
    position.counts_at_zero += TRAVEL_COUNTS * rng.random_range(-BRACKET..BRACKET);
    position.noise_counts = rng.random_range(0.8..2.0);
    unit
}

fn learn(drawn: &DrawnLearn, settings: &Settings) -> Result<[f64; 2], GaugeStudyError> {
    let order = LearnOrder::full(Setup::Attached, Warmth::Cold, CheckSet::ALL);
    let at = (drawn.unit, drawn.setup);
    match run(&drawn.case, settings, order, None, drawn.seed)?.outcome {
        LearnOutcome::Accepted(calibration) => Ok([&calibration.closed, &calibration.open]
            .map(|stop| 100.0 * f64::from(stop.zero_push_counts) / TRAVEL_COUNTS)),
        LearnOutcome::Refused(refusal) => Err(not_accepted(at, refusal.to_string())),
        LearnOutcome::NotProven { check, .. } => Err(not_accepted(at, format!("not proven: {check}"))),
    }
}

fn not_accepted((unit, setup): (usize, usize), outcome: String) -> GaugeStudyError {
    GaugeStudyError::NotAccepted { unit, setup, outcome }
}
