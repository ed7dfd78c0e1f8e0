//! Axes and lines of a chart.

use super::*;

#[test]
fn no_line_is_drawn_across_a_hole_in_the_samples() {
    let samples: Vec<(f64, f64)> =
        (0..100).filter(|i| !(40..60).contains(i)).map(|i| (f64::from(i), 1.0)).collect();
    let broken = with_holes(samples.clone());
    assert_eq!(broken.len(), samples.len() + 1);
    assert!(broken[40].1.is_nan() && broken[41] == (60.0, 1.0));
    assert_eq!(with_holes(samples[..40].to_vec()), samples[..40]);
    let falling: Vec<_> = samples.iter().rev().copied().collect();
    assert_eq!(with_holes(falling).iter().filter(|sample| sample.1.is_nan()).count(), 1);
    let chart = Chart::new("", Axis::fit("time, s"), Axis::fit("y"));
    let chart = chart.trace("a", Ink::Main, samples.clone()).trace("b", Ink::Other, samples);
    let hole = ChartMark::Hole { from: 39.0, to: 60.0 };
    assert_eq!(chart.marks.iter().filter(|mark| **mark == hole).count(), 1, "marked once for both lines");
    assert_eq!(chart.marks.len(), 3);
}
