//! The metrics in table order: what each is called, its unit, how finely it is shown.

use super::Metrics;

/// A metric: name, unit, how to read it.
#[derive(Debug, Clone, Copy)]
pub struct MetricColumn {
    /// Name, as it stands in tables.
    pub name: &'static str,
    /// Unit.
    pub unit: &'static str,
    /// Smallest difference worth showing.
    pub step: f64,
    /// Range that a histogram of it covers.
    pub range: (f64, f64),
    /// Value, where the run has one.
    pub value: fn(&Metrics) -> Option<f64>,
}

macro_rules! metric_columns {
    ($($name:literal, $unit:literal, $step:literal, $range:expr, $value:expr;)*) => {
        &[$(MetricColumn { name: $name, unit: $unit, step: $step, range: $range, value: $value }),*]
    };
}

/// All metrics, in table order.
pub const METRICS: &[MetricColumn] = metric_columns![
    "time to boost", "s", 0.01, (0.0, 20.0), |m| m.time_to_boost_s;
    "rise time", "s", 0.01, (0.0, 20.0), |m| m.rise_s;
    "settling time", "s", 0.01, (0.0, 20.0), |m| m.settling_s;
    "overshoot", "%", 0.1, (0.0, 200.0), |m| m.overshoot_pct;
    "boost IAE", "kPa s", 0.1, (0.0, 2000.0), |m| Some(m.boost_iae_kpa_s);
    "peak boost", "kPa absolute", 0.1, (50.0, 450.0), |m| Some(m.peak_boost_kpa);
    "boost over limit", "kPa", 0.1, (0.0, 200.0), |m| Some(m.boost_over_limit_kpa);
    "time over boost limit", "s", 0.01, (0.0, 20.0), |m| Some(m.boost_over_limit_s);
    "peak turbo speed", "rpm", 10.0, (0.0, 300_000.0), |m| Some(m.peak_turbo_rpm);
    "time over turbo limit", "s", 0.01, (0.0, 20.0), |m| Some(m.turbo_over_limit_s);
    "peak exhaust pressure", "kPa absolute", 0.1, (50.0, 1050.0), |m| Some(m.peak_exhaust_kpa);
    "time over exhaust limit", "s", 0.01, (0.0, 20.0), |m| Some(m.exhaust_over_limit_s);
    "pumping pressure", "kPa", 0.1, (-100.0, 400.0), |m| Some(m.pumping_kpa);
    "least air-fuel ratio", "-", 0.1, (0.0, 200.0), |m| m.least_air_fuel;
    "fuel held back", "%", 0.01, (0.0, 100.0), |m| Some(m.fuel_held_back_pct);
    "recirculated share", "%", 0.1, (0.0, 100.0), |m| m.recirculated_pct;
    "recirculation IAE", "s", 0.001, (0.0, 20.0), |m| m.recirculation_iae_s;
    "opening IAE", "s", 0.001, (0.0, 20.0), |m| Some(m.opening_iae_s);
    "actuator work", "J", 0.01, (0.0, 2000.0), |m| Some(m.actuator_work_j);
    "winding heat", "J", 0.1, (0.0, 2000.0), |m| Some(m.winding_heat_j);
    "reversals", "-", 1.0, (0.0, 4000.0), |m| Some(m.reversals);
    "travel", "strokes", 0.01, (0.0, 200.0), |m| Some(m.travel_strokes);
    "guard open", "s", 0.01, (0.0, 100.0), |m| Some(m.guard_open_s);
];
