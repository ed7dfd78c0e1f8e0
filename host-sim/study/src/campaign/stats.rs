//! Statistics of many runs in constant memory.
//!
//! In: one run's metrics at a time, in run order. Out: mean, extremes,
//! quantiles from integer histograms, the worst runs by index. Sums are kept bit for bit in checkpoints, so
//! a resumed campaign ends with the same bytes.

use serde::{Deserialize, Serialize};

use crate::metrics::{METRICS, MetricColumn, Metrics};

/// Bins of a histogram. They go by the cube root of the place in the metric's range, as most metrics are small
/// against it: a quantile is known to 3 % at a ten-thousandth of the range and to 0.15 % at its end.
const BINS: usize = 2000;
/// Worst runs kept for each metric.
pub(crate) const WORST_KEPT: usize = 5;
/// Failed runs kept with their reasons.
pub(crate) const FAILURES_KEPT: usize = 20;

/// A float that survives JSON bit for bit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(from = "u64", into = "u64")]
struct Exact(f64);

impl From<u64> for Exact {
    fn from(bits: u64) -> Self {
        Self(f64::from_bits(bits))
    }
}

impl From<Exact> for u64 {
    fn from(exact: Exact) -> Self {
        exact.0.to_bits()
    }
}

/// A run that stands out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WorstRun {
    /// Index of the run in its campaign.
    pub run: u64,
    /// Its value.
    pub value: f64,
}

/// A run that could not be finished.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema, Deserialize)]
pub struct FailedRun {
    /// Index of the run.
    pub run: u64,
    /// Why.
    pub reason: String,
}

/// Statistics of one metric.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct MetricStats {
    count: u64,
    sum: Exact,
    least: Exact,
    most: Exact,
    below: u64,
    above: u64,
    cube_root_bins: Vec<u32>,
    worst: Vec<(u64, Exact)>,
}

impl MetricStats {
    fn new() -> Self {
        Self {
            count: 0,
            sum: Exact(0.0),
            least: Exact(f64::INFINITY),
            most: Exact(f64::NEG_INFINITY),
            below: 0,
            above: 0,
            cube_root_bins: vec![0; BINS],
            worst: Vec::new(),
        }
    }

    fn add(&mut self, column: &MetricColumn, run: u64, value: f64) {
        self.count += 1;
        self.sum.0 += value;
        self.least.0 = self.least.0.min(value);
        self.most.0 = self.most.0.max(value);
        let place = BINS as f64 * share(column.range, value);
        if place < 0.0 {
            self.below += 1;
        } else if let Some(bin) = self.cube_root_bins.get_mut(place as usize) {
            *bin += 1;
        } else {
            self.above += 1;
        }
        self.keep_worst(run, value);
    }

    fn keep_worst(&mut self, run: u64, value: f64) {
        let place = self.worst.partition_point(|(_, kept)| kept.0 >= value);
        if place < WORST_KEPT {
            self.worst.insert(place, (run, Exact(value)));
            self.worst.truncate(WORST_KEPT);
        }
    }

    /// The value below which a share `q` of the runs lies, to the width of a bin.
    fn quantile(&self, column: &MetricColumn, q: f64) -> f64 {
        let wanted = q * self.count as f64;
        let mut passed = self.below as f64;
        if passed >= wanted && self.below > 0 {
            return self.least.0;
        }
        let (low, high) = column.range;
        for (bin, count) in self.cube_root_bins.iter().enumerate().filter(|(_, count)| **count > 0) {
            let count = f64::from(*count);
            if passed + count >= wanted {
                let within = ((wanted - passed) / count).clamp(0.0, 1.0);
                let share = (bin as f64 + within) / BINS as f64;
                return (low + (high - low) * share * share * share).clamp(self.least.0, self.most.0);
            }
            passed += count;
        }
        self.most.0
    }
}

/// Cube root of a value's place in a range that goes from 0 to 1.
fn share((low, high): (f64, f64), value: f64) -> f64 {
    libm::cbrt((value - low) / (high - low))
}

/// One row of a campaign's table.
#[derive(Debug, Clone, PartialEq)]
pub struct MetricSummary {
    /// Name of the metric.
    pub name: &'static str,
    /// Unit.
    pub unit: &'static str,
    /// Smallest difference worth showing.
    pub step: f64,
    /// Range that the histogram covers.
    pub range: (f64, f64),
    /// Runs that have it.
    pub count: u64,
    /// Mean.
    pub mean: f64,
    /// Smallest.
    pub least: f64,
    /// 5 % quantile.
    pub q05: f64,
    /// Median.
    pub q50: f64,
    /// 95 % quantile.
    pub q95: f64,
    /// 99 % quantile.
    pub q99: f64,
    /// Largest.
    pub most: f64,
    /// The worst runs, worst first.
    pub worst: Vec<WorstRun>,
}

impl MetricSummary {
    /// Width of the bin around a value: a quantile there is known no better.
    #[must_use]
    pub fn known_to(&self, value: f64) -> f64 {
        let share = share(self.range, value);
        3.0 * (self.range.1 - self.range.0) / BINS as f64 * share * share
    }
}

/// Statistics of a campaign.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CampaignStats {
    runs: u64,
    failures: u64,
    failed: Vec<FailedRun>,
    metrics: Vec<MetricStats>,
}

impl Default for CampaignStats {
    fn default() -> Self {
        let metrics = METRICS.iter().map(|_| MetricStats::new()).collect();
        Self { runs: 0, failures: 0, failed: Vec::new(), metrics }
    }
}

impl CampaignStats {
    /// Takes one finished run.
    pub fn add(&mut self, run: u64, metrics: &Metrics) {
        self.runs += 1;
        for (stats, column) in self.metrics.iter_mut().zip(METRICS) {
            if let Some(value) = (column.value)(metrics).filter(|value| value.is_finite()) {
                stats.add(column, run, value);
            }
        }
    }

    /// Takes one run that failed.
    pub fn add_failure(&mut self, run: u64, reason: String) {
        self.runs += 1;
        self.failures += 1;
        if self.failed.len() < FAILURES_KEPT {
            self.failed.push(FailedRun { run, reason });
        }
    }

    /// Runs taken, failed ones included.
    #[must_use]
    pub fn runs(&self) -> u64 {
        self.runs
    }

    /// Runs that failed.
    #[must_use]
    pub fn failures(&self) -> u64 {
        self.failures
    }

    /// The first runs that failed, with reasons.
    #[must_use]
    pub fn failed(&self) -> &[FailedRun] {
        &self.failed
    }

    /// The table: one row for each metric that any run has.
    #[must_use]
    pub fn table(&self) -> Vec<MetricSummary> {
        let rows = self.metrics.iter().zip(METRICS).filter(|(stats, _)| stats.count > 0);
        rows.map(|(stats, column)| MetricSummary {
            name: column.name,
            unit: column.unit,
            step: column.step,
            range: column.range,
            count: stats.count,
            mean: stats.sum.0 / stats.count as f64,
            least: stats.least.0,
            q05: stats.quantile(column, 0.05),
            q50: stats.quantile(column, 0.50),
            q95: stats.quantile(column, 0.95),
            q99: stats.quantile(column, 0.99),
            most: stats.most.0,
            worst: stats.worst.iter().map(|(run, value)| WorstRun { run: *run, value: value.0 }).collect(),
        })
        .collect()
    }

    /// Whether the statistics have the shape that this program makes.
    pub(super) fn is_sound(&self) -> bool {
        self.metrics.len() == METRICS.len()
            && self.metrics.iter().all(|stats| stats.cube_root_bins.len() == BINS)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(values: &[f64]) -> CampaignStats {
        let mut stats = CampaignStats::default();
        for (k, value) in values.iter().enumerate() {
            stats.add(k as u64, &Metrics { peak_boost_kpa: *value, ..Metrics::default() });
        }
        stats
    }

    #[test]
    fn quantiles_of_a_flat_distribution_are_where_they_belong() {
        let values: Vec<f64> = (0..10_000).map(|k| 100.0 + f64::from((k * 7919) % 10_000) * 0.01).collect();
        let stats = of(&values);
        let row = stats.table().into_iter().find(|row| row.name == "peak boost").unwrap();
        for (got, expected) in [(row.q05, 105.0), (row.q50, 150.0), (row.q95, 195.0), (row.q99, 199.0)] {
            assert!((got - expected).abs() < 0.2, "{got} against {expected}");
        }
        assert!((row.mean - 149.995).abs() < 1e-9);
    }

    /// Actuator work of a short scenario: a thousandth of what a long one takes.
    #[test]
    fn quantiles_of_values_far_down_their_range_are_no_farther_off_than_their_bins() {
        let mut stats = CampaignStats::default();
        for k in 0..1000 {
            let actuator_work_j = 0.3 + 2e-4 * f64::from((k * 379) % 1000);
            stats.add(k as u64, &Metrics { actuator_work_j, ..Metrics::default() });
        }
        let row = stats.table().into_iter().find(|row| row.name == "actuator work").unwrap();
        for (got, expected) in [(row.q05, 0.31), (row.q50, 0.4), (row.q95, 0.49)] {
            assert!(row.known_to(expected) < 0.03 * expected);
            assert!((got - expected).abs() < row.known_to(expected), "{got} against {expected}");
        }
    }

    #[test]
    fn the_worst_runs_are_named_worst_first() {
        let all = of(&[120.0, 300.0, 110.0, 310.0, 90.0, 305.0, 301.0, 299.0]);
        let row = all.table().into_iter().find(|row| row.name == "peak boost").unwrap();
        let runs: Vec<u64> = row.worst.iter().map(|worst| worst.run).collect();
        assert_eq!(runs, [3, 5, 6, 1, 7]);
    }

    #[test]
    fn statistics_survive_json_bit_for_bit() {
        let stats = of(&[0.1 + 0.2, 1.0 / 3.0, 123.456_789]);
        let text = serde_json::to_string(&stats).unwrap();
        assert_eq!(serde_json::from_str::<CampaignStats>(&text).unwrap(), stats);
    }
}
