//! A curve through points that never swings beyond them.

/// Monotone cubic through points (Fritsch and Carlson 1980, harmonic slopes, one-sided ends as in SciPy's PCHIP).
pub(super) fn monotone(x: &[f64], y: &[f64], at: f64) -> f64 {
    let n = x.len();
    let step: Vec<f64> = (1..n).map(|i| x[i] - x[i - 1]).collect();
    let rise: Vec<f64> = (1..n).map(|i| (y[i] - y[i - 1]) / step[i - 1]).collect();
    let slope = |i: usize| match i {
        _ if n == 2 => rise[0],
        0 => end_slope(step[0], step[1], rise[0], rise[1]),
        i if i == n - 1 => end_slope(step[n - 2], step[n - 3], rise[n - 2], rise[n - 3]),
        i if rise[i - 1] * rise[i] <= 0.0 => 0.0,
        i => {
            let (w1, w2) = (2.0 * step[i] + step[i - 1], step[i] + 2.0 * step[i - 1]);
            (w1 + w2) / (w1 / rise[i - 1] + w2 / rise[i])
        }
    };
    let i = (1..n - 1).take_while(|&i| x[i] <= at).count();
    let (h, t) = (step[i], (at - x[i]) / step[i]);
    let (t2, t3) = (t * t, t * t * t);
    (2.0 * t3 - 3.0 * t2 + 1.0) * y[i]
        + (t3 - 2.0 * t2 + t) * h * slope(i)
        + (3.0 * t2 - 2.0 * t3) * y[i + 1]
        + (t3 - t2) * h * slope(i + 1)
}

fn end_slope(near: f64, next: f64, rise: f64, next_rise: f64) -> f64 {
    let slope = ((2.0 * near + next) * rise - near * next_rise) / (near + next);
    if slope * rise <= 0.0 {
        0.0
    } else if rise * next_rise <= 0.0 && slope.abs() > 3.0 * rise.abs() {
        3.0 * rise
    } else {
        slope
    }
}
