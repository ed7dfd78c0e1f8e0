//! Torque of the exhaust gas on the vane ring.
//!
//! In: pressure difference over the vanes and opening. Out: torque toward open, N m at the lever.
//! Two coefficients with a straight line between them, or the geometry of a measured ring. The default
//! coefficients are invented; their size: 11 vanes of 14 mm × 6 mm, pressed 1.5 mm off the pivot, carry
//! 1.4e-6 N m per Pa. Either way the whole drop from exhaust manifold to ambient counts as lying over the
//! vanes, also what the wheel takes of it: the most that it can be.

use serde::{Deserialize, Serialize};

use super::measured_ring::MeasuredRing;
use crate::check::{BadParameter, between};

/// How the gas turns the ring; positive opens.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct GasTorqueParams {
    /// With the vanes closed, N m per Pa over the vanes.
    pub closed_nm_per_pa: f64,
    /// With the vanes open, N m per Pa over the vanes.
    pub open_nm_per_pa: f64,
}

impl Default for GasTorqueParams {
    fn default() -> Self {
        Self { closed_nm_per_pa: 1.4e-6, open_nm_per_pa: -0.2e-6 }
    }
}

impl GasTorqueParams {
    /// Checks both coefficients.
    ///
    /// # Errors
    /// Names the field.
    pub fn validate(&self) -> Result<(), BadParameter> {
        between("closed_nm_per_pa", self.closed_nm_per_pa, -1e-4, 1e-4)?;
        between("open_nm_per_pa", self.open_nm_per_pa, -1e-4, 1e-4)
    }

    /// Torque toward open, N m.
    #[inline]
    #[must_use]
    pub fn toward_open_nm(&self, pressure_over_vanes_pa: f64, opening: f64) -> f64 {
        let share = opening.clamp(0.0, 1.0);
        let coefficient = self.closed_nm_per_pa + (self.open_nm_per_pa - self.closed_nm_per_pa) * share;
        coefficient * pressure_over_vanes_pa
    }
}

/// Where the gas torque of a world comes from.
#[derive(Debug, Clone)]
pub(crate) enum GasOnRing {
    /// From two coefficients.
    Coefficients(GasTorqueParams),
    /// From the geometry of a measured ring.
    Measured {
        ring: MeasuredRing,
        /// Lever travel between the stops, rad, above 0.
        travel_rad: f64,
    },
}

impl GasOnRing {
    /// Torque toward open, N m.
    #[inline]
    pub(crate) fn toward_open_nm(&self, pressure_over_vanes_pa: f64, opening: f64) -> f64 {
        match self {
            Self::Coefficients(params) => params.toward_open_nm(pressure_over_vanes_pa, opening),
            Self::Measured { ring, travel_rad } => {
                pressure_over_vanes_pa * ring.gas_nm_per_pa(opening, *travel_rad)
            }
        }
    }
}
