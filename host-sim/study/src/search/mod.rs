//! A minimum without derivatives: of whatever a simulation makes of a handful to some dozens of numbers.
//!
//! In: a start in the unit cube, how many points a generation holds, a seed. Out: points to try
//! ([`MinimumSearch::ask`]), and the best of them once their costs are told ([`MinimumSearch::tell`]). The same seed gives the same
//! bits on every machine. It finds a minimum, not surely the lowest: start it several times.
//!
//! Method: evolution strategy with covariance matrix adaptation, constants of Hansen's tutorial (arXiv 1604.00772),
//! with a Cholesky factor in the place of the root (Suttorp, Hansen and Igel 2009), both from memory. A point outside the
//! cube is moved to its face. Kept crates were looked at and do not fit: a generation is to run side by side in the
//! world's lanes, and their matrix products fuse where the processor can, so that a search would depend on it.

mod factor;
mod strategy;

use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;
use strategy::Strategy;

/// Where a search begins and how it goes on.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct SearchStart {
    /// Point in the unit cube; it is tried first, so that nothing worse is found.
    pub point: Vec<f64>,
    /// Standard deviation of the first generation in every direction, share of the cube's edge.
    pub deviation: f64,
    /// Points in a generation, at least 4.
    pub population: usize,
    /// Seed.
    pub seed: u64,
}

/// A point and what it costs.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Priced {
    /// Point in the unit cube.
    pub point: Vec<f64>,
    /// Its cost; infinite where it cannot be had.
    pub cost: f64,
}

/// A search on its way.
#[derive(Debug, Clone)]
pub(crate) struct MinimumSearch {
    strategy: Strategy,
    rng: Pcg64Mcg,
    asked: Vec<Vec<f64>>,
    best: Priced,
}

/// Fewest points of a generation that the strategy's weights make sense of.
const LEAST_POPULATION: usize = 4;

impl MinimumSearch {
    /// A search that has tried nothing yet.
    #[must_use]
    pub(crate) fn new(start: SearchStart) -> Self {
        let point: Vec<f64> = start.point.iter().map(|value| value.clamp(0.0, 1.0)).collect();
        let population = start.population.max(LEAST_POPULATION);
        Self {
            strategy: Strategy::new(point.clone(), start.deviation, population),
            rng: Pcg64Mcg::seed_from_u64(start.seed),
            asked: Vec::new(),
            best: Priced { point, cost: f64::INFINITY },
        }
    }

    /// The next generation.
    pub(crate) fn ask(&mut self) -> &[Vec<f64>] {
        let is_first = self.asked.is_empty();
        let rng = &mut self.rng;
        self.asked = (0..self.strategy.population()).map(|_| self.strategy.draw(|| normal(rng))).collect();
        if let (true, Some(first)) = (is_first, self.asked.first_mut()) {
            first.clone_from(&self.best.point);
        }
        &self.asked
    }

    /// Takes what the points of the last generation cost, in their order. One that is no number costs infinitely much.
    pub(crate) fn tell(&mut self, costs: &[f64]) {
        let known = |cost: &f64| if cost.is_nan() { f64::INFINITY } else { *cost };
        let mut ranked: Vec<(f64, &[f64])> =
            costs.iter().map(known).zip(self.asked.iter().map(Vec::as_slice)).collect();
        ranked.sort_by(|a, b| a.0.total_cmp(&b.0));
        if let Some((cost, point)) = ranked.first().filter(|(cost, _)| *cost < self.best.cost) {
            self.best = Priced { point: point.to_vec(), cost: *cost };
        }
        let points: Vec<&[f64]> = ranked.into_iter().map(|(_, point)| point).collect();
        self.strategy.learn(&points);
    }

    /// The cheapest point so far.
    #[must_use]
    pub(crate) fn best(&self) -> &Priced {
        &self.best
    }
}

/// Box and Muller 1958.
fn normal(rng: &mut Pcg64Mcg) -> f64 {
    let (first, second) = (rng.random::<f64>(), rng.random::<f64>());
    libm::sqrt(-2.0 * libm::log(1.0 - first)) * libm::cos(core::f64::consts::TAU * second)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The best after so many generations.
    fn minimise(start: SearchStart, generations: usize, cost: impl Fn(&[f64]) -> f64) -> Priced {
        let mut search = MinimumSearch::new(start);
        for _ in 0..generations {
            let costs: Vec<f64> = search.ask().iter().map(|point| cost(point)).collect();
            search.tell(&costs);
        }
        search.best().clone()
    }

    fn found(dimensions: usize, generations: usize, seed: u64, cost: impl Fn(&[f64]) -> f64) -> Priced {
        let start = SearchStart { point: vec![0.2; dimensions], deviation: 0.2, population: 16, seed };
        minimise(start, generations, cost)
    }

    #[test]
    fn minima_of_known_functions_are_found_from_every_seed() {
        // Minimum at 0.7 in every direction, scales 1 to 1000 apart.
        let ellipsoid = |x: &[f64]| -> f64 {
            let scale = |i: usize| 1e3_f64.powf(i as f64 / 9.0);
            x.iter().enumerate().map(|(i, x)| (scale(i) * (x - 0.7)).powi(2)).sum()
        };
        for seed in 0..10 {
            let best = found(10, 500, seed, ellipsoid);
            assert!(best.cost < 1e-8, "seed {seed}: {best:?}");
        }
    }

    #[test]
    fn the_end_of_a_bent_valley_is_found() {
        // Rosenbrock 1960 in five directions, its minimum at 0.75 of the cube.
        let valley = |x: &[f64]| -> f64 {
            let y: Vec<f64> = x.iter().map(|x| 8.0 * (x - 0.625)).collect();
            y.windows(2).map(|y| 100.0 * (y[1] - y[0] * y[0]).powi(2) + (1.0 - y[0]).powi(2)).sum()
        };
        let best = (0..5).map(|seed| found(5, 400, seed, valley).cost).fold(f64::INFINITY, f64::min);
        assert!(best < 1e-8, "{best}");
    }

    #[test]
    fn a_minimum_outside_the_cube_is_found_on_its_face() {
        for seed in 0..10 {
            let best = found(3, 150, seed, |x| x.iter().map(|x| (x - 1.5).powi(2)).sum());
            assert!(best.point.iter().all(|x| *x > 0.999), "seed {seed}: {best:?}");
        }
    }

    #[test]
    fn nothing_worse_than_the_start_is_found_and_no_number_ends_it() {
        let best = found(2, 20, 1, |x| if x == [0.2, 0.2] { 1.0 } else { f64::NAN });
        assert_eq!(best, Priced { point: vec![0.2, 0.2], cost: 1.0 });
    }

    /// Farthest that a mass at rest comes and rests again in 2 s, its acceleration within ±1: full ahead, full back
    /// (minimum time of the double integrator; any textbook of optimal control), 1.0 in all. With the acceleration on
    /// straight lines between knots `h` apart, an interval across the middle, it is 1 − h²/12: the turn takes `h`.
    fn farthest(intervals: usize, seed: u64) -> f64 {
        const SPAN_S: f64 = 2.0;
        let h = SPAN_S / intervals as f64;
        let moved = |knots: &[f64]| {
            let (mut place, mut speed) = (0.0, 0.0);
            for pair in knots.windows(2) {
                let (from, to) = (2.0 * pair[0] - 1.0, 2.0 * pair[1] - 1.0);
                place += speed * h + h * h * (from / 3.0 + to / 6.0);
                speed += h * (from + to) / 2.0;
            }
            (place, speed)
        };
        let start = SearchStart { point: vec![0.5; intervals + 1], deviation: 0.3, population: 32, seed };
        // At the end a speed costs more than the way that it can buy.
        let cost = |knots: &[f64]| {
            let (place, speed) = moved(knots);
            10.0 * f64::abs(speed) - place
        };
        let best = minimise(start, 600, cost);
        let (place, speed) = moved(&best.point);
        assert!(speed.abs() < 1e-3, "{speed}");
        place
    }

    #[test]
    fn the_fastest_way_from_rest_to_rest_is_full_ahead_and_full_back() {
        // With a dozen knots from every start, with two dozen from the best of five: more starts for more knots.
        for (intervals, starts, within) in [(5, 1, 1e-4), (11, 1, 1e-4), (21, 5, 2e-2)] {
            let h = 2.0 / intervals as f64;
            let best = 1.0 - h * h / 12.0;
            for first in [0, 5, 10] {
                let found = (first..first + starts).map(|seed| farthest(intervals, seed)).fold(0.0, f64::max);
                assert!((best - within..=best + 1e-3).contains(&found), "{intervals}: {found}, best {best}");
            }
        }
    }
}
