//! How settings do on several worlds, beside the old ones.

use crate::metrics::Metrics;
use crate::run::RunOutcome;

/// What is allowed of new settings.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, schemars::JsonSchema)]
pub struct TuningLimits {
    /// Mean overshoot of the runs that have one, %; old settings that overshoot further set the limit themselves.
    pub overshoot_pct: f64,
    /// Travel of the vanes, times that of the old settings.
    pub travel: f64,
    /// Reversals of the vanes, times those of the old settings.
    pub reversals: f64,
}

impl Default for TuningLimits {
    fn default() -> Self {
        Self { overshoot_pct: 10.0, travel: 1.25, reversals: 1.5 }
    }
}

/// Means over the worlds of one scenario.
#[derive(Debug, Clone, Copy, PartialEq, Default, serde::Serialize, schemars::JsonSchema)]
pub struct TuningMeans {
    /// ∫ |wanted − boost| dt, kPa s.
    pub boost_iae_kpa_s: f64,
    /// Time to boost of the runs that have one, s.
    pub time_to_boost_s: Option<f64>,
    /// Overshoot of the runs that have one, %.
    pub overshoot_pct: Option<f64>,
    /// Travel, strokes.
    pub travel_strokes: f64,
    /// Reversals.
    pub reversals: f64,
    /// Exhaust less intake pressure, kPa.
    pub pumping_kpa: f64,
    /// Share of the runs that passed a limit of the scenario, had the guard act, or could not be finished.
    pub bad_runs: f64,
}

/// What the judging keeps of one run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct JudgedRun {
    pub(super) metrics: Option<Metrics>,
    is_bad: bool,
}

impl JudgedRun {
    pub(super) fn of(outcome: Option<&RunOutcome>) -> Self {
        let metrics = outcome.map(|outcome| outcome.metrics);
        let is_bad = outcome
            .is_none_or(|outcome| !outcome.metrics.limits_passed().is_empty() || !outcome.events.is_empty());
        Self { metrics, is_bad }
    }
}

fn mean(values: impl Iterator<Item = f64>) -> Option<f64> {
    let (mut sum, mut count) = (0.0, 0_u32);
    for value in values {
        sum += value;
        count += 1;
    }
    (count > 0).then(|| sum / f64::from(count))
}

impl TuningMeans {
    pub(super) fn of(runs: &[JudgedRun]) -> Self {
        let metrics = || runs.iter().filter_map(|run| run.metrics);
        let of = |value: fn(&Metrics) -> f64| mean(metrics().map(|m| value(&m))).unwrap_or(f64::INFINITY);
        let some = |value: fn(&Metrics) -> Option<f64>| mean(metrics().filter_map(|m| value(&m)));
        Self {
            boost_iae_kpa_s: of(|m| m.boost_iae_kpa_s),
            time_to_boost_s: some(|m| m.time_to_boost_s),
            overshoot_pct: some(|m| m.overshoot_pct),
            travel_strokes: of(|m| m.travel_strokes),
            reversals: of(|m| m.reversals),
            pumping_kpa: of(|m| m.pumping_kpa),
            bad_runs: mean(runs.iter().map(|run| f64::from(u8::from(run.is_bad)))).unwrap_or(1.0),
        }
    }

    /// By how much limits are exceeded beside the old settings, each as a share of its limit; 0 within all.
    pub(super) fn excess(&self, old: &Self, limits: &TuningLimits) -> f64 {
        self.beside_limits(old, limits).iter().map(LimitedMean::excess).sum()
    }

    /// What is limited beside the old settings.
    #[must_use]
    pub fn beside_limits(&self, old: &Self, limits: &TuningLimits) -> [LimitedMean; 4] {
        let overshoot = limits.overshoot_pct.max(old.overshoot_pct.unwrap_or(0.0));
        let reversals = (limits.reversals * old.reversals).max(LEAST_REVERSALS);
        let mean = |what, reached, allowed| LimitedMean { what, reached, allowed, whole: allowed };
        [
            mean("overshoot, %", self.overshoot_pct.unwrap_or(0.0), overshoot),
            mean("travel, strokes", self.travel_strokes, limits.travel * old.travel_strokes),
            mean("reversals", self.reversals, reversals),
            LimitedMean {
                what: "share of runs out of limits",
                reached: self.bad_runs,
                allowed: old.bad_runs,
                whole: 1.0,
            },
        ]
    }
}

/// A mean that is limited.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LimitedMean {
    /// What it is, with its unit.
    pub what: &'static str,
    /// What was reached.
    pub reached: f64,
    /// The most that is allowed.
    pub allowed: f64,
    /// What an excess is a share of.
    whole: f64,
}

impl LimitedMean {
    /// By how much the limit is exceeded, as a share; 0 within it.
    #[must_use]
    pub fn excess(&self) -> f64 {
        ((self.reached - self.allowed) / self.whole.max(f64::MIN_POSITIVE)).max(0.0)
    }
}

/// Fewer reversals than this are not counted against anyone.
const LEAST_REVERSALS: f64 = 6.0;

#[cfg(test)]
mod tests {
    use super::*;

    fn means(overshoot_pct: f64, travel_strokes: f64, reversals: f64, bad_runs: f64) -> TuningMeans {
        let overshoot_pct = Some(overshoot_pct);
        TuningMeans { overshoot_pct, travel_strokes, reversals, bad_runs, ..TuningMeans::default() }
    }

    #[test]
    fn each_limit_is_exceeded_by_itself() {
        let (limits, old) = (TuningLimits::default(), means(4.0, 2.0, 10.0, 0.1));
        let excess = |new: TuningMeans| new.excess(&old, &limits);
        assert_eq!(excess(means(10.0, 2.5, 15.0, 0.1)), 0.0);
        assert!((excess(means(12.0, 2.0, 10.0, 0.1)) - 0.2).abs() < 1e-12);
        assert!((excess(means(4.0, 2.75, 10.0, 0.1)) - 0.1).abs() < 1e-12);
        assert!((excess(means(4.0, 2.0, 22.5, 0.1)) - 0.5).abs() < 1e-12);
        assert!((excess(means(4.0, 2.0, 10.0, 0.3)) - 0.2).abs() < 1e-12);
    }

    #[test]
    fn a_run_that_was_not_finished_is_bad_and_has_no_metrics() {
        let means = TuningMeans::of(&[JudgedRun::of(None)]);
        assert_eq!((means.bad_runs, means.boost_iae_kpa_s), (1.0, f64::INFINITY));
    }
}
