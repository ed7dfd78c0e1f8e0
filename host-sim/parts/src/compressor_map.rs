//! A measured compressor map, read from CSV.
//!
//! In: comment lines `# Tref_K=…`, `# pref_Pa=…`, `# pressure_ratio: total to total`, a head and rows of corrected
//! speed, corrected flow, pressure ratio, efficiency, line by line from the surge end to the choke end. Out: values
//! between the lines and ends of a line. Refuses, by line of the file, a map without its reference state, lines whose
//! flow does not rise, lines that cross, and a question outside what was measured.
//!
//! Between points: monotone cubic (Fritsch and Carlson) in beta, 0 at the surge end to 1 at the choke end by the index
//! of the point, then the same in speed.

use std::path::Path;

use plant::files::{self, TOML_LIMIT};
use plant::shown::brief;

/// One point.
#[derive(Debug, Clone, Copy, PartialEq)]
struct MapPoint {
    flow_kg_s: f64,
    ratio: f64,
    efficiency: f64,
}

/// One speed line, surge end first.
#[derive(Debug, Clone, PartialEq)]
struct SpeedLine {
    rpm: f64,
    points: Vec<MapPoint>,
    at_line: usize,
}

/// A checked map.
#[derive(Debug, Clone, PartialEq)]
pub struct CompressorMap {
    /// Reference temperature, K, and pressure, Pa.
    pub reference: (f64, f64),
    lines: Vec<SpeedLine>,
}

/// What is wrong with a map.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{file}:{line}: {what}")]
pub struct MapError {
    /// The file.
    pub file: String,
    /// Its line, from 1; 0 where it is the whole file.
    pub line: usize,
    /// What, and the cure.
    pub what: String,
}

impl CompressorMap {
    /// Reads a file.
    ///
    /// # Errors
    /// The line and what is wrong with it.
    pub fn read(path: &Path) -> Result<Self, MapError> {
        let file = path.display().to_string();
        let text = files::text_of(path, TOML_LIMIT).map_err(|error| MapError {
            file: file.clone(),
            line: 0,
            what: error.to_string(),
        })?;
        Self::parse(&file, &text)
    }

    /// Reads a text.
    ///
    /// # Errors
    /// As [`Self::read`].
    pub fn parse(file: &str, text: &str) -> Result<Self, MapError> {
        let refuse = |line: usize, what: String| MapError { file: file.to_owned(), line, what };
        let reference = reference(text).map_err(|what| refuse(1, what))?;
        let mut lines: Vec<SpeedLine> = Vec::new();
        for (at, row) in text.lines().enumerate().map(|(at, row)| (at + 1, row.trim())) {
            if row.is_empty() || row.starts_with('#') || row.starts_with("speed_rpm") {
                continue;
            }
            let (rpm, point) = point(row).map_err(|what| refuse(at, what))?;
            match lines.last_mut() {
                Some(line) if line.rpm == rpm => line.points.push(point),
                Some(line) if line.rpm > rpm => {
                    let what = format!("speed {rpm} after {}: write the lines in rising speed", line.rpm);
                    return Err(refuse(at, what));
                }
                Some(_) | None => lines.push(SpeedLine { rpm, points: vec![point], at_line: at }),
            }
        }
        check(&lines).map_err(|(line, what)| refuse(line, what))?;
        Ok(Self { reference, lines })
    }

    /// Slowest and fastest line, rpm.
    #[must_use]
    pub fn speeds(&self) -> (f64, f64) {
        let rpm = |line: Option<&SpeedLine>| line.map_or(f64::NAN, |line| line.rpm);
        (rpm(self.lines.first()), rpm(self.lines.last()))
    }

    /// Flow kg/s, pressure ratio and efficiency at a corrected speed and beta; none outside the map.
    #[must_use]
    pub fn at(&self, rpm: f64, beta: f64) -> Option<(f64, f64, f64)> {
        let (slowest, fastest) = self.speeds();
        if !(slowest..=fastest).contains(&rpm) || !(0.0..=1.0).contains(&beta) {
            return None;
        }
        let speeds: Vec<f64> = self.lines.iter().map(|line| line.rpm).collect();
        let of = |value: fn(&MapPoint) -> f64| {
            let along: Vec<f64> = self.lines.iter().map(|line| line.value(beta, value)).collect();
            monotone(&speeds, &along, rpm)
        };
        Some((of(|p| p.flow_kg_s), of(|p| p.ratio), of(|p| p.efficiency)))
    }

    /// Beta, pressure ratio and efficiency at a corrected speed and flow; none outside the map.
    #[must_use]
    pub fn at_flow(&self, rpm: f64, flow_kg_s: f64) -> Option<(f64, f64, f64)> {
        let flow = |beta| self.at(rpm, beta).map(|(flow, ..)| flow);
        let beta = crossing(flow(0.0)?, flow(1.0)?, flow_kg_s, &flow)?;
        self.at(rpm, beta).map(|(_, ratio, efficiency)| (beta, ratio, efficiency))
    }

    /// Flow at a corrected speed where the line passes a pressure ratio; the choke end where the line lies above it.
    #[must_use]
    pub fn flow_at_ratio(&self, rpm: f64, ratio: f64) -> Option<f64> {
        let (mut low, mut high) = (0.0, 1.0);
        let (_, top, _) = self.at(rpm, low)?;
        let (choke, bottom, _) = self.at(rpm, high)?;
        if ratio <= bottom {
            return Some(choke);
        }
        if ratio > top {
            return None;
        }
        for _ in 0..HALVINGS {
            let middle = f64::midpoint(low, high);
            if self.at(rpm, middle)?.1 > ratio { low = middle } else { high = middle }
        }
        self.at(rpm, low).map(|(flow, ..)| flow)
    }

    /// Surge and choke ends of the flow at a corrected speed, kg/s.
    #[must_use]
    pub fn ends(&self, rpm: f64) -> Option<(f64, f64)> {
        Some((self.at(rpm, 0.0)?.0, self.at(rpm, 1.0)?.0))
    }

    /// Every point: corrected speed rpm, flow kg/s, pressure ratio, efficiency.
    pub fn points(&self) -> impl Iterator<Item = (f64, f64, f64, f64)> + '_ {
        self.lines.iter().flat_map(|line| {
            line.points.iter().map(|point| (line.rpm, point.flow_kg_s, point.ratio, point.efficiency))
        })
    }
}

const HALVINGS: u32 = 60;

/// Where a rising function takes a value between its ends.
fn crossing(from: f64, to: f64, value: f64, of: &dyn Fn(f64) -> Option<f64>) -> Option<f64> {
    if !(from..=to).contains(&value) {
        return None;
    }
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..HALVINGS {
        let middle = f64::midpoint(low, high);
        if of(middle)? < value { low = middle } else { high = middle }
    }
    Some(f64::midpoint(low, high))
}

/// The reference state that a map's comments name.
fn reference(text: &str) -> Result<(f64, f64), String> {
    let comment = |key: &str| {
        text.lines()
            .find_map(|line| line.trim().strip_prefix('#')?.trim().strip_prefix(key)?.trim().parse().ok())
    };
    let kind = |line: &str| line.starts_with('#') && line.contains("pressure_ratio: total to ");
    if !text.lines().any(kind) {
        return Err(
            "does not say what its pressure ratio is; add `# pressure_ratio: total to total` (or static)"
                .into(),
        );
    }
    let (kelvin, pascal): (Option<f64>, Option<f64>) = (comment("Tref_K="), comment("pref_Pa="));
    match (kelvin, pascal) {
        (Some(k), Some(pa)) if (250.0..=350.0).contains(&k) && (8e4..=1.2e5).contains(&pa) => Ok((k, pa)),
        _ => {
            Err("does not name its reference state; add `# Tref_K=298` (250 to 350) and `# pref_Pa=100000` \
                  (80 000 to 120 000) as its maker gives them: the wrong pair is wrong by up to 5 % in flow"
                .into())
        }
    }
}

fn point(row: &str) -> Result<(f64, MapPoint), String> {
    let numbers: Vec<f64> = row.split(',').filter_map(|cell| cell.trim().parse().ok()).collect();
    let &[rpm, flow_kg_s, ratio, efficiency] = numbers.as_slice() else {
        return Err(format!(
            "{:?} is no row; write speed_rpm,flow_kg_s,pressure_ratio,efficiency",
            brief(row)
        ));
    };
    for (name, value, (least, most)) in [
        ("speed_rpm", rpm, (5_000.0, 500_000.0)),
        ("flow_kg_s", flow_kg_s, (1e-3, 5.0)),
        ("pressure_ratio", ratio, (0.8, 8.0)),
        ("efficiency", efficiency, (0.05, 0.95)),
    ] {
        if !(least..=most).contains(&value) {
            return Err(format!("{name} is {value}; allowed: {least} to {most}. Check unit and digits"));
        }
    }
    Ok((rpm, MapPoint { flow_kg_s, ratio, efficiency }))
}

/// Enough lines and points, flow rising along each, no two crossing.
fn check(lines: &[SpeedLine]) -> Result<(), (usize, String)> {
    if lines.len() < 2 {
        return Err((0, format!("holds {} speed lines; at least 2 are needed", lines.len())));
    }
    for line in lines {
        if line.points.len() < 3 {
            return Err((
                line.at_line,
                format!("line {} rpm has {} points; at least 3", line.rpm, line.points.len()),
            ));
        }
        if let Some(at) =
            (1..line.points.len()).find(|&at| line.points[at].flow_kg_s <= line.points[at - 1].flow_kg_s)
        {
            let what = format!("flow does not rise along {} rpm; write the surge end first", line.rpm);
            return Err((line.at_line + at, what));
        }
    }
    for pair in lines.windows(2) {
        if let Some((flow, ratio)) = pair[0].crosses(&pair[1]) {
            let what = format!(
                "line {} rpm crosses {} rpm at {flow:.4} kg/s, ratio {ratio:.3}; check units, order and speeds of both",
                pair[1].rpm, pair[0].rpm
            );
            return Err((pair[1].at_line, what));
        }
    }
    Ok(())
}

impl SpeedLine {
    fn value(&self, beta: f64, of: fn(&MapPoint) -> f64) -> f64 {
        let last = (self.points.len() - 1) as f64;
        let places: Vec<f64> = (0..self.points.len()).map(|at| at as f64 / last).collect();
        let values: Vec<f64> = self.points.iter().map(of).collect();
        monotone(&places, &values, beta)
    }

    /// Where two lines, drawn straight from point to point, cross.
    fn crosses(&self, other: &Self) -> Option<(f64, f64)> {
        let place = |p: &MapPoint| (p.flow_kg_s, p.ratio);
        for one in self.points.windows(2) {
            for two in other.points.windows(2) {
                let ((ax, ay), (bx, by)) = (place(&one[0]), place(&one[1]));
                let ((cx, cy), (dx, dy)) = (place(&two[0]), place(&two[1]));
                let across = (bx - ax) * (dy - cy) - (by - ay) * (dx - cx);
                let t = ((cx - ax) * (dy - cy) - (cy - ay) * (dx - cx)) / across;
                let u = ((cx - ax) * (by - ay) - (cy - ay) * (bx - ax)) / across;
                if (0.0..=1.0).contains(&t) && (0.0..=1.0).contains(&u) {
                    return Some((ax + t * (bx - ax), ay + t * (by - ay)));
                }
            }
        }
        None
    }
}

/// Monotone cubic through points (Fritsch and Carlson 1980, harmonic slopes, one-sided ends as in SciPy's PCHIP).
fn monotone(x: &[f64], y: &[f64], at: f64) -> f64 {
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
