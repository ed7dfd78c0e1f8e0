//! Reads a compressor map from CSV, and refuses what cannot be one, by line.

use std::path::Path;

use plant::files::{self, TOML_LIMIT};
use plant::shown::brief;

use super::{CompressorMap, MapBasis, MapPoint, OutletPressure, SpeedLine};

/// What is wrong with a map.
#[derive(Debug, Clone, PartialEq)]
pub struct MapError {
    /// The file.
    pub file: String,
    /// Its line, from 1; none where it is the whole file.
    pub line: Option<usize>,
    /// What, and the cure.
    pub what: String,
}

impl std::fmt::Display for MapError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self.line {
            Some(line) => write!(f, "{}:{line}: {}", self.file, self.what),
            None => write!(f, "{}: {}", self.file, self.what),
        }
    }
}

impl std::error::Error for MapError {}

/// What is wrong, and in which line.
type LineRefusal = (Option<usize>, String);

impl CompressorMap {
    /// Reads a file.
    ///
    /// # Errors
    /// The line and what is wrong with it.
    pub fn read(path: &Path) -> Result<Self, MapError> {
        let file = path.display().to_string();
        let text = files::text_of(path, TOML_LIMIT).map_err(|error| MapError {
            file: file.clone(),
            line: None,
            what: error.to_string(),
        })?;
        Self::parse(&file, &text)
    }

    /// Reads a text.
    ///
    /// # Errors
    /// As [`Self::read`].
    pub fn parse(file: &str, text: &str) -> Result<Self, MapError> {
        parsed(file, text).map_err(|(line, what)| MapError { file: file.to_owned(), line, what })
    }
}

fn parsed(file: &str, text: &str) -> Result<CompressorMap, LineRefusal> {
    let outlet = match comment(text, "pressure_ratio:", "`# pressure_ratio: total to total` (or static)")? {
        (_, "total to total") => OutletPressure::Total,
        (_, "total to static") => OutletPressure::Static,
        (line, other) => {
            let what =
                format!("pressure_ratio is {:?}; allowed: total to total, total to static", brief(other));
            return Err((Some(line), what));
        }
    };
    let kelvin = reference(text, "Tref_K", "298", (250.0, 350.0))?;
    let pascal = reference(text, "pref_Pa", "100000", (8e4, 1.2e5))?;
    let mut lines: Vec<SpeedLine> = Vec::new();
    for (at, row) in text.lines().enumerate().map(|(at, row)| (at + 1, row.trim())) {
        if row.is_empty() || row.starts_with('#') || row.starts_with("speed_rpm") {
            continue;
        }
        let (rpm, point) = point(at, row).map_err(|what| (Some(at), what))?;
        match lines.last_mut() {
            Some(line) if line.rpm == rpm => line.points.push(point),
            Some(line) if line.rpm > rpm => {
                let what =
                    format!("speed {rpm} comes after {}; list the speed lines in rising order", line.rpm);
                return Err((Some(at), what));
            }
            Some(_) | None => lines.push(SpeedLine { rpm, points: vec![point] }),
        }
    }
    check(&lines)?;
    Ok(CompressorMap { basis: MapBasis { kelvin, pascal, outlet }, file: file.to_owned(), lines })
}

/// What stands behind a key in the comments, with its line; once and no more.
fn comment<'a>(text: &'a str, key: &str, cure: &str) -> Result<(usize, &'a str), LineRefusal> {
    let behind = |line: &'a str| Some(line.trim().strip_prefix('#')?.trim().strip_prefix(key)?.trim());
    let mut found = text.lines().enumerate().filter_map(|(at, line)| Some((at + 1, behind(line)?)));
    let first =
        found.next().ok_or_else(|| (Some(1), format!("does not state its {}; add {cure}", name(key))))?;
    match found.next() {
        None => Ok(first),
        Some((line, _)) => {
            let what = format!("{} is already in line {}; keep the right one", name(key), first.0);
            Err((Some(line), what))
        }
    }
}

fn name(key: &str) -> &str {
    key.trim_end_matches([':', '='])
}

/// A number of the reference state.
fn reference(text: &str, key: &str, usual: &str, (least, most): (f64, f64)) -> Result<f64, LineRefusal> {
    let cure = format!(
        "`# {key}={usual}` as its maker gives it (allowed: {least} to {most}); a wrong reference state \
         puts the flow up to 5 % out"
    );
    let (line, word) = comment(text, &format!("{key}="), &cure)?;
    let number = word.parse::<f64>().ok().filter(|number| (least..=most).contains(number));
    number.ok_or_else(|| {
        (Some(line), format!("{key} is {:?}; allowed: {least} to {most}. Check unit and digits", brief(word)))
    })
}

fn point(at: usize, row: &str) -> Result<(f64, MapPoint), String> {
    let numbers: Vec<f64> = row.split(',').filter_map(|cell| cell.trim().parse().ok()).collect();
    let &[rpm, flow_kg_s, ratio, efficiency] = numbers.as_slice() else {
        return Err(format!(
            "{:?} is not a row; write speed_rpm,flow_kg_s,pressure_ratio,efficiency",
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
    Ok((rpm, MapPoint { flow_kg_s, ratio, efficiency, at }))
}

/// Enough lines and points, flow rising along each, no two crossing.
fn check(lines: &[SpeedLine]) -> Result<(), LineRefusal> {
    if lines.len() < 2 {
        return Err((None, format!("holds {} speed lines; at least 2 are needed", lines.len())));
    }
    for line in lines {
        if line.points.len() < 3 {
            let what =
                format!("the {} rpm line has {} points; at least 3 are needed", line.rpm, line.points.len());
            return Err((line.begins(), what));
        }
        if let Some(pair) = line.points.windows(2).find(|pair| pair[1].flow_kg_s <= pair[0].flow_kg_s) {
            let what = format!(
                "flow does not rise along the {} rpm line; list its points from the surge end",
                line.rpm
            );
            return Err((Some(pair[1].at), what));
        }
    }
    for pair in lines.windows(2) {
        if let Some((flow, ratio)) = pair[0].crosses(&pair[1]) {
            let what = format!(
                "the {} rpm line crosses the {} rpm line at {flow:.4} kg/s, ratio {ratio:.3}; check units, \
                 order and speeds of both",
                pair[1].rpm, pair[0].rpm
            );
            return Err((pair[1].begins(), what));
        }
    }
    Ok(())
}

impl SpeedLine {
    /// Line of the file with its first point.
    fn begins(&self) -> Option<usize> {
        self.points.first().map(|point| point.at)
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
