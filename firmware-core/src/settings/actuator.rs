//! What the controller must know of the actuator in front of it.

use serde::{Deserialize, Serialize};

use super::{SettingError, check};
use crate::units::{Ampere, Counts, Duty, Volt};

/// Which way the sensor counts when the vanes open.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(rename_all = "kebab-case")]
pub enum CountsDirection {
    /// Opening raises counts.
    OpeningRaises,
    /// Opening lowers counts.
    OpeningLowers,
}

impl CountsDirection {
    /// +1 when opening raises counts, −1 when it lowers them.
    #[must_use]
    pub fn sign(self) -> f32 {
        match self {
            Self::OpeningRaises => 1.0,
            Self::OpeningLowers => -1.0,
        }
    }
}

/// What the return spring does without power.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(rename_all = "kebab-case")]
pub enum SpringAction {
    /// No spring: the vane stays or drifts.
    None,
    /// The spring opens the vanes.
    Opens,
    /// The spring closes the vanes.
    Closes,
}

/// Constants of one actuator model. The defaults describe the invented "bench actuator A".
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(default, deny_unknown_fields)]
pub struct ActuatorSettings {
    /// Which way the sensor counts.
    pub counts_direction: CountsDirection,
    /// Lowest reading of a sound sensor, counts; below is an electrical fault. Default 400.
    pub sensor_min: Counts,
    /// Highest reading of a sound sensor, counts; above is an electrical fault. Default 15 980.
    pub sensor_max: Counts,
    /// Travel between the stops of a sound unit, counts, 200 to 16 000. Default 10 700 (70°).
    pub nominal_span_counts: f32,
    /// What the spring does without power.
    pub spring: SpringAction,
    /// Winding resistance at 20 °C, Ω, 0.05 to 50. Default 1.6.
    pub winding_resistance_ohm: f32,
    /// Back-EMF in volts for each count per second of lever speed, 1e-6 to 1e-1.
    /// Default 9.865e-5 (0.0180 V s/rad × gear 48, over 8758 counts/rad).
    pub back_emf_v_per_count_per_s: f32,
    /// Largest motor current that any command may draw, A, 0.1 to 30. Default 4.
    pub max_current: Ampere,
    /// Largest duty magnitude that any command may ask for, 0.05 to 1. Default 1.
    pub max_duty: Duty,
    /// Supply that the gains were chosen at, V, 6 to 32. Default 12.
    pub nominal_supply: Volt,
}

impl ActuatorSettings {
    /// The defaults.
    pub const DEFAULT: Self = Self {
        counts_direction: CountsDirection::OpeningLowers,
        sensor_min: Counts(400),
        sensor_max: Counts(15_980),
        nominal_span_counts: 10_700.0,
        spring: SpringAction::Opens,
        winding_resistance_ohm: 1.6,
        back_emf_v_per_count_per_s: 9.865e-5,
        max_current: Ampere(4.0),
        max_duty: Duty::MAX,
        nominal_supply: Volt(12.0),
    };
}

impl Default for ActuatorSettings {
    fn default() -> Self {
        Self::DEFAULT
    }
}

impl ActuatorSettings {
    #[inline]
    pub(super) fn validate(&self) -> Result<(), SettingError> {
        check("actuator.sensor_min", self.sensor_min.as_f32(), 0.0, 16_382.0)?;
        check("actuator.sensor_max", self.sensor_max.as_f32(), self.sensor_min.as_f32() + 1.0, 16_383.0)?;
        check("actuator.nominal_span_counts", self.nominal_span_counts, 200.0, 16_000.0)?;
        check("actuator.winding_resistance_ohm", self.winding_resistance_ohm, 0.05, 50.0)?;
        check("actuator.back_emf_v_per_count_per_s", self.back_emf_v_per_count_per_s, 1.0e-6, 0.1)?;
        check("actuator.max_current", self.max_current.0, 0.1, 30.0)?;
        check("actuator.max_duty", self.max_duty.get(), 0.05, 1.0)?;
        check("actuator.nominal_supply", self.nominal_supply.0, 6.0, 32.0)
    }
}
