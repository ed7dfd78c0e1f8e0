//! Path data, thinned to what a page can show: of every pixel column a line passes, the first, lowest,
//! highest and last point stay, so that no spike is lost.

/// A line through points in pixels. Points that are not numbers break it.
pub(super) fn line(points: &[(f64, f64)]) -> String {
    let pieces = points.split(|(x, y)| !(x.is_finite() && y.is_finite()));
    pieces.map(|piece| joined(&thinned(piece))).collect()
}

/// The area between two lines over the same x, as `(x, low, high)` in pixels. Points that are not numbers break it.
pub(super) fn band(points: &[(f64, f64, f64)]) -> String {
    let pieces = points.split(|(x, low, high)| !(x.is_finite() && low.is_finite() && high.is_finite()));
    pieces.map(outlined).collect()
}

fn outlined(piece: &[(f64, f64, f64)]) -> String {
    let lower: Vec<_> = piece.iter().map(|p| (p.0, p.1)).collect();
    let upper: Vec<_> = piece.iter().rev().map(|p| (p.0, p.2)).collect();
    let mut outline = thinned(&lower);
    outline.extend(thinned(&upper));
    if outline.is_empty() { String::new() } else { format!("{}Z", joined(&outline)) }
}

fn joined(points: &[(f64, f64)]) -> String {
    let mut d = String::new();
    let mut last = (String::new(), String::new());
    for (i, &(x, y)) in points.iter().enumerate() {
        let here = (px(x), px(y));
        if here != last {
            let letter = if i == 0 { 'M' } else { 'L' };
            d.push_str(&format!("{letter}{} {}", here.0, here.1));
            last = here;
        }
    }
    d
}

fn thinned(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let mut kept = Vec::new();
    for column in points.chunk_by(|a, b| a.0.floor() == b.0.floor()) {
        let lowest = (0..column.len()).min_by(|&a, &b| column[a].1.total_cmp(&column[b].1)).unwrap_or(0);
        let highest = (0..column.len()).max_by(|&a, &b| column[a].1.total_cmp(&column[b].1)).unwrap_or(0);
        let mut stay = [0, lowest, highest, column.len() - 1];
        stay.sort_unstable();
        kept.extend(
            stay.iter().enumerate().filter(|&(i, s)| i == 0 || stay[i - 1] != *s).map(|(_, &s)| column[s]),
        );
    }
    kept
}

/// A coordinate as it is written: a tenth of a pixel is finer than any printer.
pub(super) fn px(value: f64) -> String {
    let text = format!("{value:.1}");
    text.strip_suffix(".0").map_or(text.clone(), str::to_owned)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_line_is_thinned_and_keeps_its_spike() {
        let mut points: Vec<_> = (0..100_000).map(|i| (f64::from(i) / 1000.0, 50.0)).collect();
        points[54_321].1 = 3.0;
        let d = line(&points);
        assert!(d.len() < 10_000, "{} bytes", d.len());
        assert!(d.contains("54.3 3L"), "{d}");
    }

    #[test]
    fn a_missing_value_breaks_the_line() {
        assert_eq!(line(&[(0.0, 1.0), (5.0, 2.0), (9.0, f64::NAN), (12.0, 3.0)]), "M0 1L5 2M12 3");
        let area = [(0.0, 1.0, 4.0), (5.0, 2.0, 5.0), (9.0, f64::NAN, 1.0), (12.0, 3.0, 6.0)];
        assert_eq!(band(&area), "M0 1L5 2L5 5L0 4ZM12 3L12 6Z");
    }
}
