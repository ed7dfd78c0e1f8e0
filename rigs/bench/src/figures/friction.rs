//! Friction over the travel, from slow open-loop sweeps in both directions.
//!
//! In: `(opening, effort)` readings taken while moving slowly, by direction; effort is motor current in
//! ampere (or duty, for a picture). Out: half the difference between the directions as a function of
//! opening (friction) and their mean (spring and weight). Ends are left out; a sweep that covers too little
//! of the travel is refused.

use super::{Figure, Measure, mean};

/// Bins over the whole travel: 2 % each, wider than play and narrower than a vane pin's trouble.
pub const BINS: usize = 50;
/// Fewest bins with both directions in them.
const MIN_BINS: usize = 10;

/// Friction at one place of the travel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FrictionPoint {
    /// Middle of the bin, opening.
    pub opening: f64,
    /// Mean effort while opening.
    pub effort_opening: f64,
    /// Mean effort while closing.
    pub effort_closing: f64,
}

impl FrictionPoint {
    /// Half the difference between the directions.
    #[must_use]
    pub fn friction(&self) -> f64 {
        (self.effort_opening - self.effort_closing) / 2.0
    }

    /// What remains without friction: the spring, and the weight of the lever.
    #[must_use]
    pub fn balance(&self) -> f64 {
        f64::midpoint(self.effort_opening, self.effort_closing)
    }
}

/// Friction over the travel.
#[derive(Debug, Clone, PartialEq)]
pub struct FrictionCurve {
    points: Vec<FrictionPoint>,
    end_excluded: f64,
}

/// Why sweeps give no friction.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum FrictionError {
    /// Too little of the travel was covered in both directions.
    #[error(
        "both directions cover {percent:.0} % of the travel; at least {least:.0} % are needed. \
         Check that the ring moves freely and repeat the slow sweep"
    )]
    TooLittleTravel {
        /// Share covered, per cent.
        percent: f64,
        /// Share needed, per cent.
        least: f64,
    },
}

impl FrictionCurve {
    /// Averages both directions in bins of opening; readings within `end_excluded` of either end do not count.
    pub fn try_new(
        opening: &[(f64, f64)],
        closing: &[(f64, f64)],
        end_excluded: f64,
    ) -> Result<Self, FrictionError> {
        let (opening, closing) = (binned(opening, end_excluded), binned(closing, end_excluded));
        let points: Vec<_> = opening
            .iter()
            .zip(&closing)
            .enumerate()
            .filter(|(_, (up, down))| !up.is_empty() && !down.is_empty())
            .map(|(bin, (up, down))| FrictionPoint {
                opening: (bin as f64 + 0.5) / BINS as f64,
                effort_opening: mean(up),
                effort_closing: mean(down),
            })
            .collect();
        if points.len() < MIN_BINS {
            let share = |bins: usize| 100.0 * bins as f64 / BINS as f64;
            return Err(FrictionError::TooLittleTravel {
                percent: share(points.len()),
                least: share(MIN_BINS),
            });
        }
        Ok(Self { points, end_excluded })
    }

    /// Friction from the closed end to the open end.
    #[must_use]
    pub fn points(&self) -> &[FrictionPoint] {
        &self.points
    }

    /// The point with the largest friction.
    #[must_use]
    pub fn largest(&self) -> FrictionPoint {
        let first = self.points[0];
        self.points.iter().copied().fold(first, |a, b| if b.friction() > a.friction() { b } else { a })
    }

    /// Median friction over the bins.
    #[must_use]
    pub fn median(&self) -> f64 {
        let mut values: Vec<_> = self.points.iter().map(FrictionPoint::friction).collect();
        values.sort_by(f64::total_cmp);
        let (lower, upper) = (values[(values.len() - 1) / 2], values[values.len() / 2]);
        f64::midpoint(lower, upper)
    }

    /// The figures; the effort must be motor current.
    #[must_use]
    pub fn figures(&self, conditions: &str) -> Vec<Figure> {
        let largest = self.largest();
        let median = self.median();
        let conditions = format!(
            "{conditions}; {:.0} % of travel at each end left out, {} bins",
            100.0 * self.end_excluded,
            self.points.len()
        );
        let place = format!("at {:.0} % of travel", 100.0 * largest.opening);
        let mut figures = vec![
            Figure::new(Measure::FrictionLargest, largest.friction(), &conditions).placed(place.clone()),
            Figure::new(Measure::FrictionMedian, median, &conditions),
        ];
        if median > 0.0 {
            let ratio = Figure::new(Measure::FrictionRatio, largest.friction() / median, &conditions);
            figures.push(ratio.placed(place));
        }
        figures
    }
}

fn binned(readings: &[(f64, f64)], end_excluded: f64) -> Vec<Vec<f64>> {
    let mut bins = vec![Vec::new(); BINS];
    for &(opening, effort) in readings {
        let inside = (end_excluded..=1.0 - end_excluded).contains(&opening) && effort.is_finite();
        if inside {
            // Openings lie in 0..=1 here; the very end shares the last bin.
            let bin = ((opening * BINS as f64) as usize).min(BINS - 1);
            bins[bin].push(effort);
        }
    }
    bins
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sweep(friction: impl Fn(f64) -> f64, sign: f64) -> Vec<(f64, f64)> {
        (0..=1000).map(|i| f64::from(i) / 1000.0).map(|x| (x, 0.5 - 0.3 * x + sign * friction(x))).collect()
    }

    #[test]
    fn a_binding_spot_is_found_where_it_is() {
        let sooted = |x: f64| if (0.60..0.64).contains(&x) { 0.40 } else { 0.20 };
        let curve = FrictionCurve::try_new(&sweep(sooted, 1.0), &sweep(sooted, -1.0), 0.02).unwrap();
        assert!((curve.largest().opening - 0.61).abs() < 0.011, "{:?}", curve.largest());
        assert!((curve.median() - 0.20).abs() < 1e-9);
        assert!((curve.largest().friction() - 0.40).abs() < 0.02);
        assert!((curve.points()[10].balance() - (0.5 - 0.3 * curve.points()[10].opening)).abs() < 1e-3);
    }

    #[test]
    fn a_sweep_that_hardly_moves_is_refused() {
        let stuck: Vec<_> = sweep(|_| 0.2, 1.0).into_iter().filter(|r| r.0 < 0.1).collect();
        assert!(matches!(
            FrictionCurve::try_new(&stuck, &stuck, 0.02),
            Err(FrictionError::TooLittleTravel { .. })
        ));
    }
}
