//! Accuracy of a sweep over n points, up and down, m cycles, after IEC 61298-2 and ISA-51.1.
//!
//! In: a [`SweepTable`] in per cent of travel. Out: deviations, hysteresis (dead band included),
//! non-repeatability and the three linearities. A ragged, empty, unordered or non-finite table is refused.

use super::line::{self, FittedLine};
use super::{Figure, Measure, Sensor, extent, mean, range};

/// Why a table of readings cannot carry the figures.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SweepTableError {
    /// Too few input points for a straight line to mean anything.
    #[error("{seen} points in the sweep; at least {MIN_POINTS} are needed. Sweep again with more points")]
    TooFewPoints {
        /// Points seen.
        seen: usize,
    },
    /// The inputs do not rise from point to point.
    #[error("sweep point {index} is not above the one before it. List the points in rising order")]
    PointsNotRising {
        /// Index of the offending point, from 0.
        index: usize,
    },
    /// No cycle holds both directions at every point.
    #[error("no complete up-and-down cycle in the record. Repeat the sweep; a cut cycle is not averaged")]
    NoWholeCycle,
    /// Up and down hold different numbers of cycles, or a cycle has a reading too many or too few.
    #[error("cycle {cycle} has {seen} readings for {points} points. Repeat the sweep")]
    Ragged {
        /// Cycle, from 0.
        cycle: usize,
        /// Readings seen.
        seen: usize,
        /// Points expected.
        points: usize,
    },
    /// A reading is not a number.
    #[error("a reading in cycle {cycle} is not a finite number. Check the sensor and repeat the sweep")]
    NotFinite {
        /// Cycle, from 0.
        cycle: usize,
    },
}

/// Fewest points a sweep may have: both ends and the middle.
pub(crate) const MIN_POINTS: usize = 3;

/// Readings of n points over m whole up-and-down cycles, all in per cent of travel.
#[derive(Debug, Clone, PartialEq)]
pub struct SweepTable {
    inputs: Vec<f64>,
    up: Vec<Vec<f64>>,
    down: Vec<Vec<f64>>,
}

impl SweepTable {
    /// Checks the readings; `up[c][i]` and `down[c][i]` belong to `inputs[i]` in cycle `c`.
    pub fn try_new(
        inputs: Vec<f64>,
        up: Vec<Vec<f64>>,
        down: Vec<Vec<f64>>,
    ) -> Result<Self, SweepTableError> {
        if inputs.len() < MIN_POINTS {
            return Err(SweepTableError::TooFewPoints { seen: inputs.len() });
        }
        if let Some(i) = inputs.windows(2).position(|w| !matches!(w, [a, b] if b > a)) {
            return Err(SweepTableError::PointsNotRising { index: i + 1 });
        }
        if up.is_empty() || up.len() != down.len() {
            return Err(SweepTableError::NoWholeCycle);
        }
        for (cycle, readings) in up.iter().enumerate().chain(down.iter().enumerate()) {
            if readings.len() != inputs.len() {
                return Err(SweepTableError::Ragged { cycle, seen: readings.len(), points: inputs.len() });
            }
            if !readings.iter().all(|r| r.is_finite()) {
                return Err(SweepTableError::NotFinite { cycle });
            }
        }
        Ok(Self { inputs, up, down })
    }

    /// The input points, rising.
    #[must_use]
    pub fn inputs(&self) -> &[f64] {
        &self.inputs
    }

    /// Number of whole cycles.
    #[must_use]
    pub fn cycles(&self) -> usize {
        self.up.len()
    }

    /// Every reading of one cycle: up, then down.
    #[must_use]
    pub fn cycle(&self, cycle: usize) -> Option<(&[f64], &[f64])> {
        Some((self.up.get(cycle)?, self.down.get(cycle)?))
    }

    /// Mean rising reading at each point.
    #[must_use]
    pub fn average_up(&self) -> Vec<f64> {
        self.columns(&self.up).map(|column| mean(&column)).collect()
    }

    /// Mean falling reading at each point.
    #[must_use]
    pub fn average_down(&self) -> Vec<f64> {
        self.columns(&self.down).map(|column| mean(&column)).collect()
    }

    /// The mean of both directions at each point, as `(input, reading)`.
    #[must_use]
    pub fn average_curve(&self) -> Vec<(f64, f64)> {
        let averages = self.average_up().into_iter().zip(self.average_down());
        self.inputs.iter().zip(averages).map(|(&x, (up, down))| (x, f64::midpoint(up, down))).collect()
    }

    /// Largest negative and largest positive deviation of any reading.
    #[must_use]
    pub fn inaccuracy(&self) -> (f64, f64) {
        let readings = self.up.iter().chain(&self.down);
        let errors = readings.flat_map(|cycle| cycle.iter().zip(&self.inputs).map(|(y, x)| y - x));
        extent(errors).unwrap_or((0.0, 0.0))
    }

    /// Largest difference between the average falling and rising reading, and the input it occurs at.
    #[must_use]
    pub fn hysteresis(&self) -> (f64, f64) {
        let pairs = self.average_down().into_iter().zip(self.average_up());
        self.inputs.iter().zip(pairs).fold((0.0, 0.0), |(worst, at), (&x, (down, up))| {
            let gap = (down - up).abs();
            if gap > worst { (gap, x) } else { (worst, at) }
        })
    }

    /// Largest range of readings of one point in one direction, and the input it occurs at.
    #[must_use]
    pub fn non_repeatability(&self) -> (f64, f64) {
        let up = self.columns(&self.up).map(range);
        let ranges = up.zip(self.columns(&self.down).map(range)).map(|(a, b)| a.max(b));
        self.inputs.iter().zip(ranges).fold((0.0, 0.0), |(worst, at), (&x, spread)| {
            if spread > worst { (spread, x) } else { (worst, at) }
        })
    }

    /// Terminal-based, zero-based and independent line of the average curve.
    #[must_use]
    pub fn lines(&self) -> Option<[FittedLine; 3]> {
        let curve = self.average_curve();
        Some([line::terminal_based(&curve)?, line::zero_based(&curve)?, line::independent(&curve)?])
    }

    /// All figures of the table. The sensor decides their names: a unit's own sensor cannot show its own
    /// linearity, so without an independent gauge they are errors of the loop.
    #[must_use]
    pub fn figures(&self, sensor: Sensor, conditions: &str) -> Vec<Figure> {
        let figure = |measure, value, at: Option<f64>| {
            let figure = Figure::new(measure, value, conditions);
            match at {
                Some(x) => figure.placed(format!("at {x:.0} % of travel")),
                None => figure,
            }
        };
        let (low, high) = self.inaccuracy();
        let (hysteresis, hysteresis_at) = self.hysteresis();
        let (spread, spread_at) = self.non_repeatability();
        let mut figures = vec![
            figure(Measure::InaccuracyHigh(sensor), high, None),
            figure(Measure::InaccuracyLow(sensor), low, None),
            figure(Measure::Hysteresis(sensor), hysteresis, Some(hysteresis_at)),
            figure(Measure::NonRepeatability(sensor), spread, Some(spread_at)),
        ];
        if let Some([terminal, zero, independent]) = self.lines() {
            figures.extend([
                figure(Measure::LinearityTerminal(sensor), terminal.deviation, Some(terminal.at)),
                figure(Measure::LinearityZero(sensor), zero.deviation, Some(zero.at)),
                figure(Measure::LinearityIndependent(sensor), independent.deviation, Some(independent.at)),
            ]);
        }
        figures
    }

    fn columns<'a>(&'a self, cycles: &'a [Vec<f64>]) -> impl Iterator<Item = Vec<f64>> + 'a {
        (0..self.inputs.len()).map(|i| cycles.iter().filter_map(|cycle| cycle.get(i).copied()).collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_table_that_cannot_carry_the_figures_is_refused() {
        let x = || vec![0.0, 50.0, 100.0];
        let refused = |inputs, up, down| SweepTable::try_new(inputs, up, down).unwrap_err();
        assert_eq!(refused(vec![0.0, 1.0], vec![], vec![]), SweepTableError::TooFewPoints { seen: 2 });
        assert_eq!(
            refused(vec![0.0, 50.0, 50.0], vec![], vec![]),
            SweepTableError::PointsNotRising { index: 2 }
        );
        assert_eq!(refused(x(), vec![x()], vec![]), SweepTableError::NoWholeCycle);
        assert_eq!(
            refused(x(), vec![x()], vec![vec![0.0]]),
            SweepTableError::Ragged { cycle: 0, seen: 1, points: 3 }
        );
        assert_eq!(
            refused(x(), vec![vec![0.0, f64::NAN, 1.0]], vec![x()]),
            SweepTableError::NotFinite { cycle: 0 }
        );
    }

    #[test]
    fn the_units_own_sensor_never_yields_a_linearity() {
        let x = vec![0.0, 50.0, 100.0];
        let table = SweepTable::try_new(x.clone(), vec![x.clone()], vec![x]).unwrap();
        let names =
            |sensor| table.figures(sensor, "").iter().map(|f| f.definition().name).collect::<Vec<_>>();
        assert!(names(Sensor::Own).iter().all(|name| !name.contains("linearity")));
        assert!(names(Sensor::LeverGauge).iter().any(|name| name.contains("linearity")));
    }
}
