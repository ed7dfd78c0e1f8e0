//! Statistics of many runs in constant memory.
//!
//! In: one run's metrics at a time, in run order. Out: mean, extremes, quantiles from integer histograms, the worst
//! runs by index. Everything is a count, an extreme or a whole number, so parts of a campaign join to the same bytes
//! however it was cut.

use serde::{Deserialize, Serialize};

use super::each::{KeepRuns, KeptRun};
use super::metric_stats::{MetricStats, MetricSummary};
use super::tally::Counted;
use crate::metrics::{METRICS, MetricColumn, Metrics};

/// Failed runs kept with their reasons.
pub(crate) const FAILURES_KEPT: usize = 20;

/// A run that could not be finished.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema, Deserialize)]
pub struct FailedRun {
    /// Index of the run.
    pub run: u64,
    /// Why.
    pub reason: String,
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
            && self.metrics.iter().all(MetricStats::is_sound)
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

    #[test]
    fn the_share_of_runs_rises_from_the_least_to_the_most_as_they_are_spread() {
        let values: Vec<f64> = (0..1000).map(|k| 100.0 + f64::from((k * 379) % 1000) * 0.1).collect();
        let spread =
            of(&values).spreads().into_iter().find(|spread| spread.summary.name == "peak boost").unwrap();
        let [first, .., last] = &spread.shares[..] else { panic!("{:?}", spread.shares) };
        assert_eq!((first.0, *last), (100.0, (199.9, 1.0)));
        assert!(spread.shares.is_sorted());
        // A flat distribution: the share is the place between the ends.
        assert!(spread.shares.iter().all(|(value, share)| ((value - 100.0) / 100.0 - share).abs() < 0.01));
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
