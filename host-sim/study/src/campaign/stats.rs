//! Statistics of many runs in constant memory.
//!
//! In: one run's metrics at a time, in run order. Out: mean, extremes, quantiles from integer histograms, the worst
//! runs by index. Everything is a count, an extreme or a whole number, so parts of a campaign join to the same bytes
//! however it was cut.

use serde::{Deserialize, Serialize};

use super::each::{KeepRuns, KeptRun};
use super::tally::Counted;
use crate::metrics::{METRICS, MetricColumn, Metrics};

/// Bins of a histogram. They go by the cube root of the place in the metric's range, as most metrics are small
/// against it: a quantile is known to 3 % at a ten-thousandth of the range and to 0.15 % at its end.
const BINS: usize = 2000;
/// Worst runs kept for each metric.
pub(crate) const WORST_KEPT: usize = 5;
/// Failed runs kept with their reasons.
pub(crate) const FAILURES_KEPT: usize = 20;

/// Fractions of a unit that sums are kept in, 2⁴⁰ of them: whole numbers, so that parts of a campaign add up to the
/// same bits whichever way it is cut. A mean is known to half of one.
const FRACTIONS: f64 = (1_u64 << 40) as f64;
/// Largest value that a sum takes whole; no metric of a run that ended comes near, and a hundred million still fit.
const MOST: f64 = 1e15;

/// A run that stands out.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
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
    sum_in_fractions: i128,
    extent: Option<(f64, f64)>,
    below: u64,
    above: u64,
    cube_root_bins: Vec<u32>,
    worst: Vec<WorstRun>,
}

impl MetricStats {
    fn new() -> Self {
        Self {
            count: 0,
            sum_in_fractions: 0,
            extent: None,
            below: 0,
            above: 0,
            cube_root_bins: vec![0; BINS],
            worst: Vec::new(),
        }
    }

    fn add(&mut self, column: &MetricColumn, run: u64, value: f64) {
        self.count += 1;
        self.sum_in_fractions += (value.clamp(-MOST, MOST) * FRACTIONS).round() as i128;
        self.widen(value, value);
        let place = BINS as f64 * share(column.range, value);
        if place < 0.0 {
            self.below += 1;
        } else if let Some(bin) = self.cube_root_bins.get_mut(place as usize) {
            *bin += 1;
        } else {
            self.above += 1;
        }
        self.keep_worst(WorstRun { run, value });
    }

    fn join(&mut self, later: Self) {
        self.count += later.count;
        self.sum_in_fractions += later.sum_in_fractions;
        if let Some((least, most)) = later.extent {
            self.widen(least, most);
        }
        self.below += later.below;
        self.above += later.above;
        for (bin, more) in self.cube_root_bins.iter_mut().zip(later.cube_root_bins) {
            *bin += more;
        }
        for worst in later.worst {
            self.keep_worst(worst);
        }
    }

    fn widen(&mut self, least: f64, most: f64) {
        let (low, high) = self.extent.unwrap_or((least, most));
        self.extent = Some((low.min(least), high.max(most)));
    }

    fn keep_worst(&mut self, worst: WorstRun) {
        let place = self.worst.partition_point(|kept| kept.value >= worst.value);
        if place < WORST_KEPT {
            self.worst.insert(place, worst);
            self.worst.truncate(WORST_KEPT);
        }
    }

    /// The value below which a share `q` of the runs lies, to the width of a bin.
    fn quantile(&self, column: &MetricColumn, (least, most): (f64, f64), q: f64) -> f64 {
        let wanted = q * self.count as f64;
        let mut passed = self.below as f64;
        if passed >= wanted && self.below > 0 {
            return least;
        }
        let (low, high) = column.range;
        for (bin, count) in self.cube_root_bins.iter().enumerate().filter(|(_, count)| **count > 0) {
            let count = f64::from(*count);
            if passed + count >= wanted {
                let within = ((wanted - passed) / count).clamp(0.0, 1.0);
                let share = (bin as f64 + within) / BINS as f64;
                return (low + (high - low) * share * share * share).clamp(least, most);
            }
            passed += count;
        }
        most
    }

    /// Value, and the share of the runs at or below it, at the edges of the bins that hold any.
    fn shares(&self, column: &MetricColumn, (least, most): (f64, f64)) -> Vec<(f64, f64)> {
        let (low, high) = column.range;
        let edge = |bin: usize| {
            let share = bin as f64 / BINS as f64;
            (low + (high - low) * share * share * share).clamp(least, most)
        };
        let share = |passed: u64| passed as f64 / self.count as f64;
        let mut passed = self.below;
        let mut points = vec![(least, share(passed))];
        for (bin, count) in self.cube_root_bins.iter().enumerate().filter(|(_, count)| **count > 0) {
            points.push((edge(bin), share(passed)));
            passed += u64::from(*count);
            points.push((edge(bin + 1), share(passed)));
        }
        points.push((most, 1.0));
        points.dedup();
        points
    }

    fn summary(&self, column: &MetricColumn, extent: (f64, f64)) -> MetricSummary {
        MetricSummary {
            name: column.name,
            unit: column.unit,
            step: column.step,
            range: column.range,
            count: self.count,
            mean: self.sum_in_fractions as f64 / FRACTIONS / self.count as f64,
            least: extent.0,
            q05: self.quantile(column, extent, 0.05),
            q50: self.quantile(column, extent, 0.50),
            q95: self.quantile(column, extent, 0.95),
            q99: self.quantile(column, extent, 0.99),
            most: extent.1,
            worst: self.worst.clone(),
        }
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

/// How one metric spreads.
#[derive(Debug, Clone, PartialEq)]
pub struct MetricSpread {
    /// Its row of the table.
    pub summary: MetricSummary,
    /// Value, and the share of the runs at or below it; both rise.
    pub shares: Vec<(f64, f64)>,
}

/// Statistics of a campaign.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CampaignStats {
    runs: u64,
    failures: u64,
    failed: Vec<FailedRun>,
    metrics: Vec<MetricStats>,
    /// Every run in order, where they are kept.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    each: Option<Vec<KeptRun>>,
}

impl Default for CampaignStats {
    fn default() -> Self {
        let metrics = METRICS.iter().map(|_| MetricStats::new()).collect();
        Self { runs: 0, failures: 0, failed: Vec::new(), metrics, each: None }
    }
}

impl CampaignStats {
    /// Nothing yet, with room for each run where they are kept.
    #[must_use]
    pub fn keeping(keep: KeepRuns) -> Self {
        let each = match keep {
            KeepRuns::None => None,
            KeepRuns::Each => Some(Vec::new()),
        };
        Self { each, ..Self::default() }
    }

    /// Takes one finished run.
    pub fn add(&mut self, run: u64, metrics: &Metrics) {
        self.runs += 1;
        if let Some(each) = &mut self.each {
            each.push(KeptRun::of(metrics));
        }
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
        if let Some(each) = &mut self.each {
            each.push(KeptRun::FAILED);
        }
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

    /// Every run in order, where they were kept.
    #[must_use]
    pub fn each(&self) -> Option<&[KeptRun]> {
        self.each.as_deref()
    }

    /// How each metric spreads that any run has, in table order.
    #[must_use]
    pub fn spreads(&self) -> Vec<MetricSpread> {
        let rows = self.metrics.iter().zip(METRICS);
        let spread = |(stats, column): (&MetricStats, &MetricColumn)| {
            let extent = stats.extent?;
            Some(MetricSpread {
                summary: stats.summary(column, extent),
                shares: stats.shares(column, extent),
            })
        };
        rows.filter_map(spread).collect()
    }

    /// The table: one row for each metric that any run has.
    #[must_use]
    pub fn table(&self) -> Vec<MetricSummary> {
        let rows = self.metrics.iter().zip(METRICS);
        rows.filter_map(|(stats, column)| Some(stats.summary(column, stats.extent?))).collect()
    }
}

impl Counted for CampaignStats {
    fn join(&mut self, later: Self) {
        self.each = match (self.runs, later.runs) {
            (0, _) => later.each,
            (_, 0) => self.each.take(),
            (_, _) => self.each.take().zip(later.each).map(|(mut each, later)| {
                each.extend(later);
                each
            }),
        };
        self.runs += later.runs;
        self.failures += later.failures;
        self.failed.extend(later.failed);
        self.failed.truncate(FAILURES_KEPT);
        for (stats, more) in self.metrics.iter_mut().zip(later.metrics) {
            stats.join(more);
        }
    }

    fn is_sound(&self) -> bool {
        self.metrics.len() == METRICS.len()
            && self.metrics.iter().all(|stats| stats.cube_root_bins.len() == BINS)
            && self
                .each
                .as_ref()
                .is_none_or(|each| each.len() as u64 == self.runs && each.iter().all(KeptRun::is_sound))
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
    fn parts_join_to_the_bytes_of_the_whole_wherever_it_is_cut() {
        // Sums of such numbers differ in their last bits with the order in which they are taken.
        let values: Vec<f64> =
            (0..300).map(|k| 100.0 + (f64::from(k) * 0.7).sin() * 10_f64.powi(k % 9 - 6)).collect();
        let whole = serde_json::to_string(&of(&values)).unwrap();
        for cut in [0, 1, 7, 150, 299, 300] {
            let mut joined = of(&values[..cut]);
            let mut later = CampaignStats::default();
            for (k, value) in values.iter().enumerate().skip(cut) {
                later.add(k as u64, &Metrics { peak_boost_kpa: *value, ..Metrics::default() });
            }
            joined.join(later);
            assert!(serde_json::to_string(&joined).unwrap() == whole, "cut at {cut}");
        }
    }

    #[test]
    fn statistics_survive_json_bit_for_bit() {
        let stats = of(&[0.1 + 0.2, 1.0 / 3.0, 123.456_789]);
        let text = serde_json::to_string(&stats).unwrap();
        assert_eq!(serde_json::from_str::<CampaignStats>(&text).unwrap(), stats);
    }
}
