//! Statistics of one metric over many runs, in constant memory.
//!
//! In: a value at a time, in run order. Out: mean, extremes, quantiles and shares from an integer histogram, the worst
//! runs by index. Everything is a count, an extreme or a whole number, so parts join to the same bytes.

use serde::{Deserialize, Serialize};

use crate::metrics::MetricColumn;

/// Bins of a histogram. They go by the cube root of the place in the metric's range, as most metrics are small
/// against it: a quantile is known to 3 % at a ten-thousandth of the range and to 0.15 % at its end.
const BINS: usize = 2000;
/// Worst runs kept for each metric.
pub(crate) const WORST_KEPT: usize = 5;
/// Fractions of a unit that sums are kept in, 2⁴⁰ of them: whole numbers, so that parts of a campaign add up to the
/// same bits whichever way it is cut. A mean is known to half of one.
const FRACTIONS: f64 = (1_u64 << 40) as f64;
/// Largest value that a sum takes whole; no metric of a run that ended comes near, and a hundred million still fit.
const MOST: f64 = 1e15;

/// A run that stands out.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct StandOut {
    /// Index of the run in its campaign.
    pub run: u64,
    /// Its value.
    pub value: f64,
}

/// Statistics of one metric.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct MetricStats {
    count: u64,
    sum_in_fractions: i128,
    pub(super) extent: Option<(f64, f64)>,
    below: u64,
    above: u64,
    cube_root_bins: Vec<u32>,
    worst: Vec<StandOut>,
}

impl MetricStats {
    pub(super) fn new() -> Self {
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

    pub(super) fn add(&mut self, column: &MetricColumn, run: u64, value: f64) {
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
        self.keep_worst(StandOut { run, value });
    }

    pub(super) fn join(&mut self, later: Self) {
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

    fn keep_worst(&mut self, worst: StandOut) {
        let place = self.worst.partition_point(|kept| kept.value >= worst.value);
        if place < WORST_KEPT {
            self.worst.insert(place, worst);
            self.worst.truncate(WORST_KEPT);
        }
    }

    /// Whether its histogram has the size that this program makes.
    pub(super) fn is_sound(&self) -> bool {
        self.cube_root_bins.len() == BINS
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
    pub(super) fn shares(&self, column: &MetricColumn, (least, most): (f64, f64)) -> Vec<(f64, f64)> {
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

    pub(super) fn summary(&self, column: &MetricColumn, extent: (f64, f64)) -> MetricSummary {
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
    pub worst: Vec<StandOut>,
}

impl MetricSummary {
    /// Width of the bin around a value: a quantile there is known no better.
    #[must_use]
    pub fn known_to(&self, value: f64) -> f64 {
        let share = share(self.range, value);
        3.0 * (self.range.1 - self.range.0) / BINS as f64 * share * share
    }
}
