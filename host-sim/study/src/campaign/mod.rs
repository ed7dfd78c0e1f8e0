//! Thousands of runs of one scenario over a spread of units and engines.
//!
//! In: a plan (scenario, settings, spread, seed, number of runs), and which part of it to make. Out:
//! [`CampaignStats`]. Each run has a generator of its own, made of the seed and its index; runs go in chunks over
//! all cores and are counted in order, so the result has the same bytes whatever the number of threads and parts,
//! and memory does not grow with the number of runs. A file lets a part go on after an interruption.

mod each;
pub mod guard;
pub mod learn;
mod merge;
mod metric_stats;
mod part;
mod part_error;
mod share;
mod spread;
mod stats;
mod tally;

pub use each::{KeepRuns, KeptRun, MOST_KEPT};
pub use merge::{Merged, merge};
pub use metric_stats::{MetricSummary, StandOut};
pub use part::{Asks, asked_by};
pub use part_error::PartError;
pub use share::Share;
pub use spread::Spread;
pub use stats::{CampaignStats, FailedRun, MetricSpread};
pub use tally::{Counted, PartOrder, SoFar};

use std::ops::Range;

use firmware_core::settings::Settings;
use rand::{Rng, SeedableRng};
use rand_pcg::Pcg64Mcg;

use crate::run::{Member, Record, RunError, RunOutcome, run_in_lanes, run_world};
use crate::scenario::Scenario;
use part::Marks;
use plant::check::BadParameter;
use plant::lanes::WIDTH;
use plant::world::WorldConfig;
use tally::count;

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
    /// Whether every run is kept beside the statistics.
    pub keep: KeepRuns,
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
    /// Stop after what is done; the file keeps it.
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
    /// The file that keeps the part.
    #[error(transparent)]
    Part(#[from] PartError),
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

/// Runs a part of a campaign on the present rayon pool.
///
/// # Errors
/// [`CampaignError`]; a run that fails is no error but counted, with its reason.
pub fn run_campaign(
    plan: &CampaignPlan,
    job: &PartOrder<'_>,
    watch: impl FnMut(Progress) -> Next + Send,
) -> Result<SoFar<CampaignStats>, CampaignError> {
    plan.scenario.validate()?;
    plan.spread.validate().map_err(|e| e.within("spread"))?;
    plan.settings.validate().map_err(|error| CampaignError::Settings(error.to_string()))?;
    let marks = Marks::new(plan.runs)
        .with("scenario", &plan.scenario.name)
        .with_sum_of("content of the scenario", &plan.scenario)
        .with_sum_of("sum of the settings", &plan.settings)
        .with_sum_of("sum of the spread", &plan.spread)
        .with("seed", plan.seed)
        .with("runs kept", plan.keep);
    count((Asks::Scenario, marks, plan.runs), CHUNK, job, |runs| Ok(run_chunk(plan, runs)), watch)
}

fn run_chunk(plan: &CampaignPlan, runs: Range<u64>) -> CampaignStats {
    let member = |run| {
        let (world, seed) = member(plan, run);
        Member::under_its_law(world, seed, plan.settings)
    };
    let members: Vec<Member> = runs.clone().map(member).collect();
    let mut stats = CampaignStats::keeping(plan.keep);
    for (run, ended) in runs.zip(run_in_lanes(&plan.scenario, &members)) {
        match ended {
            Ok(outcome) => stats.add(run, &outcome.metrics),
            Err(error) => stats.add_failure(run, error.to_string()),
        }
    }
    stats
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;
    use crate::scenario::BuiltIn;

    fn plan(runs: u64) -> CampaignPlan {
        let mut scenario = BuiltIn::named("boost-step").unwrap().scenario().unwrap();
        scenario.duration_s = 1.5;
        scenario.warm_up_s = 0.2;
        let (settings, spread) = (Settings::default(), Spread::default());
        CampaignPlan { scenario, settings, spread, seed: 11, runs, keep: KeepRuns::None }
    }

    fn on_threads(threads: usize, plan: &CampaignPlan) -> CampaignStats {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| run_campaign(plan, &PartOrder::WHOLE, |_| Next::GoOn).unwrap().counted)
    }

    #[test]
    fn the_number_of_threads_does_not_change_a_byte() {
        let plan = plan(40);
        let (one, three) = (on_threads(1, &plan), on_threads(3, &plan));
        assert_eq!(serde_json::to_string(&one).unwrap(), serde_json::to_string(&three).unwrap());
        assert_eq!((one.runs(), one.failures()), (40, 0), "{:?}", one.failed());
    }

    fn kept_in(file: &Path) -> PartOrder<'_> {
        PartOrder { file: Some(file), ..PartOrder::WHOLE }
    }

    #[test]
    fn an_interrupted_campaign_goes_on_to_the_same_bytes() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("kept.json");
        let job = kept_in(&file);
        let plan = plan(270);
        let whole = on_threads(2, &plan);
        let part = run_campaign(&plan, &job, |_| Next::Stop).unwrap();
        assert_eq!(part.counted.runs(), 16);
        let resumed = run_campaign(&plan, &job, |_| Next::GoOn).unwrap().counted;
        assert_eq!(serde_json::to_string(&resumed).unwrap(), serde_json::to_string(&whole).unwrap());
        let text = std::fs::read_to_string(&file).unwrap();
        let digits = text.match_indices(|c: char| c.is_ascii_digit()).step_by(41);
        for (at, digit) in digits {
            let mut changed = text.clone();
            changed.replace_range(at..=at, if digit == "7" { "3" } else { "7" });
            std::fs::write(&file, changed).unwrap();
            let refusal = run_campaign(&plan, &job, |_| Next::GoOn).unwrap_err();
            assert!(matches!(refusal, CampaignError::Part(PartError::Changed { .. })), "{at}");
        }
    }

    #[test]
    fn what_differs_from_the_campaign_that_was_kept_is_named() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("kept.json");
        let job = kept_in(&file);
        let plan = plan(1);
        run_campaign(&plan, &job, |_| Next::GoOn).unwrap();
        let mut others: [_; 6] = std::array::from_fn(|_| plan.clone());
        others[0].seed = 12;
        others[1].runs = 2;
        others[2].spread.supply_v = spread::Distribution::Fixed(12.0);
        others[3].settings.guard.limits.boost.0 += 1.0;
        others[4].scenario.duration_s += 0.1;
        others[5].keep = KeepRuns::Each;
        let named = ["seed", "number of runs", "spread", "settings", "scenario", "runs kept"];
        for (other, named) in others.iter().zip(named) {
            let refusal = run_campaign(other, &job, |_| Next::GoOn).unwrap_err();
            assert!(refusal.to_string().contains(named), "{named}: {refusal}");
        }
        let share = PartOrder { share: "1/2".parse().unwrap(), ..job };
        let refusal = run_campaign(&plan, &share, |_| Next::GoOn).unwrap_err().to_string();
        assert!(refusal.contains("part is 1/1 in the file and 1/2 here"), "{refusal}");
    }

    #[test]
    fn a_part_in_a_folder_that_is_not_there_is_refused_before_the_first_run() {
        let nowhere = std::env::temp_dir().join("vanebench-no-such-folder/kept.json");
        let refusal = run_campaign(&plan(32), &kept_in(&nowhere), |_| panic!("a run was made")).unwrap_err();
        assert!(refusal.to_string().contains("there is no folder"), "{refusal}");
    }

    #[test]
    fn each_run_is_kept_in_order_on_any_number_of_threads() {
        assert_eq!(on_threads(2, &plan(8)).each(), None);
        let plan = CampaignPlan { keep: KeepRuns::Each, ..plan(40) };
        let (one, three) = (on_threads(1, &plan), on_threads(3, &plan));
        let each = one.each().unwrap();
        assert_eq!((each.len(), Some(each)), (40, three.each()));
        let replayed = replay(&plan, 23, Record::EveryTicks(1)).unwrap();
        assert_eq!(each[23], KeptRun::of(&replayed.metrics));
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
