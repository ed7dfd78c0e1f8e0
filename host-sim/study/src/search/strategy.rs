//! Where the next generation is drawn: a mean, a step and a covariance, learned from the ranking of the last one.
//! Symbols are those of the tutorial that `search` names.

use super::factor::Factor;

/// Mean, step and covariance.
#[derive(Debug, Clone)]
pub(super) struct Strategy {
    mean: Vec<f64>,
    step: f64,
    covariance: Vec<Vec<f64>>,
    factor: Factor,
    step_path: Vec<f64>,
    shape_path: Vec<f64>,
    weights: Vec<f64>,
    population: usize,
    rates: Rates,
    generation: i32,
}

/// How fast each of them learns.
#[derive(Debug, Clone, Copy)]
struct Rates {
    /// Weights' effective number, μ_eff.
    effective: f64,
    /// c_σ
    step_path: f64,
    /// d_σ
    damping: f64,
    /// c_c
    shape_path: f64,
    /// c_1
    rank_one: f64,
    /// c_μ
    rank_many: f64,
    /// χ_n, mean length of a normal vector.
    length: f64,
}

impl Rates {
    fn new(dimensions: usize, weights: &[f64]) -> Self {
        let n = dimensions as f64;
        let effective = 1.0 / weights.iter().map(|weight| weight * weight).sum::<f64>();
        let step_path = (effective + 2.0) / (n + effective + 5.0);
        let spare = libm::sqrt((effective - 1.0) / (n + 1.0)) - 1.0;
        let rank_one = 2.0 / ((n + 1.3) * (n + 1.3) + effective);
        let many = 2.0 * (effective - 2.0 + 1.0 / effective) / ((n + 2.0) * (n + 2.0) + effective);
        Self {
            effective,
            step_path,
            damping: 1.0 + 2.0 * spare.max(0.0) + step_path,
            shape_path: (4.0 + effective / n) / (n + 4.0 + 2.0 * effective / n),
            rank_one,
            rank_many: many.clamp(0.0, 1.0 - rank_one),
            length: libm::sqrt(n) * (1.0 - 1.0 / (4.0 * n) + 1.0 / (21.0 * n * n)),
        }
    }
}

/// Whether the path of the shape takes a generation in; it does not while the step grows fast.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Path {
    Grows,
    Stalls,
}

impl Strategy {
    /// The first generation around `mean`.
    pub(super) fn new(mean: Vec<f64>, step: f64, population: usize) -> Self {
        let dimensions = mean.len();
        let parents = population / 2;
        let weight = |rank: usize| libm::log(parents as f64 + 0.5) - libm::log(rank as f64);
        let raw: Vec<f64> = (1..=parents).map(weight).collect();
        let sum: f64 = raw.iter().sum();
        let weights: Vec<f64> = raw.iter().map(|weight| weight / sum).collect();
        let unit = |row| (0..dimensions).map(|column| f64::from(u8::from(row == column))).collect();
        let covariance: Vec<Vec<f64>> = (0..dimensions).map(unit).collect();
        Self {
            rates: Rates::new(dimensions.max(1), &weights),
            factor: Factor::of(&covariance),
            covariance,
            step_path: vec![0.0; dimensions],
            shape_path: vec![0.0; dimensions],
            mean,
            step,
            weights,
            population,
            generation: 0,
        }
    }

    pub(super) fn population(&self) -> usize {
        self.population
    }

    /// A point of the next generation; `normal` draws from the standard normal distribution.
    pub(super) fn draw(&self, mut normal: impl FnMut() -> f64) -> Vec<f64> {
        let drawn: Vec<f64> = self.mean.iter().map(|_| normal()).collect();
        let off = self.factor.times(&drawn);
        self.mean.iter().zip(off).map(|(mean, off)| (mean + self.step * off).clamp(0.0, 1.0)).collect()
    }

    /// Learns from points in the order of their cost, cheapest first.
    pub(super) fn learn(&mut self, ranked: &[&[f64]]) {
        self.generation = self.generation.saturating_add(1);
        let off = |point: &&[f64]| -> Vec<f64> {
            point.iter().zip(&self.mean).map(|(value, mean)| (value - mean) / self.step).collect()
        };
        let steps: Vec<Vec<f64>> = ranked.iter().take(self.weights.len()).map(off).collect();
        let moved: Vec<f64> = (0..self.mean.len())
            .map(|axis| self.weights.iter().zip(&steps).map(|(weight, step)| weight * step[axis]).sum())
            .collect();
        for (mean, moved) in self.mean.iter_mut().zip(&moved) {
            *mean += self.step * moved;
        }
        let path = self.follow(&moved);
        self.shape(&moved, &steps, path);
        let Rates { step_path, damping, length, .. } = self.rates;
        let factor = libm::exp((step_path / damping) * (norm(&self.step_path) / length - 1.0));
        // A step beyond the cube says nothing more, nor does one below what numbers resolve.
        self.step = (self.step * factor).clamp(LEAST_STEP, 1.0);
    }

    /// Takes a move into the path of the step.
    fn follow(&mut self, moved: &[f64]) -> Path {
        let Rates { effective, step_path, length, .. } = self.rates;
        let keeps = 1.0 - step_path;
        let taken = libm::sqrt(step_path * (2.0 - step_path) * effective);
        for (path, part) in self.step_path.iter_mut().zip(self.factor.undone(moved)) {
            *path = keeps * *path + taken * part;
        }
        let settled = libm::sqrt(1.0 - libm::pow(keeps, f64::from(2 * self.generation.min(MOST_POWER))));
        let bound = (1.4 + 2.0 / (self.mean.len() as f64 + 1.0)) * length;
        if norm(&self.step_path) / settled < bound { Path::Grows } else { Path::Stalls }
    }

    /// Learns the covariance.
    fn shape(&mut self, moved: &[f64], steps: &[Vec<f64>], path: Path) {
        let Rates { effective, shape_path, rank_one, rank_many, .. } = self.rates;
        let (taken, lost) = match path {
            Path::Grows => (libm::sqrt(shape_path * (2.0 - shape_path) * effective), 0.0),
            Path::Stalls => (0.0, rank_one * shape_path * (2.0 - shape_path)),
        };
        for (path, moved) in self.shape_path.iter_mut().zip(moved) {
            *path = (1.0 - shape_path) * *path + taken * moved;
        }
        let keeps = 1.0 - rank_one - rank_many + lost;
        let path = &self.shape_path;
        for (row, entries) in self.covariance.iter_mut().enumerate() {
            for (column, entry) in entries.iter_mut().enumerate() {
                let many: f64 = self
                    .weights
                    .iter()
                    .zip(steps)
                    .map(|(weight, step)| weight * step[row] * step[column])
                    .sum();
                *entry = keeps * *entry + rank_one * path[row] * path[column] + rank_many * many;
            }
        }
        self.factor = Factor::of(&self.covariance);
    }
}

fn norm(vector: &[f64]) -> f64 {
    libm::sqrt(vector.iter().map(|part| part * part).sum())
}

/// Generations after which a power of what is kept is 0 anyway.
const MOST_POWER: i32 = 100_000;
const LEAST_STEP: f64 = 1e-12;
