//! What watches a run while it goes: the recorder, and whoever looks on.

use firmware_core::units::Tick;

use super::stop::RunStop;
use crate::rig::{RigError, StreamItem};

/// What there is to see of a run, in order.
#[derive(Debug, Clone, Copy)]
pub enum Observed<'run> {
    /// A part of the plan begins.
    Begins(PlanPart),
    /// The rig has said this: a sample, an event, a loss, a release.
    Item(&'run StreamItem),
    /// The run was cut short and the rig was told to stop: what it answered.
    LetGo(Result<(), &'run RigError>),
}

/// A part of a plan that the rig goes through by itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PlanPart {
    /// Its first tick.
    pub start: Tick,
    /// Its length, ticks.
    pub ticks: u32,
    /// Ticks of the plan that were done before it.
    pub before: u32,
    /// Ticks of the whole plan.
    pub planned: u32,
}

impl PlanPart {
    /// Share of the whole plan that is done at this tick, 0 to 1.
    #[must_use]
    pub fn done_at(&self, now: Tick) -> f64 {
        let here = if now.has_reached(self.start) { now.since(self.start).min(self.ticks) } else { 0 };
        f64::from(self.before + here) / f64::from(self.planned.max(1))
    }
}

/// Sees everything of a run while it goes.
pub trait Observer {
    /// Takes one thing in.
    ///
    /// # Errors
    /// A [`RunStop`] ends the run: the drive is released and the record kept.
    fn see(&mut self, observed: Observed<'_>) -> Result<(), RunStop>;
}
