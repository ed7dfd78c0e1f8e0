//! What boost error costs in travel: the best of the law's gains and map on one engine, for several prices of travel.

use rayon::prelude::*;

use super::knob::{knobs, turned};
use crate::campaign::{Next, Progress};
use crate::metrics::Metrics;
use crate::run::{Member, RunOutcome, run_in_lanes};
use crate::scenario::Scenario;
use crate::search::{MinimumSearch, SearchStart};
use firmware_core::settings::Settings;
use plant::lanes::WIDTH;

/// A point of the line.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, schemars::JsonSchema)]
pub struct TradeOff {
    /// Travel of the vanes, strokes.
    pub travel_strokes: f64,
    /// ∫ |wanted − boost| dt, kPa s.
    pub boost_iae_kpa_s: f64,
}

/// Prices of a stroke of travel, kPa s.
const PRICES: [f64; 5] = [0.0, 2.0, 8.0, 30.0, 120.0];
/// Cost of a run that passes a limit or has the guard act, kPa s.
const BAD: f64 = 1e5;

/// Searches on the scenario's own engine, on the present rayon pool; points that no other one beats both ways, by rising
/// travel. Nothing when it was stopped.
pub fn trade_off(
    (scenario, settings): (&Scenario, &Settings),
    seed: u64,
    generations: usize,
    mut watch: impl FnMut(Progress) -> Next,
) -> Option<Vec<TradeOff>> {
    const DEVIATION: f64 = 0.2;
    let wanted = (PRICES.len() * generations) as u64;
    let (mut done, mut found) = (0, Vec::new());
    let mut point: Vec<f64> = knobs(settings).iter().map(|knob| knob.place(settings)).collect();
    for price in PRICES {
        let start = SearchStart { point: point.clone(), deviation: DEVIATION, population: 2 * WIDTH, seed };
        let mut search = MinimumSearch::new(start);
        for _ in 0..generations {
            let runs = runs(scenario, settings, seed, search.ask());
            let costs: Vec<f64> = runs.iter().map(|run| cost(run.as_ref(), price)).collect();
            search.tell(&costs);
            done += 1;
            if watch(Progress { done, wanted }) == Next::Stop {
                return None;
            }
        }
        point.clone_from(&search.best().point);
        let best = runs(scenario, settings, seed, std::slice::from_ref(&point));
        found.extend(best.into_iter().flatten().filter(|metrics| metrics.boost_iae_kpa_s < BAD));
    }
    Some(unbeaten(&found))
}

/// Metrics of each; none where a limit was passed, the guard acted or the run could not be finished.
fn runs(scenario: &Scenario, settings: &Settings, seed: u64, points: &[Vec<f64>]) -> Vec<Option<Metrics>> {
    let is_good = |run: &RunOutcome| run.events.is_empty() && run.metrics.limits_passed().is_empty();
    let side_by_side = |points: &[Vec<f64>]| -> Vec<Option<Metrics>> {
        let member =
            |point: &Vec<f64>| Member::under_its_law(scenario.world.clone(), seed, turned(settings, point));
        let members: Vec<Member> = points.iter().map(member).collect();
        let ended = run_in_lanes(scenario, &members).into_iter();
        ended.map(|run| run.ok().filter(is_good).map(|run| run.metrics)).collect()
    };
    points.par_chunks(WIDTH).flat_map_iter(side_by_side).collect()
}

fn cost(run: Option<&Metrics>, price: f64) -> f64 {
    run.map_or(BAD, |metrics| metrics.boost_iae_kpa_s + price * metrics.travel_strokes)
}

fn unbeaten(found: &[Metrics]) -> Vec<TradeOff> {
    let mut points: Vec<TradeOff> = found
        .iter()
        .map(|m| TradeOff { travel_strokes: m.travel_strokes, boost_iae_kpa_s: m.boost_iae_kpa_s })
        .collect();
    points.sort_by(|a, b| {
        let by_travel = a.travel_strokes.total_cmp(&b.travel_strokes);
        by_travel.then(a.boost_iae_kpa_s.total_cmp(&b.boost_iae_kpa_s))
    });
    let mut least = f64::INFINITY;
    points.retain(|point| {
        let is_less = point.boost_iae_kpa_s < least;
        least = least.min(point.boost_iae_kpa_s);
        is_less
    });
    points
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn points_that_another_one_beats_both_ways_are_left_out() {
        let metrics = |(travel_strokes, boost_iae_kpa_s)| Metrics {
            travel_strokes,
            boost_iae_kpa_s,
            ..Metrics::default()
        };
        let found = [(2.0, 50.0), (1.0, 60.0), (1.5, 70.0), (3.0, 49.0), (1.0, 61.0)].map(metrics);
        let points: Vec<_> =
            unbeaten(&found).into_iter().map(|p| (p.travel_strokes, p.boost_iae_kpa_s)).collect();
        assert_eq!(points, [(1.0, 60.0), (2.0, 50.0), (3.0, 49.0)]);
    }
}
