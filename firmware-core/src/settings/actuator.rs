//! What the controller must know of the actuator in front of it.

use serde::{Deserialize, Serialize};

use super::table::{AllowedRange, OnWire, WireField, section};
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

section! {
    /// Constants of one actuator model. The defaults describe the invented "bench actuator A".
    pub struct ActuatorSettings as it {
        /// Which way the sensor counts.
        counts_direction: CountsDirection = CountsDirection::OpeningLowers;
        /// Lowest reading of a sound sensor, counts; below is an electrical fault.
        sensor_min: Counts = Counts(400), from 0.0, to 16_382.0;
        /// Highest reading of a sound sensor, counts; above is an electrical fault.
        sensor_max: Counts = Counts(15_980), from it.sensor_min.as_f32() + 1.0, to 16_383.0;
        /// Travel between the stops of a sound unit, counts; the default is 70°.
        nominal_span_counts: f32 = 10_700.0, from 200.0, to 16_000.0;
        /// What the spring does without power.
        spring: SpringAction = SpringAction::Opens;
        /// Winding resistance at 20 °C, Ω.
        winding_resistance_ohm: f32 = 1.6, from 0.05, to 50.0;
        /// Back-EMF in volts for each count per second of lever speed (0.0180 V s/rad × gear 48, over 8758
        /// counts/rad).
        back_emf_v_per_count_per_s: f32 = 9.865e-5, from 1.0e-6, to 0.1;
        /// Largest motor current that any command may draw, A.
        max_current: Ampere = Ampere(4.0), from 0.1, to 30.0;
        /// Largest duty magnitude that any command may ask for.
        max_duty: Duty = Duty::MAX, from 0.05, to 1.0;
        /// Supply that the gains were chosen at, V.
        nominal_supply: Volt = Volt(12.0), from 6.0, to 32.0;
    }
}
