//! A measured compressor map, read from CSV.
//!
//! In: comment lines `# Tref_K=…`, `# pref_Pa=…`, `# pressure_ratio: total to total`, a head and rows of corrected
//! speed, corrected flow, pressure ratio, efficiency, line by line from the surge end to the choke end. Out: values
//! between the lines and ends of a line. Refuses, by line of the file, a map without its reference state, lines whose
//! flow does not rise, lines that cross, and a question outside what was measured.
//!
//! Between points: monotone cubic (Fritsch and Carlson) in beta, 0 at the surge end to 1 at the choke end by the index
//! of the point, then the same in speed.

mod curve;
mod read;

use curve::monotone;

pub use read::MapError;

/// One point.
#[derive(Debug, Clone, Copy, PartialEq)]
struct MapPoint {
    flow_kg_s: f64,
    ratio: f64,
    efficiency: f64,
    /// Line of the file.
    at: usize,
}

/// One speed line, surge end first.
#[derive(Debug, Clone, PartialEq)]
struct SpeedLine {
    rpm: f64,
    points: Vec<MapPoint>,
}

/// At which pressure a map's outlet counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, schemars::JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum OutletPressure {
    /// Ratio of total pressures.
    Total,
    /// Static pressure at the outlet over total pressure at the inlet: a little below the total ratio.
    Static,
}

/// What a map's numbers refer to.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, schemars::JsonSchema)]
pub struct MapBasis {
    /// Reference temperature, K.
    pub kelvin: f64,
    /// Reference pressure, absolute Pa.
    pub pascal: f64,
    /// At which pressure the outlet counts.
    pub outlet: OutletPressure,
}

/// A checked map.
#[derive(Debug, Clone, PartialEq)]
pub struct CompressorMap {
    /// What it names of itself.
    pub basis: MapBasis,
    pub(crate) file: String,
    lines: Vec<SpeedLine>,
}

impl CompressorMap {
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

    /// Choke end of every line: corrected speed rpm, flow kg/s, line of the file.
    pub(crate) fn choke_ends(&self) -> impl Iterator<Item = (f64, f64, usize)> + '_ {
        self.lines.iter().filter_map(|line| line.points.last().map(|end| (line.rpm, end.flow_kg_s, end.at)))
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

impl SpeedLine {
    fn value(&self, beta: f64, of: fn(&MapPoint) -> f64) -> f64 {
        let last = (self.points.len() - 1) as f64;
        let places: Vec<f64> = (0..self.points.len()).map(|at| at as f64 / last).collect();
        let values: Vec<f64> = self.points.iter().map(of).collect();
        monotone(&places, &values, beta)
    }
}
