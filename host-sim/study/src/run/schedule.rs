//! Openings over time, on straight lines between knots, and the law that plays them.
//!
//! In: knots. Out: the opening at a time, and a law that asks for it whatever boost is.

use firmware_core::position::regulator::OutputRange;
use firmware_core::settings::{Settings, TargetSettings};
use firmware_core::target::{Aim, Forward, Law};

use super::ticks;
use crate::scenario::Scenario;
use plant::world::TICK_S;

/// A wanted opening at a time.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, schemars::JsonSchema)]
pub struct ScheduleKnot {
    /// Time, s.
    pub t_s: f64,
    /// Opening, 0 closed … 1 open.
    pub opening: f64,
}

/// Wanted openings over time. Before the first knot and after the last one they stand still.
#[derive(Debug, Clone, PartialEq, Default, serde::Serialize, schemars::JsonSchema)]
#[serde(transparent)]
pub struct Schedule {
    knots: Vec<ScheduleKnot>,
}

impl Schedule {
    /// Openings at these times, which rise.
    #[must_use]
    pub fn new(times_s: &[f64], openings: &[f64]) -> Self {
        let knots = times_s.iter().zip(openings).map(|(&t_s, &opening)| ScheduleKnot { t_s, opening });
        Self { knots: knots.collect() }
    }

    /// The knots in time order.
    #[must_use]
    pub fn knots(&self) -> &[ScheduleKnot] {
        &self.knots
    }

    /// Wanted opening at `t_s`; open where there is no knot.
    #[must_use]
    pub fn at(&self, t_s: f64) -> f64 {
        let next = self.knots.partition_point(|knot| knot.t_s <= t_s);
        let before = next.checked_sub(1).and_then(|index| self.knots.get(index));
        match (before, self.knots.get(next)) {
            (Some(from), Some(to)) => {
                from.opening + (to.opening - from.opening) * (t_s - from.t_s) / (to.t_s - from.t_s)
            }
            (Some(only), None) | (None, Some(only)) => only.opening,
            (None, None) => 1.0,
        }
    }
}

/// A schedule as it is played: counts the ticks of boost control itself, the warm-up among them.
#[derive(Debug, Clone)]
pub(crate) struct Played {
    schedule: Schedule,
    warm_up_ticks: u32,
    ticks: u32,
}

impl Played {
    /// A schedule for a scenario that is boost control from start to end.
    pub(crate) fn new(schedule: Schedule, scenario: &Scenario) -> Self {
        Self { schedule, warm_up_ticks: ticks(scenario.warm_up_s), ticks: 0 }
    }

    /// Settings under which nothing but the guard stands in a schedule's way: no least opening of the map, no soft limit.
    pub(crate) fn settings(settings: &Settings) -> Settings {
        let mut free = *settings;
        free.target.minimum_opening.0 = Default::default();
        free.target.modes.exhaust_soft_per_kpa = 0.0;
        free
    }
}

impl Law for Played {
    fn forward(&mut self, _settings: &TargetSettings, _aim: &Aim<'_>) -> Forward {
        let t_s = f64::from(self.ticks.saturating_sub(self.warm_up_ticks)) * TICK_S;
        // Room for a correction, of which none is made: the schedule never stands at the end of it.
        Forward { opening: self.schedule.at(t_s) as f32, closes: 1.0, opens: 1.0 }
    }

    fn start(&mut self, _settings: &TargetSettings, _aim: &Aim<'_>, _correction: f32) {}

    fn tick(&mut self, _settings: &TargetSettings, _aim: &Aim<'_>, _range: OutputRange) -> f32 {
        self.ticks = self.ticks.saturating_add(1);
        0.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_run_straight_between_knots_and_stand_still_outside() {
        let schedule = Schedule::new(&[1.0, 2.0, 4.0], &[0.2, 0.6, 0.4]);
        let openings = [0.0, 1.0, 1.5, 2.0, 3.0, 9.0].map(|t_s| schedule.at(t_s));
        for (found, wanted) in openings.into_iter().zip([0.2, 0.2, 0.4, 0.6, 0.5, 0.4]) {
            assert!((found - wanted).abs() < 1e-12, "{openings:?}");
        }
        assert_eq!(Schedule::default().at(1.0), 1.0);
    }
}
