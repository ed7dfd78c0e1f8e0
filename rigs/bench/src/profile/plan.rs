//! How the bench moves a unit: sweep, slow friction ramps, steps, and the bands that tell movement from rest.

use serde::Deserialize;

use super::NEXT;
use plant::toml_file::{TomlError, TomlFile};

/// Way of the command in a slow reversal, opening: wider than any dead band that is not a fault at sight.
pub(crate) const REVERSAL_RANGE: f64 = 0.015;
/// Time of one ramp of a slow reversal, ticks: at 0.5 % of travel per second the loop's lag is 0.01 %.
pub(crate) const REVERSAL_TICKS: u32 = 3000;
/// Shortest hole in the ramps of a slow reversal that leaves it open, ticks: at their rate it hides 0.03 % of travel.
pub(crate) const REVERSAL_HOLE: u32 = 64;

/// The whole plan.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TestPlan {
    /// Closed-loop staircase.
    pub sweep: SweepPlan,
    /// Slow open-loop ramps.
    pub friction: FrictionPlan,
    /// Steps.
    pub step: StepPlan,
    /// What counts as movement, as settled, as the end.
    pub bands: BandPlan,
}

/// A staircase over the travel, up and down.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SweepPlan {
    /// Points from the lowest to the highest command, 3 to 21.
    pub points: u32,
    /// Measured up-and-down cycles, 1 to 20.
    pub cycles: u32,
    /// Cycles run before them and not measured, 0 to 5.
    pub preconditioning_cycles: u32,
    /// Lowest command, opening, 0 to 0.4.
    pub lowest: f64,
    /// Highest command, opening, 0.6 to 1.
    pub highest: f64,
    /// Time at each point, ticks, 50 to 10 000.
    pub dwell_ticks: u32,
    /// Last part of the dwell that is averaged, ticks, 10 up to the dwell.
    pub average_ticks: u32,
    /// Openings at which slow reversals show the dead band, 0.1 to 0.9 each, up to 5; none is allowed.
    pub reversals: Vec<f64>,
}

/// Duty ramps so slow that friction alone separates the directions.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FrictionPlan {
    /// Duty at the opening end of the ramp, 0 to 1.
    pub opening_duty: f64,
    /// Duty at the closing end, −1 to 0.
    pub closing_duty: f64,
    /// Time of one ramp, ticks, 500 to 120 000.
    pub ramp_ticks: u32,
    /// Measured ramps each way, 1 to 10.
    pub cycles: u32,
    /// Left out at each end, opening, 0.005 to 0.2.
    pub end_excluded: f64,
}

/// Steps of the opening, both directions.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StepPlan {
    /// Sizes, per cent of travel, 1 to 90 each.
    pub sizes_percent: Vec<f64>,
    /// Middle of the steps, opening, 0.2 to 0.8.
    pub centre: f64,
    /// Time before and after each step, ticks, 800 to 20 000: less than the slowest lever needs to come to rest
    /// and to be seen at rest would call it restless.
    pub hold_ticks: u32,
}

/// Bands in opening.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BandPlan {
    /// Movement counts as begun outside this, 0.0002 to 0.05.
    pub moved: f64,
    /// A response counts as settled inside this, 0.0005 to 0.05.
    pub settled: f64,
    /// A stroke ends this near its far end, 0.002 to 0.1.
    pub stroke_end: f64,
}

impl TestPlan {
    pub(super) fn check(&self, file: &TomlFile) -> Result<(), TomlError> {
        let (sweep, friction, step, bands) = (&self.sweep, &self.friction, &self.step, &self.bands);
        let check = |field: &str, value: f64, min: f64, max: f64| match (min..=max).contains(&value) {
            true => Ok(()),
            false => Err(file.refuse(&format!("plan.{field}"), format!("allowed {min} to {max}"), NEXT)),
        };
        check("sweep.points", sweep.points.into(), 3.0, 21.0)?;
        check("sweep.cycles", sweep.cycles.into(), 1.0, 20.0)?;
        check("sweep.preconditioning_cycles", sweep.preconditioning_cycles.into(), 0.0, 5.0)?;
        check("sweep.lowest", sweep.lowest, 0.0, 0.4)?;
        check("sweep.highest", sweep.highest, 0.6, 1.0)?;
        check("sweep.dwell_ticks", sweep.dwell_ticks.into(), 50.0, 10_000.0)?;
        check("sweep.average_ticks", sweep.average_ticks.into(), 10.0, sweep.dwell_ticks.into())?;
        for &place in &sweep.reversals {
            check("sweep.reversals", place, 0.1, 0.9)?;
        }
        check("sweep.reversals", sweep.reversals.len() as f64, 0.0, 5.0)?;
        check("friction.opening_duty", friction.opening_duty, 0.0, 1.0)?;
        check("friction.closing_duty", friction.closing_duty, -1.0, 0.0)?;
        check("friction.ramp_ticks", friction.ramp_ticks.into(), 500.0, 120_000.0)?;
        check("friction.cycles", friction.cycles.into(), 1.0, 10.0)?;
        check("friction.end_excluded", friction.end_excluded, 0.005, 0.2)?;
        for &size in &step.sizes_percent {
            check("step.sizes_percent", size, 1.0, 90.0)?;
        }
        check("step.sizes_percent", step.sizes_percent.len() as f64, 1.0, 10.0)?;
        check("step.centre", step.centre, 0.2, 0.8)?;
        check("step.hold_ticks", step.hold_ticks.into(), 800.0, 20_000.0)?;
        check("bands.moved", bands.moved, 0.000_2, 0.05)?;
        check("bands.settled", bands.settled, 0.000_5, 0.05)?;
        check("bands.stroke_end", bands.stroke_end, 0.002, 0.1)
    }
}
