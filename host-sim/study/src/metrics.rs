//! What a run is judged by, taken tick by tick in constant memory.
//!
//! In: the rows of a run. Out: [`Metrics`]. Every definition stands at its field. A metric that a run cannot
//! have (no step, never settled) is absent, never NaN.

use firmware_core::guard::GuardStage;
use serde::{Deserialize, Serialize};

use crate::scenario::RunLimits;
use crate::trace::TraceRow;
use plant::actuator::ActuatorParams;
use plant::world::{TICK_S, WorldConfig};

/// Metrics of one run. Boost, exhaust and speed are the true ones, not what sensors say.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, schemars::JsonSchema, Deserialize)]
pub struct Metrics {
    /// From 10 % to 90 % of the step in wanted boost, from the boost at the step, s.
    pub rise_s: Option<f64>,
    /// From the step until boost stays within ±5 % of the step around the wanted boost, until the wanted
    /// boost changes again, s.
    pub settling_s: Option<f64>,
    /// Furthest beyond the wanted boost after the step, % of the step.
    pub overshoot_pct: Option<f64>,
    /// ∫ |wanted − boost| dt, kPa s.
    pub boost_iae_kpa_s: f64,
    /// Highest boost, absolute, kPa.
    pub peak_boost_kpa: f64,
    /// Highest boost over its limit, kPa; 0 when it stays under.
    pub boost_over_limit_kpa: f64,
    /// Time with boost over its limit, s.
    pub boost_over_limit_s: f64,
    /// Highest turbo speed, rpm.
    pub peak_turbo_rpm: f64,
    /// Time with turbo speed over its limit, s.
    pub turbo_over_limit_s: f64,
    /// Highest exhaust pressure, absolute, kPa.
    pub peak_exhaust_kpa: f64,
    /// Time with exhaust pressure over its limit, s.
    pub exhaust_over_limit_s: f64,
    /// Mean of exhaust minus intake pressure, kPa: what the piston pumps against.
    pub pumping_kpa: f64,
    /// ∫ |wanted opening − opening| dt, s (opening is a fraction).
    pub opening_iae_s: f64,
    /// Work of the motor at the lever, both ways, ∫ |torque × speed| dt, J.
    pub actuator_work_j: f64,
    /// Heat in the winding at its reference resistance, ∫ I²R dt, J.
    pub winding_heat_j: f64,
    /// Changes of the ring's direction, counted when it has come back by 0.5 % of travel.
    pub reversals: f64,
    /// Travel of the ring, in whole strokes.
    pub travel_strokes: f64,
    /// Ticks that the guard held the vanes open or was latched, s.
    pub guard_open_s: f64,
}

impl Metrics {
    /// Which of the run's limits were passed, with the time for which, s.
    #[must_use]
    pub fn limits_passed(&self) -> Vec<(&'static str, f64)> {
        let limits = [
            ("boost", self.boost_over_limit_s),
            ("turbo speed", self.turbo_over_limit_s),
            ("exhaust pressure", self.exhaust_over_limit_s),
        ];
        limits.into_iter().filter(|(_, over_s)| *over_s > 0.0).collect()
    }
}

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
    "opening IAE", "s", 0.001, (0.0, 20.0), |m| Some(m.opening_iae_s);
    "actuator work", "J", 0.01, (0.0, 2000.0), |m| Some(m.actuator_work_j);
    "winding heat", "J", 0.1, (0.0, 2000.0), |m| Some(m.winding_heat_j);
    "reversals", "-", 1.0, (0.0, 4000.0), |m| Some(m.reversals);
    "travel", "strokes", 0.01, (0.0, 200.0), |m| Some(m.travel_strokes);
    "guard open", "s", 0.01, (0.0, 100.0), |m| Some(m.guard_open_s);
];

/// Share of the step around the wanted boost that counts as settled.
const SETTLED_SHARE: f64 = 0.05;
/// Way back, as a share of travel, that counts as a reversal.
const REVERSAL: f64 = 0.005;
/// A step in wanted boost smaller than this is none, kPa.
const LEAST_STEP_KPA: f64 = 1.0;

/// Watches the one step that the scenario names.
#[derive(Debug, Clone, Copy)]
struct StepWatch {
    at_s: f64,
    from_kpa: f64,
    to_kpa: f64,
    reached_10_s: Option<f64>,
    reached_90_s: Option<f64>,
    furthest: f64,
    last_outside_s: f64,
    is_over: bool,
    is_inside: bool,
}

impl StepWatch {
    fn new(row: &TraceRow) -> Self {
        Self {
            at_s: row.t_s,
            from_kpa: row.boost_kpa,
            to_kpa: row.boost_target_kpa,
            reached_10_s: None,
            reached_90_s: None,
            furthest: 0.0,
            last_outside_s: row.t_s,
            is_over: (row.boost_target_kpa - row.boost_kpa).abs() < LEAST_STEP_KPA,
            is_inside: false,
        }
    }

    fn add(&mut self, row: &TraceRow) {
        self.is_over |= (row.boost_target_kpa - self.to_kpa).abs() > LEAST_STEP_KPA;
        if self.is_over {
            return;
        }
        let gone = (row.boost_kpa - self.from_kpa) / (self.to_kpa - self.from_kpa);
        if gone >= 0.1 {
            self.reached_10_s.get_or_insert(row.t_s);
        }
        if gone >= 0.9 {
            self.reached_90_s.get_or_insert(row.t_s);
        }
        self.furthest = self.furthest.max(gone - 1.0);
        self.is_inside = (gone - 1.0).abs() <= SETTLED_SHARE;
        if !self.is_inside {
            self.last_outside_s = row.t_s;
        }
    }

    fn report(&self, metrics: &mut Metrics) {
        metrics.rise_s = self.reached_90_s.zip(self.reached_10_s).map(|(end, start)| end - start);
        let settled = (self.last_outside_s + TICK_S) - self.at_s;
        metrics.settling_s = self.is_inside.then_some(settled);
        metrics.overshoot_pct = self.reached_90_s.map(|_| 100.0 * self.furthest);
    }
}

/// Takes the metrics of a run as it goes.
#[derive(Debug, Clone)]
pub struct Meter {
    limits: RunLimits,
    step_at_s: Option<f64>,
    step: Option<StepWatch>,
    torque_per_amp: f64,
    resistance_ohm: f64,
    travel_rad: f64,
    metrics: Metrics,
    rows: u64,
    last_opening: Option<f64>,
    turning_point: f64,
    is_rising: bool,
}

impl Meter {
    /// A meter for a run against `limits`, with a step at `step_at_s`, on the actuator of `world`.
    #[must_use]
    pub fn new(limits: RunLimits, step_at_s: Option<f64>, world: &WorldConfig) -> Self {
        let ActuatorParams { motor, gear, .. } = &world.actuator;
        let travel = world.travel().ok();
        Self {
            limits,
            step_at_s,
            step: None,
            torque_per_amp: motor.torque_constant_nm_per_a * gear.ratio,
            resistance_ohm: motor.resistance_ohm,
            travel_rad: travel.map_or(0.0, |travel| (travel.closed_rad - travel.open_rad).abs()),
            metrics: Metrics::default(),
            rows: 0,
            last_opening: None,
            turning_point: 0.0,
            is_rising: false,
        }
    }

    /// Takes one row; rows come every tick.
    pub fn add(&mut self, row: &TraceRow) {
        self.rows += 1;
        self.watch_step(row);
        self.watch_limits(row);
        self.watch_actuator(row);
        let m = &mut self.metrics;
        m.boost_iae_kpa_s += (row.boost_target_kpa - row.boost_kpa).abs() * TICK_S;
        m.opening_iae_s += (row.opening_target - row.opening).abs() * TICK_S;
        m.pumping_kpa += row.exhaust_kpa - row.boost_kpa;
        if matches!(row.stage, GuardStage::Open | GuardStage::CannotOpen | GuardStage::Latched) {
            m.guard_open_s += TICK_S;
        }
    }

    fn watch_step(&mut self, row: &TraceRow) {
        let Some(at_s) = self.step_at_s else { return };
        if row.t_s < at_s - 0.5 * TICK_S {
            return;
        }
        self.step.get_or_insert_with(|| StepWatch::new(row)).add(row);
    }

    fn watch_limits(&mut self, row: &TraceRow) {
        let (m, limits) = (&mut self.metrics, &self.limits);
        m.peak_boost_kpa = m.peak_boost_kpa.max(row.boost_kpa);
        m.peak_turbo_rpm = m.peak_turbo_rpm.max(row.turbo_rpm);
        m.peak_exhaust_kpa = m.peak_exhaust_kpa.max(row.exhaust_kpa);
        m.boost_over_limit_kpa = (m.peak_boost_kpa - limits.boost_kpa).max(0.0);
        for (over, seconds) in [
            (row.boost_kpa > limits.boost_kpa, &mut m.boost_over_limit_s),
            (row.turbo_rpm > limits.turbo_rpm, &mut m.turbo_over_limit_s),
            (row.exhaust_kpa > limits.exhaust_kpa, &mut m.exhaust_over_limit_s),
        ] {
            if over {
                *seconds += TICK_S;
            }
        }
    }

    fn watch_actuator(&mut self, row: &TraceRow) {
        let m = &mut self.metrics;
        m.winding_heat_j += row.current_a * row.current_a * self.resistance_ohm * TICK_S;
        let Some(last) = self.last_opening.replace(row.opening) else {
            self.turning_point = row.opening;
            return;
        };
        let moved = row.opening - last;
        m.travel_strokes += moved.abs();
        m.actuator_work_j += (row.current_a * self.torque_per_amp * moved * self.travel_rad).abs();
        let back = row.opening - self.turning_point;
        if (self.is_rising && back >= 0.0) || (!self.is_rising && back <= 0.0) {
            self.turning_point = row.opening;
        } else if back.abs() > REVERSAL {
            self.is_rising = !self.is_rising;
            self.turning_point = row.opening;
            m.reversals += 1.0;
        }
    }

    /// The metrics of the rows so far.
    #[must_use]
    pub fn finish(&self) -> Metrics {
        let mut metrics = self.metrics;
        metrics.pumping_kpa /= self.rows.max(1) as f64;
        if let Some(step) = &self.step {
            step.report(&mut metrics);
        }
        metrics
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(t_s: f64, boost_kpa: f64, target: f64, opening: f64) -> TraceRow {
        TraceRow {
            t_s,
            speed_rpm: 2000.0,
            fuel_asked_mg: 25.0,
            fuel_mg: 25.0,
            boost_target_kpa: target,
            boost_kpa,
            exhaust_kpa: boost_kpa + 10.0,
            turbo_rpm: 100_000.0,
            opening_target: opening,
            opening,
            duty: 0.0,
            current_a: 0.0,
            stage: GuardStage::Normal,
        }
    }

    fn meter(step_at_s: Option<f64>) -> Meter {
        let limits = RunLimits { boost_kpa: 160.0, ..RunLimits::default() };
        Meter::new(limits, step_at_s, &WorldConfig::default())
    }

    #[test]
    fn a_first_order_step_has_the_textbook_rise_and_settling() {
        // τ = 0.2 s: rise 10–90 % = τ ln 9 = 0.4394 s; within 5 % after τ ln 20 = 0.5991 s.
        let mut meter = meter(Some(1.0));
        for k in 0..4000 {
            let t_s = f64::from(k) * TICK_S;
            let boost = if t_s < 1.0 { 100.0 } else { 150.0 - 50.0 * libm::exp(-(t_s - 1.0) / 0.2) };
            meter.add(&row(t_s, boost, if t_s < 1.0 { 100.0 } else { 150.0 }, 0.5));
        }
        let m = meter.finish();
        assert!((m.rise_s.unwrap() - 0.4394).abs() < 0.0015, "{m:?}");
        assert!((m.settling_s.unwrap() - 0.5991).abs() < 0.0015, "{m:?}");
        assert_eq!(m.overshoot_pct, Some(0.0));
        assert!((m.boost_iae_kpa_s - 10.0).abs() < 0.03, "∫ = step × τ; {m:?}");
        assert!((m.pumping_kpa - 10.0).abs() < 1e-9);
    }

    #[test]
    fn time_over_a_limit_counts_ticks_and_the_peak_is_kept() {
        let mut meter = meter(None);
        for k in 0..100 {
            meter.add(&row(f64::from(k) * TICK_S, if k < 30 { 165.0 } else { 150.0 }, 150.0, 0.5));
        }
        let m = meter.finish();
        assert!((m.boost_over_limit_s - 0.030).abs() < 1e-12);
        assert_eq!(m.boost_over_limit_kpa, 5.0);
        assert_eq!(m.limits_passed(), [("boost", m.boost_over_limit_s)]);
        assert_eq!((m.rise_s, m.settling_s, m.overshoot_pct), (None, None, None));
    }

    #[test]
    fn reversals_count_turns_and_not_noise() {
        let mut meter = meter(None);
        for k in 0..4000 {
            let t_s = f64::from(k) * TICK_S;
            let swing = 0.5 + 0.2 * libm::sin(core::f64::consts::TAU * t_s);
            let noise = if k % 2 == 0 { 0.001 } else { -0.001 };
            meter.add(&row(t_s, 150.0, 150.0, swing + noise));
        }
        let reversals = meter.finish().reversals;
        assert!((8.0..=9.0).contains(&reversals), "{reversals} turns in 4 periods");
    }
}
