//! What a bare air path leaves out: each effect with its size, and each to be switched off.
//!
//! In: `[world.engine.effects]` of a scenario. Out: the same, checked. With every effect off the engine is the
//! bare air path, to the bit. All sizes are invented for bench engine A; the laws are named beside each.

use serde::{Deserialize, Serialize};

use super::reduced_params::ReducedParams;
use crate::check::{BadParameter, above_zero, between, not_negative};

/// An effect that can be switched off.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Switchable<T> {
    /// Left out.
    Off,
    /// At this size.
    On(T),
}

impl<T> Switchable<T> {
    /// Its size, where it is on.
    #[must_use]
    pub fn size(&self) -> Option<&T> {
        match self {
            Self::Off => None,
            Self::On(size) => Some(size),
        }
    }
}

/// Effects around the bare air path. Default: all on.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Effects {
    /// Exhaust walls and turbine housing take heat from the gas and give it back.
    pub heat_soak: Switchable<HeatSoak>,
    /// Charge-air cooler between compressor and intake manifold.
    pub cooler: Switchable<Cooler>,
    /// Turbine efficiency: the best blade-speed ratio moves with the vane angle.
    pub vane_angle: Switchable<VaneAngle>,
    /// Exhaust strokes pulsate in the gas torque on the ring.
    pub pulsation: Switchable<Pulsation>,
    /// The ring rubs otherwise when it is hot; needs `heat_soak`.
    pub ring_heat: Switchable<RingHeat>,
}

impl Default for Effects {
    fn default() -> Self {
        Self {
            heat_soak: Switchable::On(HeatSoak::default()),
            cooler: Switchable::On(Cooler::default()),
            vane_angle: Switchable::On(VaneAngle::default()),
            pulsation: Switchable::On(Pulsation::default()),
            ring_heat: Switchable::On(RingHeat::default()),
        }
    }
}

/// Two thermal masses in a row: gas → wall (manifold, volute) → body (housing) → air outside.
/// Conductances between lumped masses: any heat-transfer handbook. All sizes invented.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct HeatSoak {
    /// Heat capacity of the wall, J/K.
    pub wall_j_per_k: f64,
    /// Heat capacity of the body, J/K.
    pub body_j_per_k: f64,
    /// Gas to wall at 0.06 kg/s, W/K.
    pub gas_wall_w_per_k: f64,
    /// Wall to body, W/K.
    pub wall_body_w_per_k: f64,
    /// Body to the air outside, W/K.
    pub body_air_w_per_k: f64,
}

impl Default for HeatSoak {
    fn default() -> Self {
        Self {
            wall_j_per_k: 900.0,
            body_j_per_k: 2500.0,
            gas_wall_w_per_k: 10.0,
            wall_body_w_per_k: 4.0,
            body_air_w_per_k: 4.0,
        }
    }
}

/// Charge-air cooler: effectiveness (T_in − T_out) / (T_in − T_air), its volume, and its metal's lag.
/// Definition of effectiveness: any heat-exchanger handbook. All sizes invented.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Cooler {
    /// Effectiveness, 0 to 1.
    pub effectiveness: f64,
    /// Volume of cooler and pipes, added to the intake manifold's, m³.
    pub volume_m3: f64,
    /// Time constant of its metal, s.
    pub time_s: f64,
}

impl Default for Cooler {
    fn default() -> Self {
        Self { effectiveness: 0.7, volume_m3: 3.0e-3, time_s: 6.0 }
    }
}

/// Closed vanes put more of the drop into the nozzle: less reaction, so the best blade-speed ratio falls
/// from about 0.7 toward the 0.5 of an impulse wheel (turbine textbooks, from memory). Size invented.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct VaneAngle {
    /// Rise of the best blade-speed ratio over the whole opening.
    pub blade_speed_rise: f64,
}

impl Default for VaneAngle {
    fn default() -> Self {
        Self { blade_speed_rise: 0.08 }
    }
}

/// The gas torque swings with the exhaust strokes, cylinders × speed / 120 times a second (four-stroke).
/// Depth invented.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Pulsation {
    /// Amplitude as a share of the mean torque, 0 to 1.
    pub depth: f64,
}

impl Default for Pulsation {
    fn default() -> Self {
        Self { depth: 0.3 }
    }
}

/// Ring friction against temperature: a factor 1 + rise × (T − 293 K) on sliding and break-away friction.
/// Invented, sign included.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct RingHeat {
    /// Rise of friction, 1/K.
    pub rise_per_k: f64,
}

impl Default for RingHeat {
    fn default() -> Self {
        Self { rise_per_k: 4e-4 }
    }
}

/// Temperature at which a ring's friction is stated, K.
const FRICTION_STATED_K: f64 = 293.0;
/// Ring friction never falls below this share of the stated one.
const LEAST_FRICTION_SHARE: f64 = 0.1;

impl RingHeat {
    /// Factor on friction at a ring temperature.
    #[must_use]
    pub fn factor(&self, ring_k: f64) -> f64 {
        (1.0 + self.rise_per_k * (ring_k - FRICTION_STATED_K)).max(LEAST_FRICTION_SHARE)
    }
}

impl Effects {
    /// None of them: the bare air path.
    pub const OFF: Self = Self {
        heat_soak: Switchable::Off,
        cooler: Switchable::Off,
        vane_angle: Switchable::Off,
        pulsation: Switchable::Off,
        ring_heat: Switchable::Off,
    };

    /// The air path with what needs no state of its own worked in.
    pub(super) fn worked_into(&self, air: ReducedParams) -> ReducedParams {
        ReducedParams {
            intake_volume_m3: air.intake_volume_m3
                + self.cooler.size().map_or(0.0, |cooler| cooler.volume_m3),
            blade_speed_rise: air.blade_speed_rise
                + self.vane_angle.size().map_or(0.0, |angle| angle.blade_speed_rise),
            ..air
        }
    }

    /// Checks every effect that is on.
    ///
    /// # Errors
    /// Names the first field that is out of range.
    pub fn validate(&self) -> Result<(), BadParameter> {
        if let Switchable::On(soak) = &self.heat_soak {
            above_zero("heat_soak.on.wall_j_per_k", soak.wall_j_per_k)?;
            above_zero("heat_soak.on.body_j_per_k", soak.body_j_per_k)?;
            above_zero("heat_soak.on.gas_wall_w_per_k", soak.gas_wall_w_per_k)?;
            above_zero("heat_soak.on.wall_body_w_per_k", soak.wall_body_w_per_k)?;
            above_zero("heat_soak.on.body_air_w_per_k", soak.body_air_w_per_k)?;
        }
        if let Switchable::On(cooler) = &self.cooler {
            between("cooler.on.effectiveness", cooler.effectiveness, 0.0, 1.0)?;
            not_negative("cooler.on.volume_m3", cooler.volume_m3)?;
            above_zero("cooler.on.time_s", cooler.time_s)?;
        }
        if let Switchable::On(angle) = &self.vane_angle {
            between("vane_angle.on.blade_speed_rise", angle.blade_speed_rise, -0.5, 0.5)?;
        }
        if let Switchable::On(pulsation) = &self.pulsation {
            between("pulsation.on.depth", pulsation.depth, 0.0, 1.0)?;
        }
        if let Switchable::On(ring) = &self.ring_heat {
            between("ring_heat.on.rise_per_k", ring.rise_per_k, -0.01, 0.01)?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_effect_out_of_range_is_named_and_one_that_is_off_is_not_looked_at() {
        let wrong = Cooler { effectiveness: 1.2, ..Cooler::default() };
        let effects = Effects { cooler: Switchable::On(wrong), ..Effects::default() };
        assert_eq!(effects.validate().unwrap_err().field, "cooler.on.effectiveness");
        assert_eq!(Effects::default().validate(), Ok(()));
        assert_eq!(Effects::OFF.validate(), Ok(()));
    }

    #[test]
    fn effects_read_off_and_on_from_a_file() {
        let text = "heat_soak = \"off\"\ncooler = { on = { effectiveness = 0.6 } }\n";
        let effects: Effects = toml::from_str(text).unwrap();
        assert_eq!(effects.heat_soak, Switchable::Off);
        let cooler = Cooler { effectiveness: 0.6, ..Cooler::default() };
        assert_eq!(
            (effects.cooler, effects.pulsation),
            (Switchable::On(cooler), Effects::default().pulsation)
        );
    }
}
