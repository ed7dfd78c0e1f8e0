//! Gas flow through nozzles and orifices, isentropic, with choking.
//!
//! In: pressures (Pa, absolute), temperature (K), area (m²), γ and R. Out: flow and critical ratios.
//! Total over its inputs: back flow reads as zero, never as NaN.
//! Relations: NACA Report 1135, "Equations, Tables, and Charts for Compressible Flow", 1953.

/// An ideal gas.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gas {
    /// Ratio of specific heats, above 1.
    pub gamma: f64,
    /// Specific gas constant, J/(kg K).
    pub r: f64,
}

impl Gas {
    /// Dry air of the standard atmosphere.
    pub const AIR: Self = Self { gamma: 1.4, r: 287.052_87 };

    /// Specific heat at constant pressure, J/(kg K).
    #[must_use]
    pub fn cp(&self) -> f64 {
        self.gamma * self.r / (self.gamma - 1.0)
    }

    /// p*/p0: at or below this pressure ratio the throat is choked.
    #[must_use]
    pub fn critical_ratio(&self) -> f64 {
        libm::pow(2.0 / (self.gamma + 1.0), self.gamma / (self.gamma - 1.0))
    }

    /// W √(R T0) / (A p0) at the given downstream-to-upstream ratio; constant once choked, 0 for ratios ≥ 1.
    #[must_use]
    pub fn flow_function(&self, pressure_ratio: f64) -> f64 {
        let g = self.gamma;
        let ratio = pressure_ratio.max(self.critical_ratio()).min(1.0);
        let head = libm::pow(ratio, 2.0 / g) - libm::pow(ratio, (g + 1.0) / g);
        libm::sqrt((2.0 * g / (g - 1.0) * head).max(0.0))
    }

    /// Mass flow, kg/s, from total state `p0_pa`, `t0_k` through `area_m2` to `p_down_pa`.
    #[must_use]
    pub fn nozzle_flow(&self, area_m2: f64, p0_pa: f64, t0_k: f64, p_down_pa: f64) -> f64 {
        area_m2 * p0_pa / libm::sqrt(self.r * t0_k) * self.flow_function(p_down_pa / p0_pa)
    }
}
