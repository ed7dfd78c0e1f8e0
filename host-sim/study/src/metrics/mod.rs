//! What a run is judged by, taken tick by tick in constant memory.
//!
//! In: the rows of a run. Out: [`Metrics`]. Every definition stands at its field. A metric that a run cannot
//! have (no step, never settled) is absent, never NaN.

mod columns;
mod step_watch;

pub use columns::{METRICS, MetricColumn};

use firmware_core::guard::GuardStage;
use serde::{Deserialize, Serialize};

use crate::scenario::RunLimits;
use crate::trace::TraceRow;
use plant::actuator::ActuatorParams;
use plant::world::{TICK_S, WorldConfig};
use step_watch::StepWatch;

/// Metrics of one run. Boost, exhaust and speed are the true ones, not what sensors say.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, schemars::JsonSchema, Deserialize)]
pub struct Metrics {
    /// From the step in wanted boost, the pedal's, until boost has gone 90 % of the way, s.
    pub time_to_boost_s: Option<f64>,
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
    /// Least mass of gas that the cylinders took in for each mass of fuel. Recirculated exhaust counts as air, as it
    /// does for the engine's smoke limit.
    pub least_air_fuel: Option<f64>,
    /// Fuel that was asked and held back, by the smoke limit or by the controller, % of what was asked.
    pub fuel_held_back_pct: f64,
    /// Mean of the recirculated exhaust in what the cylinders take in, while the valve is open, %.
    pub recirculated_pct: Option<f64>,
    /// ∫ |wanted share of recirculated exhaust − share| dt, s (shares are fractions), where a share is wanted.
    pub recirculation_iae_s: Option<f64>,
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

/// Way back, as a share of travel, that counts as a reversal.
const REVERSAL: f64 = 0.005;

/// A mean as it grows.
#[derive(Debug, Clone, Copy, Default)]
struct MeanSoFar {
    sum: f64,
    count: u32,
}

impl MeanSoFar {
    fn add(&mut self, value: f64) {
        self.sum += value;
        self.count += 1;
    }

    fn value(self) -> Option<f64> {
        (self.count > 0).then(|| self.sum / f64::from(self.count))
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
    fuel_asked_mg: f64,
    fuel_held_back_mg: f64,
    recirculated: MeanSoFar,
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
            fuel_asked_mg: 0.0,
            fuel_held_back_mg: 0.0,
            recirculated: MeanSoFar::default(),
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
        self.watch_gas(row);
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

    fn watch_gas(&mut self, row: &TraceRow) {
        // Speed counts: strokes come at its rate.
        self.fuel_asked_mg += row.fuel_asked_mg * row.speed_rpm;
        self.fuel_held_back_mg += (row.fuel_asked_mg - row.fuel_mg).max(0.0) * row.speed_rpm;
        self.metrics.least_air_fuel = match (self.metrics.least_air_fuel, row.air_per_fuel) {
            (Some(least), Some(now)) => Some(least.min(now)),
            (known, now) => known.or(now),
        };
        if let Some(share) = row.recirculated_share {
            self.recirculated.add(share);
        }
        if let Some(wanted) = row.wanted_share {
            let off = (wanted - row.recirculated_share.unwrap_or(0.0)).abs();
            let so_far = self.metrics.recirculation_iae_s.get_or_insert(0.0);
            *so_far += off * TICK_S;
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
        metrics.recirculated_pct = self.recirculated.value().map(|share| 100.0 * share);
        if self.fuel_asked_mg > 0.0 {
            metrics.fuel_held_back_pct = 100.0 * self.fuel_held_back_mg / self.fuel_asked_mg;
        }
        if let Some(step) = &self.step {
            step.report(&mut metrics);
        }
        metrics
    }
}

#[cfg(test)]
mod tests;
