//! The best schedule of wanted openings that a search finds when it knows all that is to come.
//!
//! In: a scenario, a world, settings, a seed. Out: a schedule, what comes of it, and by how much starts and grids
//! differ. The schedule takes the law's place and nothing else: slew limits, position loop, actuator and guard are
//! those of every run. It is cheapest by boost error over time; passing a limit of the scenario, or having the guard act,
//! costs more than any error, and a little is charged for travel, so that of two that do as well the quieter is kept.
//!
//! Best found is no bound. How far it may be trusted is for the reader to see: by the gap between the two best starts,
//! and by the gap between the two finest grids.

mod grid;

use std::iter;

use rayon::prelude::*;

use crate::campaign::{Next, Progress};
use crate::run::{
    Member, Played, Record, RunError, RunOutcome, Schedule, run_in_lanes, run_under, run_world,
};
use crate::scenario::{Scenario, VaneUse};
use crate::search::{MinimumSearch, SearchStart};
use firmware_core::settings::Settings;
use plant::lanes::WIDTH;
use plant::world::WorldConfig;

/// How hard to search.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ForesightOrder {
    /// Grids from coarse to fine, at least 1; each halves the intervals of the one before.
    pub grids: usize,
    /// Starts, at least 1.
    pub starts: usize,
    /// Generations on the coarsest grid; each finer one takes twice as many as the one before.
    pub generations: usize,
    /// Seed of the search and of the sensors' noise.
    pub seed: u64,
}

impl ForesightOrder {
    /// Two starts on three grids.
    #[must_use]
    pub fn usual(generations: usize, seed: u64) -> Self {
        Self { grids: 3, starts: 2, generations, seed }
    }

    /// Generations on a grid.
    fn generations_on(&self, level: usize) -> usize {
        self.generations << level
    }

    /// Runs that the search takes.
    #[must_use]
    pub fn runs(&self) -> u64 {
        let on_all: usize = (0..self.grids).map(|level| self.generations_on(level)).sum();
        (self.starts * on_all * POPULATION) as u64
    }
}

/// Schedules of a generation: two rounds of lanes.
const POPULATION: usize = 2 * WIDTH;

/// The run whose vanes are to be scheduled.
#[derive(Debug, Clone, Copy)]
pub struct ForesightRun<'a> {
    /// The scenario.
    pub scenario: &'a Scenario,
    /// The world.
    pub world: &'a WorldConfig,
    /// The controller's settings.
    pub settings: &'a Settings,
}

/// What was found.
#[derive(Debug, Clone, PartialEq)]
pub struct Foresight {
    /// The schedule.
    pub schedule: Schedule,
    /// Its run.
    pub outcome: RunOutcome,
    /// Cost of the best of each start on each grid, `[grid][start]`, kPa s.
    pub costs: Vec<Vec<f64>>,
    /// Knots of each grid.
    pub knots: Vec<usize>,
}

impl Foresight {
    /// By how much the second best start on the finest grid costs more than the best, share; none with one start.
    #[must_use]
    pub fn start_gap(&self) -> Option<f64> {
        let mut finest = self.costs.last()?.clone();
        finest.sort_by(f64::total_cmp);
        Some(finest.get(1)? / finest.first()? - 1.0)
    }

    /// By how much the best on the second finest grid costs more than on the finest, share; none with one grid.
    #[must_use]
    pub fn grid_gap(&self) -> Option<f64> {
        let least = |costs: &Vec<f64>| costs.iter().copied().fold(f64::INFINITY, f64::min);
        let (finest, coarser) = self.costs.split_last()?;
        Some(least(coarser.last()?) / least(finest) - 1.0)
    }
}

/// Why nothing was found.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ForesightError {
    /// The run cannot be made at all.
    #[error(transparent)]
    Run(#[from] RunError),
    /// Something other than boost control in it.
    #[error(
        "the scenario is not boost control all through ({0:?}): best found with foresight is of boost control alone"
    )]
    OtherUse(VaneUse),
    /// Stopped on request.
    #[error("stopped before the search was over")]
    Stopped,
    /// Every schedule passed a limit or had the guard act.
    #[error("every schedule that was tried passes a limit or has the guard act")]
    NoneWithinLimits,
}

/// Charge for a whole stroke of travel, kPa s: small against any error that a driver would feel.
const TRAVEL_KPA_S: f64 = 0.02;
/// Charge for each second over a limit or under the guard, and once for having been there, kPa s: more than any error.
const PASSED_KPA_S: f64 = 1e5;

/// What a run costs, kPa s; from [`PASSED_KPA_S`] where a limit was passed or the guard acted.
fn cost(outcome: &RunOutcome) -> f64 {
    let m = &outcome.metrics;
    let over_s = m.boost_over_limit_s + m.turbo_over_limit_s + m.exhaust_over_limit_s + m.guard_open_s;
    let passed = if over_s > 0.0 || !outcome.events.is_empty() { 1.0 + over_s } else { 0.0 };
    m.boost_iae_kpa_s + TRAVEL_KPA_S * m.travel_strokes + PASSED_KPA_S * passed
}

/// Searches the best schedule, on the present rayon pool.
///
/// # Errors
/// [`ForesightError`].
pub fn best_with_foresight(
    run: &ForesightRun<'_>,
    order: &ForesightOrder,
    mut watch: impl FnMut(Progress) -> Next,
) -> Result<Foresight, ForesightError> {
    if let Some(point) = run.scenario.demand.iter().find(|point| point.vanes != VaneUse::Boost) {
        return Err(ForesightError::OtherUse(point.vanes));
    }
    let own = run.under_its_law(order.seed)?;
    let grids: Vec<Vec<f64>> =
        iter::successors(Some(grid::coarse(run.scenario)), |times_s| Some(grid::halved(times_s)))
            .take(order.grids)
            .collect();
    let mut costs = vec![Vec::new(); grids.len()];
    let mut best = (f64::INFINITY, Schedule::default());
    let mut done = 0;
    for start in 0..order.starts {
        let mut guess = first_guess(start, order.seed, &own);
        for (level, times_s) in grids.iter().enumerate() {
            let seed = order.seed.wrapping_add((start * order.grids + level) as u64);
            let deviation = FIRST_DEVIATION / libm::pow(2.0, level as f64);
            let mut search = OnGrid {
                run,
                times_s,
                noise_seed: order.seed,
                search: begin(&guess, times_s, deviation, seed),
            };
            for _ in 0..order.generations_on(level) {
                search.generation();
                done += POPULATION as u64;
                if watch(Progress { done, wanted: order.runs() }) == Next::Stop {
                    return Err(ForesightError::Stopped);
                }
            }
            let (cost, found) = search.best();
            costs[level].push(cost);
            guess = found;
            if cost < best.0 {
                best = (cost, guess.clone());
            }
        }
    }
    let (cost, schedule) = best;
    if cost >= PASSED_KPA_S {
        return Err(ForesightError::NoneWithinLimits);
    }
    let outcome = run.played(&schedule, order.seed)?;
    Ok(Foresight { schedule, outcome, costs, knots: grids.iter().map(Vec::len).collect() })
}

/// A search whose first generation lies around a schedule.
fn begin(guess: &Schedule, times_s: &[f64], deviation: f64, seed: u64) -> MinimumSearch {
    let point = times_s.iter().map(|t_s| guess.at(*t_s)).collect();
    MinimumSearch::new(SearchStart { point, deviation, population: POPULATION, seed })
}

/// A search over the openings at the knots of one grid.
struct OnGrid<'a> {
    run: &'a ForesightRun<'a>,
    times_s: &'a [f64],
    noise_seed: u64,
    search: MinimumSearch,
}

impl OnGrid<'_> {
    fn generation(&mut self) {
        let schedule = |openings: &Vec<f64>| Schedule::new(self.times_s, openings);
        let schedules: Vec<Schedule> = self.search.ask().iter().map(schedule).collect();
        let costs = self.run.costs(&schedules, self.noise_seed);
        self.search.tell(&costs);
    }

    fn best(&self) -> (f64, Schedule) {
        let best = self.search.best();
        (best.cost, Schedule::new(self.times_s, &best.point))
    }
}

/// A row of a kept run every so many ticks.
const LOOK_TICKS: u32 = 10;
/// Deviation of the first generation on the coarsest grid, opening; half of it on each finer one.
const FIRST_DEVIATION: f64 = 0.12;

/// Where a start begins: at what the law did, then half open, then level at some other opening.
fn first_guess(start: usize, seed: u64, own: &RunOutcome) -> Schedule {
    let level = match start {
        0 => {
            let rows = &own.trace.rows;
            let both = rows.iter().map(|row| (row.t_s, row.opening_target));
            let (times_s, openings): (Vec<f64>, Vec<f64>) = both.unzip();
            return Schedule::new(&times_s, &openings);
        }
        1 => HALF_OPEN,
        // Of low discrepancy over the travel, by the golden ratio; the seed moves all of them.
        _ => {
            let turned = (start as f64 + (seed % 1000) as f64) * 0.618_033_988_749_895;
            LEAST_LEVEL + (1.0 - 2.0 * LEAST_LEVEL) * (turned - turned.floor())
        }
    };
    Schedule::new(&[0.0], &[level])
}

const HALF_OPEN: f64 = 0.5;
const LEAST_LEVEL: f64 = 0.15;

impl ForesightRun<'_> {
    /// The run under the law that the settings name.
    fn under_its_law(&self, seed: u64) -> Result<RunOutcome, RunError> {
        run_world(self.scenario, self.world, self.settings, seed, Record::EveryTicks(LOOK_TICKS))
    }

    fn played(&self, schedule: &Schedule, seed: u64) -> Result<RunOutcome, RunError> {
        let (played, settings) =
            (Played::new(schedule.clone(), self.scenario), Played::settings(self.settings));
        run_under(played, self.scenario, self.world, &settings, seed, Record::EveryTicks(LOOK_TICKS))
    }

    /// What each schedule costs; one whose world runs away costs infinitely much.
    fn costs(&self, schedules: &[Schedule], seed: u64) -> Vec<f64> {
        let settings = Played::settings(self.settings);
        let member = |schedule: &Schedule| Member {
            world: self.world.clone(),
            seed,
            settings,
            law: Played::new(schedule.clone(), self.scenario),
        };
        let side_by_side = |schedules: &[Schedule]| -> Vec<f64> {
            let members: Vec<Member<Played>> = schedules.iter().map(member).collect();
            let ended = run_in_lanes(self.scenario, &members).into_iter();
            ended.map(|outcome| outcome.map_or(f64::INFINITY, |outcome| cost(&outcome))).collect()
        };
        schedules.par_chunks(WIDTH).flat_map_iter(side_by_side).collect()
    }
}

#[cfg(test)]
mod tests;
