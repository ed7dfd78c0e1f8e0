//! What driver and road ask of the engine over time.
//!
//! In: points in time order. Out: the demand at any tick, stepped or on a straight line between points.
//! Refuses points out of order, out of range, or not numbers, naming which.

use firmware_core::sample::Mode;
use serde::{Deserialize, Serialize};

use plant::check::{BadParameter, between};

/// How a point is reached from the one before.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Shape {
    /// Suddenly, at the point's time.
    #[default]
    Step,
    /// On a straight line from the point before.
    Ramp,
}

/// What the vanes are used for, as written in a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum VaneUse {
    /// Engine idling.
    Idle,
    /// Boost control.
    #[default]
    Boost,
    /// Exhaust brake.
    Brake,
    /// Limp home.
    Limp,
}

impl From<VaneUse> for Mode {
    fn from(vane_use: VaneUse) -> Self {
        match vane_use {
            VaneUse::Idle => Self::Idle,
            VaneUse::Boost => Self::Boost,
            VaneUse::Brake => Self::Brake,
            VaneUse::Limp => Self::Limp,
        }
    }
}

/// One point of the demand.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DemandPoint {
    /// Time, s.
    pub t_s: f64,
    /// Crankshaft speed, rpm.
    pub speed_rpm: f64,
    /// Fuel asked for, mg per stroke.
    pub fuel_mg: f64,
    /// Wanted boost, absolute kPa; without it, the engine's boost map decides.
    pub boost_kpa: Option<f64>,
    /// Effective area of the recirculation valve, mm².
    #[serde(default)]
    pub egr_mm2: f64,
    /// Wanted recirculated exhaust, share of what the cylinders take in; without it, none is asked and no error counted.
    pub egr_share: Option<f64>,
    /// Geometric altitude, m; without it, the world's.
    pub altitude_m: Option<f64>,
    /// What the vanes are used for, from here on.
    #[serde(default)]
    pub vanes: VaneUse,
    /// How this point is reached.
    #[serde(default)]
    pub shape: Shape,
}

/// The demand at an instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Demand {
    /// Crankshaft speed, rpm.
    pub speed_rpm: f64,
    /// Fuel asked for, mg per stroke.
    pub fuel_mg: f64,
    /// Wanted boost, kPa, where the scenario sets it.
    pub boost_kpa: Option<f64>,
    /// Recirculation area, mm².
    pub egr_mm2: f64,
    /// Wanted share of recirculated exhaust, where the scenario asks for one.
    pub egr_share: Option<f64>,
    /// Altitude, m, where the scenario sets it.
    pub altitude_m: Option<f64>,
    /// What the vanes are used for.
    pub vanes: VaneUse,
}

/// Checks that points rise in time and lie in range; `table` names them in errors.
pub(super) fn check_points(points: &[DemandPoint], table: &str) -> Result<(), BadParameter> {
    let mut earliest = 0.0;
    for (index, point) in points.iter().enumerate() {
        check_point(point, earliest).map_err(|e| e.within(&format!("{table}[{index}]")))?;
        earliest = point.t_s;
    }
    Ok(())
}

fn check_point(point: &DemandPoint, earliest: f64) -> Result<(), BadParameter> {
    between("t_s", point.t_s, earliest, 1e6)?;
    between("speed_rpm", point.speed_rpm, 300.0, 8000.0)?;
    between("fuel_mg", point.fuel_mg, 0.0, 500.0)?;
    between("egr_mm2", point.egr_mm2, 0.0, 2000.0)?;
    if let Some(egr_share) = point.egr_share {
        between("egr_share", egr_share, 0.0, 0.9)?;
    }
    if let Some(boost_kpa) = point.boost_kpa {
        between("boost_kpa", boost_kpa, 20.0, 900.0)?;
    }
    if let Some(altitude_m) = point.altitude_m {
        between("altitude_m", altitude_m, -2000.0, 11_000.0)?;
    }
    Ok(())
}

/// Walks along the points as time goes on.
#[derive(Debug, Clone)]
pub struct DemandCursor<'a> {
    points: &'a [DemandPoint],
    next: usize,
}

impl<'a> DemandCursor<'a> {
    /// Starts before the first point; there must be one.
    #[must_use]
    pub(crate) fn new(points: &'a [DemandPoint]) -> Self {
        Self { points, next: 0 }
    }

    /// The demand at `t_s`; calls must not go back in time. Before the first point, the first holds.
    pub fn at(&mut self, t_s: f64) -> Demand {
        const HALF_TICK_S: f64 = 0.5e-3;
        while self.points.get(self.next).is_some_and(|point| point.t_s <= t_s + HALF_TICK_S) {
            self.next += 1;
        }
        let Some(last) = self.next.checked_sub(1).and_then(|index| self.points.get(index)) else {
            return self.points.first().map_or_else(Demand::idle, Demand::of);
        };
        match self.points.get(self.next) {
            Some(next) if next.shape == Shape::Ramp => {
                Demand::between(last, next, (t_s - last.t_s) / (next.t_s - last.t_s))
            }
            _ => Demand::of(last),
        }
    }
}

impl Demand {
    fn of(point: &DemandPoint) -> Self {
        Self {
            speed_rpm: point.speed_rpm,
            fuel_mg: point.fuel_mg,
            boost_kpa: point.boost_kpa,
            egr_mm2: point.egr_mm2,
            egr_share: point.egr_share,
            altitude_m: point.altitude_m,
            vanes: point.vanes,
        }
    }

    /// An engine at idle: what a scenario without points would ask.
    fn idle() -> Self {
        Self {
            speed_rpm: 800.0,
            fuel_mg: 6.0,
            boost_kpa: None,
            egr_mm2: 0.0,
            egr_share: None,
            altitude_m: None,
            vanes: VaneUse::Idle,
        }
    }

    fn between(from: &DemandPoint, to: &DemandPoint, share: f64) -> Self {
        let share = share.clamp(0.0, 1.0);
        let mix = |a: f64, b: f64| a + (b - a) * share;
        let mix_known = |a: Option<f64>, b: Option<f64>| a.zip(b).map(|(a, b)| mix(a, b)).or(a);
        Self {
            speed_rpm: mix(from.speed_rpm, to.speed_rpm),
            fuel_mg: mix(from.fuel_mg, to.fuel_mg),
            boost_kpa: mix_known(from.boost_kpa, to.boost_kpa),
            egr_mm2: mix(from.egr_mm2, to.egr_mm2),
            egr_share: mix_known(from.egr_share, to.egr_share),
            altitude_m: mix_known(from.altitude_m, to.altitude_m),
            vanes: from.vanes,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn point(t_s: f64, speed_rpm: f64, shape: Shape) -> DemandPoint {
        DemandPoint {
            t_s,
            speed_rpm,
            fuel_mg: 10.0,
            boost_kpa: None,
            egr_mm2: 0.0,
            egr_share: None,
            altitude_m: None,
            vanes: VaneUse::Boost,
            shape,
        }
    }

    #[test]
    fn steps_hold_and_ramps_run_straight() {
        let points = [
            point(0.0, 1000.0, Shape::Step),
            point(1.0, 2000.0, Shape::Step),
            point(3.0, 3000.0, Shape::Ramp),
        ];
        let mut cursor = DemandCursor::new(&points);
        let speeds = [0.0, 0.9, 1.0, 2.0, 3.0, 9.0].map(|t| cursor.at(t).speed_rpm);
        assert_eq!(speeds, [1000.0, 1000.0, 2000.0, 2500.0, 3000.0, 3000.0]);
    }

    #[test]
    fn a_point_that_goes_back_in_time_is_refused_by_index() {
        let points = [point(1.0, 1000.0, Shape::Step), point(0.5, 2000.0, Shape::Step)];
        assert_eq!(check_points(&points, "demand").unwrap_err().field, "demand[1].t_s");
    }
}
