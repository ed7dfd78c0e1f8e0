//! Effective nozzle area against opening: ring geometry, linkage, discharge and end-wall leakage.
//!
//! In: opening 0 (closed stop) … 1 (open stop). Out: vane angle, geometric throat area, effective area,
//! its slope, and the opening that gives a wanted area. Refuses nothing: its parts were checked before.

use super::geometry::VaneRing;
use super::linkage::Linkage;

/// Halvings of an interval of travel; 64 reach the last bit of a double.
const HALVINGS: u32 = 64;
/// Areas nearer than this (relative) count as equal: above rounding, far below any measurement.
const SAME_AREA: f64 = 1e-12;

/// The nozzle of one turbine, as its parts make it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NozzleModel {
    /// The vanes.
    pub ring: VaneRing,
    /// What turns them.
    pub linkage: Linkage,
    /// Vane angle from the tangent at the closed (minimum-flow) stop as found, degrees.
    pub closed_deg: f64,
    /// Vane angle at the open stop, degrees.
    pub open_deg: f64,
    /// Discharge coefficient of the vane throats.
    pub discharge: f64,
    /// Total end-wall clearance beside the vanes (both sides), mm.
    pub end_gap_mm: f64,
    /// Discharge coefficient of the end-wall clearance.
    pub gap_discharge: f64,
    /// Lever share at which opening 0 stands: 0 as found; moved when the minimum-flow stop is moved.
    pub lever_start: f64,
}

/// Where a wanted area lies on a nozzle's travel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum AreaAt {
    /// Reached at this opening.
    Opening(f64),
    /// Smaller than the closed stop leaves.
    BelowClosed,
    /// Larger than the open stop gives.
    AboveOpen,
}

impl NozzleModel {
    /// Vane angle from the tangent, degrees.
    #[must_use]
    pub fn angle_deg(&self, opening: f64) -> f64 {
        self.angle_at_lever(self.lever_start + (1.0 - self.lever_start) * opening).unwrap_or(f64::NAN)
    }

    /// Geometric throat area, mm².
    #[must_use]
    pub fn throat_area_mm2(&self, opening: f64) -> f64 {
        self.ring.throat_area_mm2(self.angle_deg(opening))
    }

    /// Effective area, mm²: throats times discharge, plus the end-wall clearance around the pivot circle
    /// times its own discharge (it leaks at every opening).
    #[must_use]
    pub fn effective_area_mm2(&self, opening: f64) -> f64 {
        self.effective_at_angle(self.angle_deg(opening))
    }

    /// Slope of the effective area, mm² per unit of opening.
    #[must_use]
    pub fn area_slope_mm2(&self, opening: f64) -> f64 {
        // Wide enough for double precision, narrow beside any bend of the curve.
        const STEP: f64 = 1e-4;
        let (below, above) = ((opening - STEP).max(0.0), (opening + STEP).min(1.0));
        (self.effective_area_mm2(above) - self.effective_area_mm2(below)) / (above - below)
    }

    /// Slope of the effective area against vane angle, mm² per degree.
    #[must_use]
    pub fn area_per_degree_mm2(&self, opening: f64) -> f64 {
        const STEP_DEG: f64 = 1e-3;
        let angle = self.angle_deg(opening);
        let rise = self.effective_at_angle(angle + STEP_DEG) - self.effective_at_angle(angle - STEP_DEG);
        rise / (2.0 * STEP_DEG)
    }

    /// The opening that gives `area_mm2`, or on which side of the travel it lies.
    #[must_use]
    pub fn opening_for_area(&self, area_mm2: f64) -> AreaAt {
        let (least, most) = (self.effective_area_mm2(0.0), self.effective_area_mm2(1.0));
        if (area_mm2 - least).abs() <= SAME_AREA * least {
            AreaAt::Opening(0.0)
        } else if (area_mm2 - most).abs() <= SAME_AREA * most {
            AreaAt::Opening(1.0)
        } else if area_mm2 < least {
            AreaAt::BelowClosed
        } else if area_mm2 > most {
            AreaAt::AboveOpen
        } else {
            let excess_mm2 = |opening: f64| self.effective_area_mm2(opening) - area_mm2;
            AreaAt::Opening(root((0.0, least - area_mm2), (1.0, most - area_mm2), excess_mm2))
        }
    }

    /// The same nozzle with its closed stop moved so that the vanes stand at `angle_deg` there. None
    /// where the linkage cannot take the lever there.
    #[must_use]
    pub fn with_closed_angle(&self, angle_deg: f64) -> Option<Self> {
        if angle_deg == self.closed_deg {
            return Some(Self { lever_start: 0.0, ..*self });
        }
        // A stop is moved by part of the travel; one whole travel outward is more than any screw gives.
        // Where the links no longer meet, the lever has gone too far toward closed.
        let is_below = |lever: f64| self.angle_at_lever(lever).is_none_or(|angle| angle < angle_deg);
        let lever_start = bisect(-1.0, 1.0, is_below);
        let reached = self.angle_at_lever(lever_start)?;
        const ANGLE_AGREES_DEG: f64 = 1e-6;
        ((reached - angle_deg).abs() < ANGLE_AGREES_DEG).then_some(Self { lever_start, ..*self })
    }

    /// Smallest angle between the stops (degrees) at which the throat stops widening, if there is one:
    /// past it, opening further would shrink the area.
    #[must_use]
    pub fn area_peak_deg(&self) -> Option<f64> {
        const STEPS: u32 = 200;
        let angle = |step: u32| {
            self.closed_deg + (self.open_deg - self.closed_deg) * f64::from(step) / f64::from(STEPS)
        };
        let area = |step: u32| self.ring.throat_area_mm2(angle(step));
        (0..STEPS).find(|&step| area(step + 1) <= area(step)).map(angle)
    }

    /// Smallest angle (degrees, down to 0) at which the vanes still clear each other.
    #[must_use]
    pub fn least_clear_deg(&self) -> f64 {
        if self.ring.gap_mm(0.0) > 0.0 {
            return 0.0;
        }
        bisect(0.0, self.open_deg, |angle| self.ring.gap_mm(angle) <= 0.0)
    }

    /// Smallest angle (degrees) from which a rising property of the ring holds; none where it never does up to
    /// 89°.
    #[must_use]
    pub fn angle_where(&self, holds: impl Fn(f64) -> bool) -> Option<f64> {
        const STEEPEST_DEG: f64 = 89.0;
        let low = self.least_clear_deg();
        let reaches = (holds(STEEPEST_DEG) || holds(self.open_deg)) && !holds(low);
        // A throat is widest well before the vanes stand across: the property need only hold at one of the two.
        let high = if holds(self.open_deg) { self.open_deg } else { STEEPEST_DEG };
        reaches.then(|| bisect(low, high, |angle| !holds(angle)))
    }

    /// Effective area with the vanes at `angle_deg`, mm².
    #[must_use]
    pub fn effective_at_angle(&self, angle_deg: f64) -> f64 {
        let leak = self.end_gap_mm * self.ring.pivot_circumference_mm();
        self.discharge * self.ring.throat_area_mm2(angle_deg) + self.gap_discharge * leak
    }

    fn angle_at_lever(&self, lever: f64) -> Option<f64> {
        let share = self.linkage.vane_share(lever)?;
        Some(self.closed_deg + (self.open_deg - self.closed_deg) * share)
    }
}

/// Volute throat and nozzle in a row, mm²: 1/A² = 1/A₁² + 1/A₂² (incompressible losses in series; an
/// estimate that matters only where the volute is hardly larger than the nozzle).
#[must_use]
pub fn in_series_mm2(first_mm2: f64, second_mm2: f64) -> f64 {
    1.0 / libm::sqrt(1.0 / (first_mm2 * first_mm2) + 1.0 / (second_mm2 * second_mm2))
}

/// The root of a rising `f` between two places with the values there, the first below 0 and the second above, to the
/// last bits: false position, an end that stays twice counting half (Illinois method; Dowell and Jarratt, BIT 11, 1971,
/// from memory). A tenth of what halving takes.
fn root(low: (f64, f64), high: (f64, f64), f: impl Fn(f64) -> f64) -> f64 {
    let ((mut kept, mut at_kept), (mut newest, mut at_newest)) = (low, high);
    for _ in 0..HALVINGS {
        let place = newest - at_newest * (newest - kept) / (at_newest - at_kept);
        let value = f(place);
        if value == 0.0 || (place - newest).abs() <= f64::EPSILON {
            return place;
        }
        if (value < 0.0) == (at_newest < 0.0) {
            at_kept *= 0.5;
        } else {
            (kept, at_kept) = (newest, at_newest);
        }
        (newest, at_newest) = (place, value);
    }
    newest
}

/// The place between `low` and `high` where `is_below` turns from true to false.
pub(crate) fn bisect(mut low: f64, mut high: f64, is_below: impl Fn(f64) -> bool) -> f64 {
    for _ in 0..HALVINGS {
        let middle = low + (high - low) / 2.0;
        if is_below(middle) {
            low = middle;
        } else {
            high = middle;
        }
    }
    low + (high - low) / 2.0
}

#[cfg(test)]
mod tests {
    use super::{AreaAt, NozzleModel};
    use crate::nozzle::{Linkage, RingDimensions, VaneRing};

    fn nozzle() -> NozzleModel {
        let dimensions = RingDimensions {
            vanes: 11,
            height_mm: 6.0,
            chord_mm: 14.0,
            thickness_mm: 1.2,
            pivot_radius_mm: 28.0,
            pivot_fraction: 0.45,
        };
        NozzleModel {
            ring: VaneRing::try_new(dimensions).unwrap(),
            linkage: Linkage::Proportional,
            closed_deg: 10.0,
            open_deg: 38.0,
            discharge: 0.9,
            end_gap_mm: 0.1,
            gap_discharge: 0.6,
            lever_start: 0.0,
        }
    }

    #[test]
    fn the_opening_for_an_area_gives_that_area_back() {
        let nozzle = nozzle();
        for percent in 0..=100 {
            let opening = f64::from(percent) / 100.0;
            let AreaAt::Opening(back) = nozzle.opening_for_area(nozzle.effective_area_mm2(opening)) else {
                panic!("opening {opening} not found again");
            };
            assert!((back - opening).abs() < 1e-12, "{opening} came back as {back}");
        }
    }

    #[test]
    fn areas_outside_the_stops_say_on_which_side() {
        let nozzle = nozzle();
        assert_eq!(nozzle.opening_for_area(1.0), AreaAt::BelowClosed);
        assert_eq!(nozzle.opening_for_area(1e4), AreaAt::AboveOpen);
    }

    #[test]
    fn a_moved_closed_stop_moves_only_the_closed_end() {
        let moved = nozzle().with_closed_angle(14.0).unwrap();
        assert!((moved.angle_deg(0.0) - 14.0).abs() < 1e-9);
        assert!((moved.angle_deg(1.0) - 38.0).abs() < 1e-9);
    }

    #[test]
    fn slopes_agree_with_the_area_between_two_openings() {
        let nozzle = nozzle();
        let rise = nozzle.effective_area_mm2(0.51) - nozzle.effective_area_mm2(0.49);
        assert!((nozzle.area_slope_mm2(0.5) - rise / 0.02).abs() < 0.1);
        let per_degree = nozzle.area_per_degree_mm2(0.5);
        assert!((per_degree * 28.0 - nozzle.area_slope_mm2(0.5)).abs() < 1e-2);
    }
}
