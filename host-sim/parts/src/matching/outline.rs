//! A ring to scale, for drawings: vanes, one throat, wheel.
//!
//! In: a sheet and its nozzle as set. Out: lines and radii in mm from the ring's axis. Refuses nothing.

use crate::{Field, PartsSheet};
use plant::nozzle::NozzleModel;

/// A ring at one of its stops.
#[derive(Debug, Clone, PartialEq)]
pub struct StopOutline {
    /// Vane angle from the tangent, degrees.
    pub angle_deg: f64,
    /// Throat width, mm.
    pub throat_mm: f64,
    /// Centre lines of the vanes.
    pub vanes: Vec<[(f64, f64); 2]>,
    /// Ends of the first throat.
    pub throat: [(f64, f64); 2],
}

/// A ring at both stops.
#[derive(Debug, Clone, PartialEq)]
pub struct RingOutline {
    /// Vane thickness, mm.
    pub thickness_mm: f64,
    /// Radius of the pivot circle, mm.
    pub pivot_radius_mm: f64,
    /// Turbine wheel's radius at its inlet and at its exducer, mm.
    pub wheel_radius_mm: (f64, f64),
    /// At the closed and at the open stop.
    pub stops: [StopOutline; 2],
}

impl RingOutline {
    pub(super) fn of(sheet: &PartsSheet, nozzle: &NozzleModel) -> Self {
        let ring = nozzle.ring;
        let radius = |field| sheet.value(field) / 2.0;
        Self {
            thickness_mm: ring.thickness_mm(),
            pivot_radius_mm: ring.pivot_radius_mm(),
            wheel_radius_mm: (radius(Field::TurbineInducer), radius(Field::TurbineExducer)),
            stops: [0.0, 1.0].map(|opening| {
                let angle_deg = nozzle.angle_deg(opening);
                StopOutline {
                    angle_deg,
                    throat_mm: ring.throat_mm(angle_deg),
                    vanes: ring.centre_lines(angle_deg),
                    throat: ring.throat_line(angle_deg),
                }
            }),
        }
    }
}
