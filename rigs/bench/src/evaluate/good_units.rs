//! What good units measured, figure by figure: the values that limits are drawn from.
//!
//! In: units with their runs, and what their gauge must read. Out: for each figure the values of each unit, one a run (the
//! worst of the run, as a limit sees it), and each unit that is not counted, with why. Good is a unit whose minimum-flow
//! stop a person gauged, inside the gauge's limits by more than the reading is uncertain: not one that this bench liked.

use std::collections::BTreeMap;
use std::fmt;

use firmware_core::calibration::{Setup, Warmth};
use firmware_core::settings::SettingsHash;

use super::evaluate;
use crate::figures::tolerance::Sides;
use crate::figures::{Figure, GaugedIn, Measure, Sensor};
use crate::limits::{Bounds, LimitStanding};
use crate::number::number;
use crate::profile::Profile;
use crate::record::{Gauged, Ground, Run, RunKind};

/// What the gauge of a good unit reads.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct GoodGauge {
    /// Least reading.
    pub min: f64,
    /// Most.
    pub max: f64,
    /// In what.
    pub unit: GaugedIn,
}

impl fmt::Display for GoodGauge {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} to {} {}", self.min, self.max, self.unit.unit())
    }
}

/// Why a unit is not counted.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum NotGood {
    /// No learn of it carries a reading in that unit.
    NotGauged,
    /// A reading lies outside, or too near to an edge.
    Reading {
        /// The reading.
        reading: Gauged,
        /// Where it stands.
        standing: LimitStanding,
    },
}

impl fmt::Display for NotGood {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotGauged => f.write_str(
                "its minimum-flow stop was not gauged: nothing but this bench says that it is good. Gauge it, then \
                 `unit confirm` with --gauged and --tolerance",
            ),
            Self::Reading { reading: Gauged { value, unit, tolerance }, standing } => {
                let where_it_is = match standing {
                    LimitStanding::Inside => "inside",
                    LimitStanding::TooClose => "nearer to the edge than that",
                    LimitStanding::Outside => "outside",
                };
                let (value, tolerance) = (number(*value), number(*tolerance));
                write!(f, "gauged at {value} ± {tolerance} {}: {where_it_is}", unit.unit())
            }
        }
    }
}

impl GoodGauge {
    /// Whether the unit with these runs is good.
    ///
    /// # Errors
    /// Says why not.
    pub(crate) fn passes(self, runs: &[Run]) -> Result<(), NotGood> {
        let readings = runs.iter().flat_map(|run| &run.confirmed).filter_map(|confirmed| confirmed.gauged);
        let readings: Vec<Gauged> = readings.filter(|reading| reading.unit == self.unit).collect();
        let standing = |reading: &Gauged| {
            let expanded_uncertainty = Some(reading.tolerance);
            let (min, max) = (Some(self.min), Some(self.max));
            Bounds { min, max, expanded_uncertainty, sound_units: None }.standing(reading.value)
        };
        let worst = readings
            .into_iter()
            .map(|reading| (standing(&reading), reading))
            .max_by_key(|(standing, _)| *standing);
        match worst {
            None => Err(NotGood::NotGauged),
            Some((LimitStanding::Inside, _)) => Ok(()),
            Some((standing @ (LimitStanding::TooClose | LimitStanding::Outside), reading)) => {
                Err(NotGood::Reading { reading, standing })
            }
        }
    }
}

/// Where a limit stands on a figure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum LimitSide {
    /// Less is better.
    Most,
    /// More is better.
    Least,
    /// Neither.
    Both,
}

impl LimitSide {
    /// Of a figure that a run of a unit shows; none where no limit is drawn from units.
    fn of(measure: Measure) -> Option<Self> {
        match measure {
            Measure::InaccuracyHigh(Sensor::Own)
            | Measure::Hysteresis(Sensor::Own)
            | Measure::NonRepeatability(Sensor::Own)
            | Measure::LinearityTerminal(Sensor::Own)
            | Measure::LinearityZero(Sensor::Own)
            | Measure::LinearityIndependent(Sensor::Own)
            | Measure::DeadBand
            | Measure::StrokeTime(_)
            | Measure::DeadTime(_)
            | Measure::T63(_)
            | Measure::T86(_)
            | Measure::Overshoot(_)
            | Measure::SettlingTime(_)
            | Measure::FrictionLargest
            | Measure::FrictionMedian
            | Measure::FrictionRatio
            | Measure::StopRepeatability(_) => Some(Self::Most),
            Measure::InaccuracyLow(Sensor::Own) => Some(Self::Least),
            Measure::Span | Measure::StopPosition(_) | Measure::StopYield(_) => Some(Self::Both),
            // Errors of either sign have their own limits above; gauges and the simulation are not the unit's runs.
            Measure::FinalError(_)
            | Measure::MinimumFlowStop(_)
            | Measure::InaccuracyHigh(Sensor::LeverGauge)
            | Measure::InaccuracyLow(Sensor::LeverGauge)
            | Measure::Hysteresis(Sensor::LeverGauge)
            | Measure::NonRepeatability(Sensor::LeverGauge)
            | Measure::LinearityTerminal(Sensor::LeverGauge)
            | Measure::LinearityZero(Sensor::LeverGauge)
            | Measure::LinearityIndependent(Sensor::LeverGauge)
            | Measure::BoostPeak
            | Measure::BoostOvershoot
            | Measure::BoostRise => None,
        }
    }

    /// Whether the interval is closed on one side or both.
    #[must_use]
    pub(crate) fn sides(self) -> Sides {
        match self {
            Self::Most | Self::Least => Sides::One,
            Self::Both => Sides::Two,
        }
    }

    fn worse(self, one: f64, other: f64) -> f64 {
        match self {
            Self::Most => one.max(other),
            Self::Least => one.min(other),
            // A run shows such a figure once.
            Self::Both => one,
        }
    }
}

/// One figure over all good units.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct FigureOfUnits {
    /// The figure.
    pub measure: Measure,
    /// Which side is limited.
    pub side: LimitSide,
    /// Each unit's values, one for each run that shows it.
    pub units: Vec<Vec<f64>>,
}

impl FigureOfUnits {
    /// True of a stop's place: it is the profile's window that limits it, not a limits file.
    #[must_use]
    pub(crate) fn is_window(&self) -> bool {
        matches!(self.measure, Measure::StopPosition(_))
    }
}

/// Under what all counted runs were made: limits speak of nothing else.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct SameGround {
    /// How the units were mounted.
    pub setup: Setup,
    /// Cold or hot.
    pub warmth: Warmth,
    /// What the controller was told.
    settings: Option<SettingsHash>,
}

impl SameGround {
    /// That of the newest learn of the first unit that has one.
    #[must_use]
    pub(crate) fn of(units: &[Vec<Run>]) -> Option<Self> {
        let newest = |runs: &'_ Vec<Run>| {
            let learn = runs.iter().rfind(|run| run.name.kind == RunKind::Learn)?;
            let info = &learn.file.run;
            let settings = info.provenance.as_ref().map(|provenance| provenance.settings);
            Some(Self { setup: info.setup, warmth: info.warmth, settings })
        };
        units.iter().find_map(newest)
    }

    /// A whole measurement on this ground, on an accepted calibration or a learn of its own.
    fn counts(self, run: &Run) -> bool {
        let info = &run.file.run;
        let settings = info.provenance.as_ref().map(|provenance| provenance.settings);
        let is_on_this = info.setup == self.setup && info.warmth == self.warmth && settings == self.settings;
        let stands = match &run.file.outcome.ground {
            None | Some(Ground::Accepted { .. }) => true,
            Some(Ground::Unproven { .. } | Ground::Diagnostic { .. }) => false,
        };
        let is_whole = run.is_complete() && run.file.outcome.refusal.is_none() && !run.file.is_relearn();
        let is_measured = match run.name.kind {
            RunKind::Learn | RunKind::Sweep | RunKind::Friction | RunKind::Step => true,
            RunKind::Cycle | RunKind::Simulate => false,
        };
        is_on_this && stands && is_whole && is_measured
    }
}

/// Every figure that the units show on that ground, in the order of keys; and how many runs are not counted.
#[must_use]
pub(crate) fn figures_of(
    units: &[Vec<Run>],
    ground: SameGround,
    profile: &Profile,
) -> (Vec<FigureOfUnits>, usize) {
    let mut found: BTreeMap<String, FigureOfUnits> = BTreeMap::new();
    let mut not_counted = 0;
    for (at, runs) in units.iter().enumerate() {
        for run in runs {
            if !ground.counts(run) {
                not_counted += 1;
                continue;
            }
            let evidence = evaluate(run, profile).evidence;
            for (measure, side, value) in worst_of_run(&evidence.figures) {
                let new = || FigureOfUnits { measure, side, units: vec![Vec::new(); units.len()] };
                let figure = found.entry(measure.definition().key).or_insert_with(new);
                if let Some(values) = figure.units.get_mut(at) {
                    values.push(value);
                }
            }
        }
    }
    let has_values = |figure: FigureOfUnits| {
        let units = figure.units.into_iter().filter(|values| !values.is_empty()).collect();
        FigureOfUnits { units, ..figure }
    };
    (found.into_values().map(has_values).collect(), not_counted)
}

/// Each figure of a run once: the value that a limit would stumble over first.
fn worst_of_run(figures: &[Figure]) -> Vec<(Measure, LimitSide, f64)> {
    let mut worst: Vec<(Measure, LimitSide, f64)> = Vec::new();
    for figure in figures {
        let Some(side) = LimitSide::of(figure.measure) else { continue };
        match worst.iter_mut().find(|(measure, ..)| *measure == figure.measure) {
            Some((_, _, value)) => *value = side.worse(*value, figure.value),
            None => worst.push((figure.measure, side, figure.value)),
        }
    }
    worst
}
