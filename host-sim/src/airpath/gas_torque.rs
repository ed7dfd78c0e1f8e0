//! Torque of the exhaust gas on the vane ring.
//!
//! In: pressure difference over the vanes and opening. Out: torque toward open, N m at the lever.
//! Linear between two coefficients, both invented. Their size: 11 vanes of 14 mm × 6 mm, pressed 1.5 mm
//! off the pivot, carry 1.4e-6 N m per Pa.

use serde::{Deserialize, Serialize};

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
