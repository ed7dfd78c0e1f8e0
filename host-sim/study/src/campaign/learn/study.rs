//! Learns for a gauge study: the same units, set up anew several times, learned several times each.
//!
//! In: numbers of units, set-ups and learns. Out: both stops and the travel in per cent of travel,
//! `[set-up][unit][learn]`. A set-up is another day on the bench: supply, winding temperature and the
//! sensor's noise differ, and the bracket takes up its bolts' play by up to ±0.02 % of travel (invented).

use firmware_core::calibration::{Setup, Warmth};
use firmware_core::learn::{CheckSet, LearnOrder, LearnOutcome};
use firmware_core::settings::Settings;
use rand::{Rng, RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;

use super::case::{RunError, run};
use crate::catalogue::{Case, draw_unit};
use plant::world::WorldConfig;

/// Nominal travel, counts.
const TRAVEL_COUNTS: f64 = 10_700.0;
/// How far the bracket may settle, share of travel.
const BRACKET: f64 = 0.0002;

/// Size of a study.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
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
    Run(#[from] RunError),
    /// A sound unit was not accepted.
    #[error(
        "unit {unit} in set-up {setup} was not accepted: {outcome}; a study needs sound units, try another seed"
    )]
    NotAccepted {
        /// Which unit.
        unit: usize,
        /// Which set-up.
        setup: usize,
        /// How the learn ended.
        outcome: String,
    },
}

/// Runs the learns of a study.
///
/// # Errors
/// [`GaugeStudyError`].
pub fn study(settings: &Settings, plan: GaugeStudyPlan) -> Result<StudyReadings, GaugeStudyError> {
    let mut rng = Pcg64Mcg::seed_from_u64(plan.seed);
    let units: Vec<WorldConfig> = (0..plan.units).map(|_| draw_unit(&mut rng)).collect();
    let mut readings = StudyReadings::default();
    for setup in 0..plan.setups {
        let mut by_unit = [Vec::new(), Vec::new(), Vec::new()];
        for (number, unit) in units.iter().enumerate() {
            let case = Case::of(set_up(unit, &mut rng));
            let mut learns = [Vec::new(), Vec::new(), Vec::new()];
            for _ in 0..plan.learns {
                let [closed, open] = learn(&case, settings, rng.random(), (number, setup))?;
                learns[0].push(closed);
                learns[1].push(open);
                learns[2].push((closed - open).abs());
            }
            for (all, one) in by_unit.iter_mut().zip(learns) {
                all.push(one);
            }
        }
        let [closed, open, travel] = by_unit;
        readings.closed.push(closed);
        readings.open.push(open);
        readings.travel.push(travel);
    }
    Ok(readings)
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

fn learn(
    case: &Case,
    settings: &Settings,
    seed: u64,
    at: (usize, usize),
) -> Result<[f64; 2], GaugeStudyError> {
    let order = LearnOrder::full(Setup::Attached, Warmth::Cold, CheckSet::ALL);
    match run(case, settings, order, None, seed)?.outcome {
        LearnOutcome::Accepted(calibration) => Ok([&calibration.closed, &calibration.open]
            .map(|stop| 100.0 * f64::from(stop.zero_push_counts) / TRAVEL_COUNTS)),
        LearnOutcome::Refused(refusal) => Err(not_accepted(at, refusal.to_string())),
        LearnOutcome::NotProven { check, .. } => Err(not_accepted(at, format!("not proven: {check}"))),
    }
}

fn not_accepted((unit, setup): (usize, usize), outcome: String) -> GaugeStudyError {
    GaugeStudyError::NotAccepted { unit, setup, outcome }
}
