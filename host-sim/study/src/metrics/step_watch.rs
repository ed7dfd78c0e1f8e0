//! How boost follows the one step that a scenario names.

use super::Metrics;
use crate::trace::TraceRow;
use plant::world::TICK_S;

/// Share of the step around the wanted boost that counts as settled.
const SETTLED_SHARE: f64 = 0.05;
/// A step in wanted boost smaller than this is none, kPa.
const LEAST_STEP_KPA: f64 = 1.0;

/// Watches the one step that the scenario names.
#[derive(Debug, Clone, Copy)]
pub(super) struct StepWatch {
    at_s: f64,
    from_kpa: f64,
    to_kpa: f64,
    reached_10_s: Option<f64>,
    reached_90_s: Option<f64>,
    furthest: f64,
    last_outside_s: f64,
    is_over: bool,
    is_inside: bool,
}

impl StepWatch {
    pub(super) fn new(row: &TraceRow) -> Self {
        Self {
            at_s: row.t_s,
            from_kpa: row.boost_kpa,
            to_kpa: row.boost_target_kpa,
            reached_10_s: None,
            reached_90_s: None,
            furthest: 0.0,
            last_outside_s: row.t_s,
            is_over: (row.boost_target_kpa - row.boost_kpa).abs() < LEAST_STEP_KPA,
            is_inside: false,
        }
    }

    pub(super) fn add(&mut self, row: &TraceRow) {
        self.is_over |= (row.boost_target_kpa - self.to_kpa).abs() > LEAST_STEP_KPA;
        if self.is_over {
            return;
        }
        let gone = (row.boost_kpa - self.from_kpa) / (self.to_kpa - self.from_kpa);
        if gone >= 0.1 {
            self.reached_10_s.get_or_insert(row.t_s);
        }
        if gone >= 0.9 {
            self.reached_90_s.get_or_insert(row.t_s);
        }
        self.furthest = self.furthest.max(gone - 1.0);
        self.is_inside = (gone - 1.0).abs() <= SETTLED_SHARE;
        if !self.is_inside {
            self.last_outside_s = row.t_s;
        }
    }

    pub(super) fn report(&self, metrics: &mut Metrics) {
        metrics.time_to_boost_s = self.reached_90_s.map(|reached| reached - self.at_s);
        metrics.rise_s = self.reached_90_s.zip(self.reached_10_s).map(|(end, start)| end - start);
        let settled = (self.last_outside_s + TICK_S) - self.at_s;
        metrics.settling_s = self.is_inside.then_some(settled);
        metrics.overshoot_pct = self.reached_90_s.map(|_| 100.0 * self.furthest);
    }
}
