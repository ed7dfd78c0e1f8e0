//! What a run looked like, row by row, with names and units for tables and plots.

use firmware_core::guard::GuardStage;

/// One row.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct TraceRow {
    /// Time, s.
    pub t_s: f64,
    /// Engine speed, rpm.
    pub speed_rpm: f64,
    /// Fuel asked for, mg per stroke.
    pub fuel_asked_mg: f64,
    /// Fuel delivered, mg per stroke.
    pub fuel_mg: f64,
    /// Boost that the controller aims at: the wanted one after its correction for thin air, kPa.
    pub boost_target_kpa: f64,
    /// True boost, kPa.
    pub boost_kpa: f64,
    /// True exhaust pressure, kPa.
    pub exhaust_kpa: f64,
    /// True turbo speed, rpm.
    pub turbo_rpm: f64,
    /// Opening that the position loop follows; NaN is never written, without a target it is the true opening.
    pub opening_target: f64,
    /// True opening.
    pub opening: f64,
    /// Duty.
    pub duty: f64,
    /// Motor current toward open, A.
    pub current_a: f64,
    /// Where the guard stands.
    pub stage: GuardStage,
    /// Mass of gas that the cylinders take in for each mass of fuel; none without fuel.
    pub air_per_fuel: Option<f64>,
    /// Recirculated exhaust as a share of that gas, while the valve is open.
    pub recirculated_share: Option<f64>,
    /// The share that is wanted, where one is.
    pub wanted_share: Option<f64>,
}

/// A column: name, unit, and how a row fills it.
#[derive(Debug, Clone, Copy)]
pub struct TraceColumn {
    /// Name, as it stands in headers.
    pub name: &'static str,
    /// Unit, as it stands in headers.
    pub unit: &'static str,
    /// Value of a row.
    pub value: fn(&TraceRow) -> f64,
}

macro_rules! columns {
    ($($name:literal, $unit:literal, $field:ident;)*) => {
        &[$(TraceColumn { name: $name, unit: $unit, value: |row| row.$field }),*]
    };
}

/// All numeric columns.
pub const COLUMNS: &[TraceColumn] = columns![
    "time", "s", t_s;
    "engine speed", "rpm", speed_rpm;
    "fuel asked", "mg", fuel_asked_mg;
    "fuel", "mg", fuel_mg;
    "boost target", "kPa", boost_target_kpa;
    "boost", "kPa", boost_kpa;
    "exhaust", "kPa", exhaust_kpa;
    "turbo speed", "rpm", turbo_rpm;
    "opening target", "-", opening_target;
    "opening", "-", opening;
    "duty", "-", duty;
    "motor current", "A", current_a;
];

/// All rows of a run.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct RunTrace {
    /// The rows, in time order.
    pub rows: Vec<TraceRow>,
}

impl RunTrace {
    /// The trace as CSV (RFC 4180), units in the header, numbers that print exactly and end early.
    #[must_use]
    pub fn to_csv(&self) -> String {
        let header: Vec<String> = COLUMNS.iter().map(|c| format!("{} [{}]", c.name, c.unit)).collect();
        let mut csv = header.join(",");
        csv.push_str(",guard\r\n");
        for row in &self.rows {
            for column in COLUMNS {
                csv.push_str(&format!("{},", short((column.value)(row))));
            }
            csv.push_str(&format!("{}\r\n", row.stage.name()));
        }
        csv
    }
}

/// Six decimals at most, without the zeros that say nothing.
fn short(value: f64) -> String {
    let text = format!("{value:.6}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}
