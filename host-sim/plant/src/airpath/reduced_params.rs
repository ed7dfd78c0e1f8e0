//! Parameters of the reduced air path, as they stand in a file. The values are those of an invented
//! 2.2-litre engine, "bench engine A". Refuses what could make a flow meaningless, by field.

use serde::{Deserialize, Serialize};

use crate::check::{BadParameter, above_zero, between, not_negative};

/// Parameters of the reduced air path. Defaults: invented "bench engine A".
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct ReducedParams {
    /// Gas constant of air, J/(kg K).
    pub air_r: f64,
    /// Specific heat of air, J/(kg K).
    pub air_cp: f64,
    /// γ of air.
    pub air_gamma: f64,
    /// Gas constant of exhaust, J/(kg K).
    pub exhaust_r: f64,
    /// Specific heat of exhaust, J/(kg K).
    pub exhaust_cp: f64,
    /// γ of exhaust.
    pub exhaust_gamma: f64,
    /// Pressure rise of the exhaust system over ambient, Pa.
    pub exhaust_back_pressure_pa: f64,
    /// Intake manifold volume, m³.
    pub intake_volume_m3: f64,
    /// Intake manifold temperature, K.
    pub intake_k: f64,
    /// Exhaust manifold volume, m³.
    pub exhaust_volume_m3: f64,
    /// Displacement, m³.
    pub displacement_m3: f64,
    /// Number of cylinders.
    pub cylinders: f64,
    /// Volumetric efficiency at equal manifold pressures.
    pub volumetric_base: f64,
    /// Change of volumetric efficiency per unit of p_em/p_im − 1.
    pub volumetric_slope: f64,
    /// Lower heating value of the fuel, J/kg.
    pub heating_value: f64,
    /// Share of the fuel's heat that goes to the exhaust.
    pub exhaust_heat_share: f64,
    /// Hottest exhaust, K.
    pub exhaust_max_k: f64,
    /// Nozzle area with the vanes closed, m².
    pub nozzle_min_m2: f64,
    /// Nozzle area with the vanes open, m².
    pub nozzle_max_m2: f64,
    /// Exponent of area over opening.
    pub nozzle_exponent: f64,
    /// Exponent K of the turbine flow √(1 − Π^K).
    pub turbine_flow_exponent: f64,
    /// Turbine wheel radius, m.
    pub turbine_radius_m: f64,
    /// Best turbine efficiency.
    pub turbine_best: f64,
    /// Blade-speed ratio of best efficiency.
    pub blade_speed_best: f64,
    /// Rise of that ratio with opening, from the opening of best efficiency.
    pub blade_speed_rise: f64,
    /// Fall of turbine efficiency with blade-speed ratio squared.
    pub blade_speed_fall: f64,
    /// Fall of turbine efficiency with opening squared, on the closed side.
    pub closed_fall: f64,
    /// The same on the open side.
    pub open_fall: f64,
    /// Opening of best turbine efficiency.
    pub opening_best: f64,
    /// Least turbine efficiency.
    pub turbine_least: f64,
    /// Compressor wheel radius, m.
    pub compressor_radius_m: f64,
    /// Head coefficient's weight in the flow ellipse.
    pub head_weight: f64,
    /// Flow coefficient's weight in the flow ellipse.
    pub flow_weight: f64,
    /// Best compressor efficiency.
    pub compressor_best: f64,
    /// Flow coefficient of best efficiency.
    pub flow_best: f64,
    /// Fall of efficiency with flow coefficient squared.
    pub flow_fall: f64,
    /// Head coefficient of best efficiency.
    pub head_best: f64,
    /// Fall of efficiency with head coefficient squared.
    pub head_fall: f64,
    /// Least compressor efficiency.
    pub compressor_least: f64,
    /// Rotor inertia, kg m².
    pub rotor_inertia_kg_m2: f64,
}

impl Default for ReducedParams {
    fn default() -> Self {
        Self {
            air_r: 287.0,
            air_cp: 1005.0,
            air_gamma: 1.4,
            exhaust_r: 286.0,
            exhaust_cp: 1149.0,
            exhaust_gamma: 1.33,
            exhaust_back_pressure_pa: 0.0,
            intake_volume_m3: 6.0e-3,
            intake_k: 320.0,
            exhaust_volume_m3: 1.4e-3,
            displacement_m3: 2.2e-3,
            cylinders: 4.0,
            volumetric_base: 0.94,
            volumetric_slope: -0.10,
            heating_value: 42.9e6,
            exhaust_heat_share: 0.38,
            exhaust_max_k: 1250.0,
            nozzle_min_m2: 0.85e-4,
            nozzle_max_m2: 4.2e-4,
            nozzle_exponent: 1.2,
            turbine_flow_exponent: 2.9,
            turbine_radius_m: 0.0230,
            turbine_best: 0.70,
            blade_speed_best: 0.68,
            blade_speed_rise: 0.0,
            blade_speed_fall: 1.6,
            closed_fall: 1.2,
            open_fall: 0.35,
            opening_best: 0.42,
            turbine_least: 0.20,
            compressor_radius_m: 0.0250,
            head_weight: 0.62,
            flow_weight: 21.0,
            compressor_best: 0.74,
            flow_best: 0.14,
            flow_fall: 14.0,
            head_best: 0.95,
            head_fall: 0.35,
            compressor_least: 0.30,
            rotor_inertia_kg_m2: 2.8e-5,
        }
    }
}

impl ReducedParams {
    /// The opening at which the engine's own nozzle law has an area, 0 or 1 where it lies beyond. Turbine
    /// efficiency is given against that opening; another nozzle is told to it by its area.
    #[must_use]
    pub fn opening_of_area(&self, area_m2: f64) -> f64 {
        let share = (area_m2 - self.nozzle_min_m2) / (self.nozzle_max_m2 - self.nozzle_min_m2);
        libm::pow(share.clamp(0.0, 1.0), 1.0 / self.nozzle_exponent)
    }

    /// Checks every field that could make the flows meaningless.
    ///
    /// # Errors
    /// Names the first field that is out of range.
    pub fn validate(&self) -> Result<(), BadParameter> {
        for (field, value) in [
            ("air_r", self.air_r),
            ("air_cp", self.air_cp),
            ("exhaust_r", self.exhaust_r),
            ("exhaust_cp", self.exhaust_cp),
            ("intake_volume_m3", self.intake_volume_m3),
            ("intake_k", self.intake_k),
            ("exhaust_volume_m3", self.exhaust_volume_m3),
            ("displacement_m3", self.displacement_m3),
            ("cylinders", self.cylinders),
            ("heating_value", self.heating_value),
            ("exhaust_max_k", self.exhaust_max_k),
            ("nozzle_min_m2", self.nozzle_min_m2),
            ("nozzle_exponent", self.nozzle_exponent),
            ("turbine_flow_exponent", self.turbine_flow_exponent),
            ("turbine_radius_m", self.turbine_radius_m),
            ("compressor_radius_m", self.compressor_radius_m),
            ("head_weight", self.head_weight),
            ("flow_weight", self.flow_weight),
            ("rotor_inertia_kg_m2", self.rotor_inertia_kg_m2),
        ] {
            above_zero(field, value)?;
        }
        self.validate_ranges()
    }

    fn validate_ranges(&self) -> Result<(), BadParameter> {
        between("air_gamma", self.air_gamma, 1.01, 1.67)?;
        between("exhaust_gamma", self.exhaust_gamma, 1.01, 1.67)?;
        not_negative("exhaust_back_pressure_pa", self.exhaust_back_pressure_pa)?;
        between("blade_speed_rise", self.blade_speed_rise, -0.5, 0.5)?;
        between("volumetric_base", self.volumetric_base, 0.3, 1.2)?;
        between("volumetric_slope", self.volumetric_slope, -1.0, 0.0)?;
        between("exhaust_heat_share", self.exhaust_heat_share, 0.0, 1.0)?;
        for (field, value) in [
            ("turbine_best", self.turbine_best),
            ("turbine_least", self.turbine_least),
            ("opening_best", self.opening_best),
            ("blade_speed_best", self.blade_speed_best),
            ("compressor_best", self.compressor_best),
            ("compressor_least", self.compressor_least),
        ] {
            between(field, value, 1e-3, 1.0)?;
        }
        for (field, value) in [
            ("blade_speed_fall", self.blade_speed_fall),
            ("closed_fall", self.closed_fall),
            ("open_fall", self.open_fall),
            ("flow_best", self.flow_best),
            ("flow_fall", self.flow_fall),
            ("head_best", self.head_best),
            ("head_fall", self.head_fall),
        ] {
            not_negative(field, value)?;
        }
        if self.nozzle_max_m2.is_finite() && self.nozzle_max_m2 > self.nozzle_min_m2 {
            return Ok(());
        }
        let allowed = format!("above `nozzle_min_m2` ({})", self.nozzle_min_m2);
        Err(BadParameter::new("nozzle_max_m2", self.nozzle_max_m2, allowed))
    }
}
