//! Thousands of runs of one scenario over a spread of units and engines.
//!
//! In: a plan (scenario, settings, spread, seed, number of runs). Out: [`CampaignStats`]. Each run has a
//! generator of its own, made of the seed and its index; runs go in fixed chunks over all cores and are
//! counted in order, so the result has the same bytes whatever the number of threads, and memory does not
//! grow with the number of runs. A checkpoint lets it go on after an interruption.

mod checkpoint;
pub mod guard;
pub mod learn;
mod spread;
mod stats;
mod tally;

pub use checkpoint::CheckpointError;

pub use spread::Spread;
pub use stats::{CampaignStats, FailedRun, MetricSummary, WorstRun};

use std::path::Path;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Mutex, PoisonError};

use firmware_core::settings::Settings;
use rand::{Rng, SeedableRng};
use rand_pcg::Pcg64Mcg;
use rayon::prelude::*;

use crate::metrics::Metrics;
use crate::run::{Record, RunError, RunOutcome, run_in_lanes, run_world};
use crate::scenario::Scenario;
use checkpoint::{Checkpoint, fingerprint};
use plant::check::BadParameter;
use plant::lanes::WIDTH;
use plant::world::WorldConfig;
use tally::Tally;

/// What a campaign runs.
#[derive(Debug, Clone, PartialEq)]
pub struct CampaignPlan {
    /// The scenario.
    pub scenario: Scenario,
    /// The controller's settings.
    pub settings: Settings,
    /// How units and engines differ.
    pub spread: Spread,
    /// Seed of the campaign.
    pub seed: u64,
    /// Number of runs.
    pub runs: u64,
}

/// How far a campaign is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Progress {
    /// Runs done.
    pub done: u64,
    /// Runs wanted.
    pub wanted: u64,
}

/// Whether to go on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Next {
    /// Go on.
    GoOn,
    /// Stop after what is done; a checkpoint keeps it.
    Stop,
}

/// Why a campaign could not be run.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CampaignError {
    /// A parameter out of range.
    #[error(transparent)]
    Parameter(#[from] BadParameter),
    /// The controller's settings.
    #[error("controller settings: {0}")]
    Settings(String),
    /// The checkpoint.
    #[error(transparent)]
    Checkpoint(#[from] CheckpointError),
}

/// Runs in a chunk, the unit of work: as many as go side by side.
const CHUNK: u64 = WIDTH as u64;

/// The world and the noise seed of one run: everything that makes it the run it is.
#[must_use]
pub fn member(plan: &CampaignPlan, run: u64) -> (WorldConfig, u64) {
    // SplitMix64's increment keeps neighbouring indices apart before the generator's own seeding.
    const GOLDEN: u64 = 0x9e37_79b9_7f4a_7c15;
    let mut rng = Pcg64Mcg::seed_from_u64(plan.seed ^ run.wrapping_add(1).wrapping_mul(GOLDEN));
    let world = plan.spread.world(&plan.scenario.world, &mut rng);
    (world, rng.next_u64())
}

/// Runs one member of a campaign again, with a trace.
///
/// # Errors
/// [`RunError`], as the campaign saw it.
pub fn replay(plan: &CampaignPlan, run: u64, record: Record) -> Result<RunOutcome, RunError> {
    let (world, noise_seed) = member(plan, run);
    run_world(&plan.scenario, &world, &plan.settings, noise_seed, record)
}

/// Runs a campaign on the present rayon pool.
///
/// # Errors
/// [`CampaignError`]; a run that fails is no error but counted, with its reason.
pub fn run_campaign(
    plan: &CampaignPlan,
    checkpoint: Option<&Path>,
    watch: impl FnMut(Progress) -> Next + Send,
) -> Result<CampaignStats, CampaignError> {
    plan.scenario.validate()?;
    plan.spread.validate().map_err(|e| e.within("spread"))?;
    plan.settings.validate().map_err(|error| CampaignError::Settings(error.to_string()))?;
    let fingerprint = fingerprint(&plan_text(plan));
    let stored = checkpoint.map(|file| Checkpoint::load(file, &fingerprint)).transpose()?.flatten();
    let kept = stored.unwrap_or(Checkpoint { fingerprint, chunks_done: 0, stats: CampaignStats::default() });
    let chunks = plan.runs.div_ceil(CHUNK);
    let waiting = AtomicU64::new(kept.chunks_done);
    let tally = Mutex::new(Tally::new(kept, (chunks, plan.runs), checkpoint, watch));
    // Every thread takes the chunk that is next, so that none waits for another before the end.
    (0..rayon::current_num_threads()).into_par_iter().for_each(|_| {
        loop {
            let chunk = waiting.fetch_add(1, Ordering::Relaxed);
            if chunk >= chunks {
                break;
            }
            let ended = run_chunk(plan, chunk);
            let mut tally = tally.lock().unwrap_or_else(PoisonError::into_inner);
            if tally.take(chunk, ended) == Next::Stop {
                break;
            }
        }
    });
    Ok(tally.into_inner().unwrap_or_else(PoisonError::into_inner).finish()?)
}

/// One run's index, and its metrics or why it failed.
type EndedRun = (u64, Result<Metrics, String>);

fn run_chunk(plan: &CampaignPlan, chunk: u64) -> Vec<EndedRun> {
    let runs = chunk * CHUNK..((chunk + 1) * CHUNK).min(plan.runs);
    let members: Vec<_> = runs.clone().map(|run| member(plan, run)).collect();
    let abreast = run_in_lanes(&plan.scenario, &members, &plan.settings);
    let ended =
        abreast.into_iter().map(|run| run.map(|outcome| outcome.metrics).map_err(|error| error.to_string()));
    runs.zip(ended).collect()
}

/// Everything that a checkpoint depends on, as text. The number of runs is part of it, because a last
/// chunk may be short.
fn plan_text(plan: &CampaignPlan) -> String {
    format!("{} {plan:?}", env!("CARGO_PKG_VERSION"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scenario::BuiltIn;

    fn plan(runs: u64) -> CampaignPlan {
        let mut scenario = BuiltIn::named("boost-step").unwrap().scenario().unwrap();
        scenario.duration_s = 1.5;
        scenario.warm_up_s = 0.2;
        CampaignPlan { scenario, settings: Settings::default(), spread: Spread::default(), seed: 11, runs }
    }

    fn on_threads(threads: usize, plan: &CampaignPlan) -> CampaignStats {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| run_campaign(plan, None, |_| Next::GoOn).unwrap())
    }

    #[test]
    fn the_number_of_threads_does_not_change_a_byte() {
        let plan = plan(40);
        let (one, three) = (on_threads(1, &plan), on_threads(3, &plan));
        assert_eq!(serde_json::to_string(&one).unwrap(), serde_json::to_string(&three).unwrap());
        assert_eq!((one.runs(), one.failures()), (40, 0), "{:?}", one.failed());
    }

    #[test]
    fn an_interrupted_campaign_goes_on_to_the_same_bytes() {
        let folder = std::env::temp_dir().join(format!("vanebench-campaign-{}", std::process::id()));
        std::fs::create_dir_all(&folder).unwrap();
        let file = folder.join("checkpoint.json");
        let plan = plan(270);
        let whole = on_threads(2, &plan);
        let part = run_campaign(&plan, Some(&file), |_| Next::Stop).unwrap();
        assert_eq!(part.runs(), 256);
        let resumed = run_campaign(&plan, Some(&file), |_| Next::GoOn).unwrap();
        assert_eq!(serde_json::to_string(&resumed).unwrap(), serde_json::to_string(&whole).unwrap());
        let text = std::fs::read_to_string(&file).unwrap();
        let digits = text.match_indices(|c: char| c.is_ascii_digit()).step_by(41);
        for (at, digit) in digits {
            let mut changed = text.clone();
            changed.replace_range(at..=at, if digit == "7" { "3" } else { "7" });
            std::fs::write(&file, changed).unwrap();
            let refusal = run_campaign(&plan, Some(&file), |_| Next::GoOn).unwrap_err();
            assert!(matches!(refusal, CampaignError::Checkpoint(CheckpointError::Changed { .. })), "{at}");
        }
        std::fs::write(&file, &text).unwrap();
        let other = CampaignPlan { seed: 12, ..plan };
        let refusal = run_campaign(&other, Some(&file), |_| Next::GoOn).unwrap_err();
        assert!(matches!(refusal, CampaignError::Checkpoint(CheckpointError::OtherPlan { .. })));
        std::fs::remove_dir_all(&folder).unwrap();
    }

    #[test]
    fn a_checkpoint_in_a_folder_that_is_not_there_is_refused_before_the_first_run() {
        let nowhere = std::env::temp_dir().join("vanebench-no-such-folder/checkpoint.json");
        let refusal = run_campaign(&plan(32), Some(&nowhere), |_| panic!("a run was made")).unwrap_err();
        assert!(refusal.to_string().contains("there is no folder"), "{refusal}");
    }

    #[test]
    fn the_worst_run_can_be_replayed_by_its_index() {
        let plan = plan(32);
        let table = on_threads(2, &plan).table();
        let peak = table.iter().find(|row| row.name == "peak boost").unwrap();
        let replayed = replay(&plan, peak.worst[0].run, Record::EveryTicks(1)).unwrap();
        assert_eq!(replayed.metrics.peak_boost_kpa, peak.worst[0].value);
    }

    #[test]
    fn a_run_that_diverges_is_counted_with_its_reason() {
        let mut plan = plan(3);
        plan.scenario.world.engine.air.exhaust_volume_m3 = 1e-9;
        let stats = on_threads(1, &plan);
        assert_eq!(stats.failures(), 3);
        assert!(!stats.failed()[0].reason.is_empty());
    }
}
