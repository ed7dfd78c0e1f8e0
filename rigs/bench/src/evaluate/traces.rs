//! Traces of a run, for whoever draws them.

use crate::figures::Stop;

/// What the learn showed.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct LearnTrace {
    /// Seconds and position counts.
    pub position: Vec<(f64, f64)>,
    /// Seconds and motor current.
    pub current: Vec<(f64, f64)>,
    /// Seconds, counts and stop of each touch.
    pub touches: Vec<(f64, f64, Stop)>,
    /// Where each stop may lie, counts.
    pub windows: Vec<(Stop, f64, f64)>,
}

/// What is left of a staircase of which no cycle is whole, per cent of travel.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SweepPart {
    /// Passes in order, each as command and reading; a pass ends where a point is missing.
    pub passes: Vec<Vec<(f64, f64)>>,
    /// Commands on either side of what is missing.
    pub missing: Vec<(f64, f64)>,
}

/// A simulated step of the boost target.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct BoostTrace {
    /// Seconds and boost, kPa absolute.
    pub boost: Vec<(f64, f64)>,
    /// Seconds and target.
    pub target: Vec<(f64, f64)>,
    /// The limit that the guard keeps, kPa absolute.
    pub guard_limit: Option<f64>,
    /// Seconds and opening.
    pub opening: Vec<(f64, f64)>,
    /// Seconds and stage name, where the guard changed stage.
    pub guard_stages: Vec<(f64, String)>,
}
