//! Turns cycle files into engine demand.
//!
//! In: CSV text. Out: demand points, one per row. A vehicle cycle goes through an invented van: road load =
//! rolling + air + grade + acceleration; the gear is the highest that keeps the engine above a least speed
//! which rises with the wanted power; brake power over a fixed efficiency gives fuel. Refuses rows that are
//! not numbers or go back in time, with their line.

use serde::{Deserialize, Serialize};

use super::demand::{DemandPoint, Shape, VaneUse};

/// The invented vehicle behind a vehicle cycle.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Vehicle {
    /// Mass, kg.
    pub mass_kg: f64,
    /// Drag coefficient times frontal area, m².
    pub drag_area_m2: f64,
    /// Rolling resistance coefficient.
    pub rolling: f64,
    /// Wheel radius, m.
    pub wheel_radius_m: f64,
    /// Total ratios, lowest gear first.
    pub ratios: [f64; 6],
    /// Driveline efficiency.
    pub driveline: f64,
    /// Engine speed below which the clutch slips and the engine idles, rpm.
    pub idle_rpm: f64,
    /// Least engine speed in gear with no power wanted, rpm.
    pub lug_rpm: f64,
    /// Rise of that least speed per kW wanted, rpm.
    pub lug_rpm_per_kw: f64,
    /// Share of the fuel's heat that becomes brake work.
    pub brake_efficiency: f64,
    /// Fuel that the running engine itself needs, mg per stroke.
    pub idle_fuel_mg: f64,
}

impl Default for Vehicle {
    fn default() -> Self {
        Self {
            mass_kg: 2600.0,
            drag_area_m2: 1.6,
            rolling: 0.010,
            wheel_radius_m: 0.34,
            ratios: [17.5, 9.6, 6.0, 4.2, 3.2, 2.6],
            driveline: 0.93,
            idle_rpm: 800.0,
            lug_rpm: 1200.0,
            lug_rpm_per_kw: 12.0,
            brake_efficiency: 0.40,
            idle_fuel_mg: 5.0,
        }
    }
}

/// What the mapping must know of the engine.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct EngineFigures {
    /// Cylinders.
    pub cylinders: f64,
    /// Lower heating value, J/kg.
    pub heating_value: f64,
    /// Fuel at full load, mg per stroke.
    pub full_load_mg: f64,
}

/// Why a cycle file was refused.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CycleError {
    /// A column is missing.
    #[error("{file}: column `{column}` is missing; the file has {seen:?}")]
    Column {
        /// File.
        file: String,
        /// Column wanted.
        column: &'static str,
        /// Columns there.
        seen: Vec<String>,
    },
    /// A cell is not a number in range.
    #[error("{file}, line {line}, column `{column}`: `{value}`; allowed: {allowed}")]
    Cell {
        /// File.
        file: String,
        /// Line, from 1.
        line: u64,
        /// Column.
        column: &'static str,
        /// What stands there.
        value: String,
        /// What is allowed.
        allowed: &'static str,
    },
    /// Not CSV.
    #[error("{file}: not a CSV table ({reason})")]
    NotCsv {
        /// File.
        file: String,
        /// What the reader says.
        reason: String,
    },
    /// No rows.
    #[error("{file}: holds fewer than two rows; a cycle needs at least two")]
    Short {
        /// File.
        file: String,
    },
}

/// A CSV table of numbers with named columns.
struct CsvTable {
    file: String,
    headings: Vec<String>,
    rows: Vec<(u64, Vec<String>)>,
}

impl CsvTable {
    fn read(text: &str, file: &str) -> Result<Self, CycleError> {
        let not_csv =
            |error: csv::Error| CycleError::NotCsv { file: file.to_owned(), reason: error.to_string() };
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let headings = reader.headers().map_err(not_csv)?.iter().map(|h| h.trim().to_owned()).collect();
        let mut rows = Vec::new();
        for record in reader.records() {
            let record = record.map_err(not_csv)?;
            let line = record.position().map_or(0, csv::Position::line);
            rows.push((line, record.iter().map(|cell| cell.trim().to_owned()).collect()));
        }
        if rows.len() < 2 {
            return Err(CycleError::Short { file: file.to_owned() });
        }
        Ok(Self { file: file.to_owned(), headings, rows })
    }

    fn has(&self, column: &str) -> bool {
        self.headings.iter().any(|heading| heading == column)
    }

    fn column(
        &self,
        column: &'static str,
        range: core::ops::RangeInclusive<f64>,
        allowed: &'static str,
    ) -> Result<Vec<f64>, CycleError> {
        let index = self.headings.iter().position(|heading| heading == column).ok_or_else(|| {
            CycleError::Column { file: self.file.clone(), column, seen: self.headings.clone() }
        })?;
        let cell = |(line, row): &(u64, Vec<String>)| {
            let text = row.get(index).map_or("", String::as_str);
            let value = text.parse::<f64>().ok().filter(|value| range.contains(value));
            value.ok_or_else(|| CycleError::Cell {
                file: self.file.clone(),
                line: *line,
                column,
                value: text.to_owned(),
                allowed,
            })
        };
        self.rows.iter().map(cell).collect()
    }

    /// A time column, which must rise from row to row.
    fn times(&self, column: &'static str) -> Result<Vec<f64>, CycleError> {
        let times = self.column(column, 0.0..=1e6, "a time in seconds, 0 to 1e6")?;
        let Some(back) = times.windows(2).position(|pair| pair[1] <= pair[0]) else { return Ok(times) };
        Err(CycleError::Cell {
            file: self.file.clone(),
            line: self.rows[back + 1].0,
            column,
            value: times[back + 1].to_string(),
            allowed: "a time later than the row before",
        })
    }
}

/// Reads a vehicle cycle and drives it with `vehicle`.
///
/// # Errors
/// [`CycleError`], with file and line.
pub(crate) fn vehicle_cycle(
    text: &str,
    file: &str,
    vehicle: &Vehicle,
    engine: &EngineFigures,
) -> Result<Vec<DemandPoint>, CycleError> {
    let table = CsvTable::read(text, file)?;
    let times = table.times("time_seconds")?;
    let speeds = table.column("speed_meters_per_second", 0.0..=100.0, "a speed in m/s, 0 to 100")?;
    let grades = if table.has("grade") {
        table.column("grade", -0.5..=0.5, "a slope, −0.5 to 0.5")?
    } else {
        vec![0.0; times.len()]
    };
    let row = |i: usize| {
        let ahead = (i + 1).min(times.len() - 1);
        let span_s = times[ahead] - times[ahead - 1];
        let acceleration = (speeds[ahead] - speeds[ahead - 1]) / span_s;
        vehicle.demand(times[i], speeds[i], acceleration, grades[i], engine)
    };
    Ok((0..times.len()).map(row).collect())
}

/// Reads an engine cycle: time, speed, load.
///
/// # Errors
/// [`CycleError`], with file and line.
pub(crate) fn engine_cycle(
    text: &str,
    file: &str,
    engine: &EngineFigures,
) -> Result<Vec<DemandPoint>, CycleError> {
    let table = CsvTable::read(text, file)?;
    let times = table.times("time_s")?;
    let speeds = table.column("speed_rpm", 300.0..=8000.0, "an engine speed in rpm, 300 to 8000")?;
    let loads = table.column("load", 0.0..=1.0, "a fraction of full fuelling, 0 to 1")?;
    let rows = times.iter().zip(&speeds).zip(&loads);
    Ok(rows
        .map(|((t_s, speed), load)| point(*t_s, *speed, load * engine.full_load_mg, VaneUse::Boost))
        .collect())
}

fn point(t_s: f64, speed_rpm: f64, fuel_mg: f64, vanes: VaneUse) -> DemandPoint {
    DemandPoint {
        t_s,
        speed_rpm,
        fuel_mg,
        boost_kpa: None,
        egr_mm2: 0.0,
        egr_share: None,
        altitude_m: None,
        vanes,
        shape: Shape::Ramp,
    }
}

const GRAVITY: f64 = 9.806_65;
const AIR_DENSITY: f64 = 1.2;

impl Vehicle {
    /// Engine demand at one instant of driving.
    fn demand(
        &self,
        t_s: f64,
        speed: f64,
        acceleration: f64,
        grade: f64,
        engine: &EngineFigures,
    ) -> DemandPoint {
        let standing_m_s = 0.3;
        if speed < standing_m_s {
            return point(t_s, self.idle_rpm, self.idle_fuel_mg, VaneUse::Idle);
        }
        let rolling = self.mass_kg * GRAVITY * (self.rolling + grade);
        let air = 0.5 * AIR_DENSITY * self.drag_area_m2 * speed * speed;
        let wheel_w = (rolling + air + self.mass_kg * acceleration) * speed;
        let engine_w = (wheel_w / self.driveline).max(0.0);
        let speed_rpm = self.engine_speed(speed, engine_w);
        if wheel_w < 0.0 {
            return point(t_s, speed_rpm, 0.0, VaneUse::Boost);
        }
        let strokes_per_s = speed_rpm * engine.cylinders / 120.0;
        let work_mg = engine_w / (self.brake_efficiency * engine.heating_value) / strokes_per_s * 1e6;
        let fuel_mg = (self.idle_fuel_mg + work_mg).min(engine.full_load_mg);
        point(t_s, speed_rpm, fuel_mg, VaneUse::Boost)
    }

    /// Engine speed in the highest gear that does not lug, rpm.
    fn engine_speed(&self, speed: f64, engine_w: f64) -> f64 {
        let least = self.lug_rpm + self.lug_rpm_per_kw * engine_w * 1e-3;
        let in_gear = |ratio: f64| speed / self.wheel_radius_m * ratio * plant::world::RPM_PER_RAD_S;
        let speeds = self.ratios.map(in_gear);
        let chosen = speeds.iter().rev().find(|rpm| **rpm >= least).or(speeds.first());
        chosen.copied().unwrap_or(self.idle_rpm).max(self.idle_rpm)
    }
}

#[cfg(test)]
mod tests;
