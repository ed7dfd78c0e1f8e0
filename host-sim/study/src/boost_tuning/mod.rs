//! The boost law's gains and map, searched over scenarios and engines that differ, judged on engines that the search
//! never saw.
//!
//! In: scenarios, old settings, a spread, seeds, limits. Out: new settings beside the old ones on held-out engines, and
//! whether they are better there. Every scenario counts alike: by its mean boost error over that of the old settings.
//! Held-out engines come from another seed of the same spread; whether the new settings are better is asked of the
//! paired differences, engine by engine.

mod judged;
mod knob;
mod trade_off;

pub use judged::{LimitedMean, TuningLimits, TuningMeans};
pub use trade_off::{TradeOff, trade_off};

use firmware_core::settings::Settings;
use rayon::prelude::*;
use statrs::distribution::{ContinuousCDF, StudentsT};

use crate::campaign::{CampaignPlan, KeepRuns, Next, Progress, Spread, member};
use crate::run::{Member, run_in_lanes};
use crate::scenario::Scenario;
use crate::search::{MinimumSearch, SearchStart};
use judged::JudgedRun;
use knob::{knobs, turned};
use plant::lanes::WIDTH;

/// What is tuned, on what, how hard.
#[derive(Debug, Clone, PartialEq)]
pub struct BoostTuningPlan {
    /// Scenarios, each of which counts alike.
    pub scenarios: Vec<Scenario>,
    /// Old settings.
    pub settings: Settings,
    /// How engines differ.
    pub spread: Spread,
    /// Engines of each scenario to tune on, and as many to judge on.
    pub engines: u64,
    /// Seed of the engines that are tuned on, and of the search.
    pub seed: u64,
    /// Seed of the engines that are judged on.
    pub held_out_seed: u64,
    /// Generations of the search.
    pub generations: usize,
    /// What is allowed.
    pub limits: TuningLimits,
}

/// Old and new settings, on the engines that are tuned on and on those that are not.
const SIDES: u64 = 4;

/// Settings of a generation.
const POPULATION: usize = WIDTH;

impl BoostTuningPlan {
    /// Runs that the search and the judging take.
    #[must_use]
    pub fn runs(&self) -> u64 {
        let each = self.scenarios.len() as u64 * self.engines;
        each * ((self.generations * POPULATION) as u64 + SIDES)
    }
}

/// Old and new settings on the same engines of one scenario.
#[derive(Debug, Clone, PartialEq, serde::Serialize, schemars::JsonSchema)]
pub struct TunedScenario {
    /// Its name.
    pub scenario: String,
    /// Under the old settings.
    pub old: TuningMeans,
    /// Under the new ones.
    pub new: TuningMeans,
}

/// What the held-out engines say.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, schemars::JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum TuningEnd {
    /// Less boost error on held-out engines, within every limit.
    Better,
    /// No less boost error on held-out engines than chance could give.
    NoBetter,
    /// Less boost error, but a limit is exceeded on held-out engines.
    LimitExceeded,
    /// Nothing that was tried keeps the limits on the engines that were tuned on.
    NothingWithinLimits,
}

/// What was found.
#[derive(Debug, Clone, PartialEq)]
pub struct BoostTuning {
    /// New settings.
    pub settings: Settings,
    /// On the engines that were tuned on.
    pub tuned_on: Vec<TunedScenario>,
    /// On those that were not.
    pub held_out: Vec<TunedScenario>,
    /// Mean of the relative change of boost error on held-out engines, paired, and half of its 95 % interval.
    pub change: PairedChange,
    /// What the held-out engines say.
    pub end: TuningEnd,
}

/// A mean of paired differences.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, schemars::JsonSchema)]
pub struct PairedChange {
    /// Mean of new over old less 1.
    pub mean: f64,
    /// Half of its 95 % interval (Student); infinite with fewer than two pairs.
    pub half_width: f64,
}

impl PairedChange {
    /// Of such differences.
    fn of(differences: &[f64]) -> Self {
        let count = differences.len() as f64;
        let mean = differences.iter().sum::<f64>() / count;
        let square = |d: &f64| (d - mean) * (d - mean);
        let variance = differences.iter().map(square).sum::<f64>() / (count - 1.0);
        let half_width = StudentsT::new(0.0, 1.0, count - 1.0)
            .map_or(f64::INFINITY, |student| student.inverse_cdf(0.975) * libm::sqrt(variance / count));
        Self { mean, half_width }
    }

    /// Whether new is less than old beyond chance.
    fn is_less(self) -> bool {
        self.mean + self.half_width < 0.0
    }
}

/// Searches and judges, on the present rayon pool; nothing when it was stopped.
pub fn tune_boost(plan: &BoostTuningPlan, mut watch: impl FnMut(Progress) -> Next) -> Option<BoostTuning> {
    let mut bench = TuningBench { done: 0, plan, watch: &mut watch };
    let tuning = bench.engines(plan.seed);
    let old_runs = bench.judge(&tuning, &[plan.settings])?.pop()?;
    let old_means: Vec<TuningMeans> = old_runs.iter().map(|runs| TuningMeans::of(runs)).collect();
    let (cost, settings) = bench.search(&tuning, &old_means)?;
    let new_runs = bench.judge(&tuning, &[settings])?.pop()?;
    let held = bench.engines(plan.held_out_seed);
    let old_held = bench.judge(&held, &[plan.settings])?.pop()?;
    let new_held = bench.judge(&held, &[settings])?.pop()?;
    let change = paired(&old_held, &new_held);
    let held_out = beside(plan, &old_held, &new_held);
    let end = if cost >= EXCEEDED {
        TuningEnd::NothingWithinLimits
    } else if !change.is_less() {
        TuningEnd::NoBetter
    } else if held_out.iter().any(|side| side.new.excess(&side.old, &plan.limits) > HELD_OUT_SLACK) {
        TuningEnd::LimitExceeded
    } else {
        TuningEnd::Better
    };
    Some(BoostTuning { settings, tuned_on: beside(plan, &old_runs, &new_runs), held_out, change, end })
}

/// Cost from which a limit is exceeded; boost error over that of the old settings stays far below.
const EXCEEDED: f64 = 1e3;
/// Excess on held-out engines that is put down to the draw of the engines, share of a limit.
const HELD_OUT_SLACK: f64 = 0.05;

/// Runs of one kind of settings: for each scenario, engine by engine.
type JudgedRuns = Vec<Vec<JudgedRun>>;

fn beside(plan: &BoostTuningPlan, old: &JudgedRuns, new: &JudgedRuns) -> Vec<TunedScenario> {
    let both = plan.scenarios.iter().zip(old.iter().zip(new));
    both.map(|(scenario, (old, new))| TunedScenario {
        scenario: scenario.name.clone(),
        old: TuningMeans::of(old),
        new: TuningMeans::of(new),
    })
    .collect()
}

/// One difference for each engine, its mean over the scenarios: an engine is the same in each of them, so that its runs
/// do not count as draws of their own. Engines with a run that could not be finished are left out.
fn paired(old: &JudgedRuns, new: &JudgedRuns) -> PairedChange {
    let change = |(old, new): (&JudgedRun, &JudgedRun)| {
        Some(new.metrics?.boost_iae_kpa_s / old.metrics?.boost_iae_kpa_s - 1.0)
    };
    let of_engine = |engine: usize| -> Option<f64> {
        let both = old.iter().zip(new).map(|(old, new)| old.get(engine).zip(new.get(engine)));
        let changes: Option<Vec<f64>> = both.map(|pair| pair.and_then(change)).collect();
        changes.map(|changes| changes.iter().sum::<f64>() / changes.len().max(1) as f64)
    };
    let engines = old.first().map_or(0, Vec::len);
    PairedChange::of(&(0..engines).filter_map(of_engine).collect::<Vec<_>>())
}

/// What one search runs on.
struct TuningBench<'a> {
    done: u64,
    plan: &'a BoostTuningPlan,
    watch: &'a mut dyn FnMut(Progress) -> Next,
}

/// The engines of one seed, for each scenario.
type Engines = Vec<Vec<Member>>;

impl TuningBench<'_> {
    fn engines(&self, seed: u64) -> Engines {
        let of = |scenario: &Scenario| {
            let plan = CampaignPlan {
                scenario: scenario.clone(),
                settings: self.plan.settings,
                spread: self.plan.spread,
                seed,
                runs: self.plan.engines,
                keep: KeepRuns::None,
            };
            let one = |run| {
                let (world, noise_seed) = member(&plan, run);
                Member::under_its_law(world, noise_seed, plan.settings)
            };
            (0..self.plan.engines).map(one).collect()
        };
        self.plan.scenarios.iter().map(of).collect()
    }

    /// Every kind of settings on every engine; nothing when it was stopped.
    fn judge(&mut self, engines: &Engines, kinds: &[Settings]) -> Option<Vec<JudgedRuns>> {
        let mut judged = vec![JudgedRuns::new(); kinds.len()];
        for (scenario, engines) in self.plan.scenarios.iter().zip(engines) {
            let members: Vec<Member> = kinds
                .iter()
                .flat_map(|settings| {
                    engines.iter().map(|engine| Member { settings: *settings, ..engine.clone() })
                })
                .collect();
            let side_by_side = |members: &[Member]| {
                let ended = run_in_lanes(scenario, members);
                ended.into_iter().map(|run| JudgedRun::of(run.as_ref().ok())).collect::<Vec<_>>()
            };
            let runs: Vec<JudgedRun> = members.par_chunks(WIDTH).flat_map_iter(side_by_side).collect();
            for (judged, runs) in judged.iter_mut().zip(runs.chunks(engines.len().max(1))) {
                judged.push(runs.to_vec());
            }
            self.done += members.len() as u64;
            let progress = Progress { done: self.done, wanted: self.plan.runs() };
            if (self.watch)(progress) == Next::Stop {
                return None;
            }
        }
        Some(judged)
    }

    /// The cheapest settings on these engines.
    fn search(&mut self, engines: &Engines, old: &[TuningMeans]) -> Option<(f64, Settings)> {
        const FIRST_DEVIATION: f64 = 0.2;
        let (settings, seed) = (&self.plan.settings, self.plan.seed);
        let point = knobs(settings).iter().map(|knob| knob.place(settings)).collect();
        let mut search = MinimumSearch::new(SearchStart {
            point,
            deviation: FIRST_DEVIATION,
            population: POPULATION,
            seed,
        });
        for _ in 0..self.plan.generations {
            let kinds: Vec<Settings> = search.ask().iter().map(|point| turned(settings, point)).collect();
            let judged = self.judge(engines, &kinds)?;
            let costs: Vec<f64> = judged.iter().map(|runs| cost(runs, old, &self.plan.limits)).collect();
            search.tell(&costs);
        }
        let best = search.best();
        Some((best.cost, turned(settings, &best.point)))
    }
}

/// Mean over the scenarios of boost error over that of the old settings; from [`EXCEEDED`] beyond a limit.
fn cost(runs: &JudgedRuns, old: &[TuningMeans], limits: &TuningLimits) -> f64 {
    let means: Vec<TuningMeans> = runs.iter().map(|runs| TuningMeans::of(runs)).collect();
    let both = || means.iter().zip(old);
    let error: f64 = both().map(|(new, old)| new.boost_iae_kpa_s / old.boost_iae_kpa_s).sum();
    let excess: f64 = both().map(|(new, old)| new.excess(old, limits)).sum();
    let beyond = if excess > 0.0 { EXCEEDED * (1.0 + excess) } else { 0.0 };
    error / means.len().max(1) as f64 + beyond
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_paired_change_has_the_textbook_interval() {
        // Differences 1 … 5: mean 3, standard error √(2.5 / 5), t(0.975, 4) = 2.776445 (tables).
        let change = PairedChange::of(&[1.0, 2.0, 3.0, 4.0, 5.0]);
        assert!((change.mean - 3.0).abs() < 1e-12);
        assert!((change.half_width - 2.776_445 * 0.5_f64.sqrt()).abs() < 1e-5, "{change:?}");
        assert!(!change.is_less() && PairedChange::of(&[-1.0, -1.1, -0.9]).is_less());
        assert!(!PairedChange::of(&[-1.0]).is_less(), "one pair shows nothing");
    }
}
