//! Straight lines laid through a measured curve, and how far the curve strays from them.
//!
//! In: `(x, y)` points with rising `x`. Out: the line and the largest deviation. All three are exact
//! searches over the slopes at which the answer can lie, not iterations that stop somewhere near it.

/// `y = intercept + slope * x`, with the largest deviation of the curve from it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FittedLine {
    /// `y` at `x = 0`.
    pub intercept: f64,
    /// Rise per unit of `x`.
    pub slope: f64,
    /// Largest absolute deviation of a point from the line.
    pub deviation: f64,
    /// `x` of the point that strays furthest.
    pub at: f64,
}

impl FittedLine {
    fn through(points: &[(f64, f64)], intercept: f64, slope: f64) -> Self {
        let (deviation, at) = points.iter().fold((0.0, 0.0), |(worst, at), &(x, y)| {
            let deviation = (y - intercept - slope * x).abs();
            if deviation > worst { (deviation, x) } else { (worst, at) }
        });
        Self { intercept, slope, deviation, at }
    }
}

/// The line through the first and the last point.
#[must_use]
pub fn terminal_based(points: &[(f64, f64)]) -> Option<FittedLine> {
    let (&(x0, y0), &(x1, y1)) = (points.first()?, points.last()?);
    if x1 <= x0 {
        return None;
    }
    let slope = (y1 - y0) / (x1 - x0);
    Some(FittedLine::through(points, y0 - slope * x0, slope))
}

/// The line through the first point whose slope makes the largest deviation as small as possible.
///
/// The largest deviation is convex and piecewise linear in the slope; its lowest point lies where two
/// points deviate equally to opposite sides, or where one point's deviation vanishes.
#[must_use]
pub fn zero_based(points: &[(f64, f64)]) -> Option<FittedLine> {
    let &(x0, y0) = points.first()?;
    let slopes = pairs(points).filter_map(|((xa, ya), (xb, yb))| {
        let run = (xa - x0) + (xb - x0);
        (run > 0.0).then(|| ((ya - y0) + (yb - y0)) / run)
    });
    smallest_deviation(slopes.map(|slope| FittedLine::through(points, y0 - slope * x0, slope)))
}

/// The line that makes the largest deviation as small as any line can (the minimax line).
///
/// At the best slope two points share one side of the band that holds the curve, so trying the slope of
/// every pair of points finds it exactly.
#[must_use]
pub fn independent(points: &[(f64, f64)]) -> Option<FittedLine> {
    let rising = pairs(points).filter(|((xa, _), (xb, _))| xb > xa);
    let slopes = rising.map(|((xa, ya), (xb, yb))| (yb - ya) / (xb - xa));
    smallest_deviation(slopes.filter_map(|slope| {
        let (low, high) = super::extent(points.iter().map(|&(x, y)| y - slope * x))?;
        Some(FittedLine::through(points, f64::midpoint(low, high), slope))
    }))
}

type LinePoint = (f64, f64);

fn pairs(points: &[LinePoint]) -> impl Iterator<Item = (LinePoint, LinePoint)> + '_ {
    points.iter().enumerate().flat_map(|(i, &a)| points.iter().skip(i).map(move |&b| (a, b)))
}

fn smallest_deviation(lines: impl Iterator<Item = FittedLine>) -> Option<FittedLine> {
    lines.min_by(|a, b| a.deviation.total_cmp(&b.deviation))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_straight_curve_strays_from_none_of_the_lines() {
        let points: Vec<_> = (0..5).map(|i| (f64::from(i), 2.0 + 3.0 * f64::from(i))).collect();
        for line in [terminal_based(&points), zero_based(&points), independent(&points)] {
            let line = line.unwrap();
            assert!(line.deviation < 1e-12 && (line.slope - 3.0).abs() < 1e-12, "{line:?}");
        }
    }

    #[test]
    fn a_single_point_has_no_line() {
        assert_eq!(terminal_based(&[(1.0, 1.0)]), None);
        assert_eq!(independent(&[(1.0, 1.0)]), None);
    }

    proptest! {
        #[test]
        fn no_other_line_beats_the_independent_line(
            ys in prop::collection::vec(-5.0..5.0f64, 3..12), intercept in -5.0..5.0f64, slope in -3.0..3.0f64,
        ) {
            let points: Vec<_> = ys.iter().enumerate().map(|(i, &y)| (i as f64, y)).collect();
            let best = independent(&points).unwrap();
            let rival = FittedLine::through(&points, intercept, slope);
            prop_assert!(best.deviation <= rival.deviation + 1e-12);
            prop_assert!(best.deviation <= terminal_based(&points).unwrap().deviation + 1e-12);
            prop_assert!(best.deviation <= zero_based(&points).unwrap().deviation + 1e-12);
        }

        #[test]
        fn no_other_slope_beats_the_zero_based_line(
            ys in prop::collection::vec(-5.0..5.0f64, 3..12), slope in -6.0..6.0f64,
        ) {
            let points: Vec<_> = ys.iter().enumerate().map(|(i, &y)| (i as f64, y)).collect();
            let best = zero_based(&points).unwrap();
            let rival = FittedLine::through(&points, ys[0], slope);
            prop_assert!(best.deviation <= rival.deviation + 1e-12);
        }
    }
}
