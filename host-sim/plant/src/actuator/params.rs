//! What an actuator is made of, as it stands in a file.
//!
//! Angles are at the output lever, in radians; positive motor voltage raises the angle. The spring pulls
//! toward angle 0. Refuses negative masses, an efficiency outside (0, 1] and stops without travel.

use serde::{Deserialize, Serialize};

use super::contact::{Obstruction, StopPair};
use super::mesh::MeshParams;
use super::spring::SpringParams;
use crate::check::{BadParameter, above_zero, between, not_negative};
use crate::friction::LuGreParams;

/// A brushed direct-current motor.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct MotorParams {
    /// Winding resistance at the reference temperature, Ω.
    pub resistance_ohm: f64,
    /// Winding inductance, H.
    pub inductance_h: f64,
    /// Torque constant (= back-emf constant) at the reference temperature, N m/A.
    pub torque_constant_nm_per_a: f64,
    /// Rotor inertia, kg m².
    pub rotor_inertia_kg_m2: f64,
    /// Winding heat; without it the winding stays at the reference temperature.
    pub heat: Option<HeatParams>,
}

/// One-body winding heat.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct HeatParams {
    /// Heat capacity of the winding, J/K.
    pub capacity_j_per_k: f64,
    /// Resistance to the surroundings, K/W.
    pub resistance_k_per_w: f64,
    /// Surroundings (housing) temperature, °C.
    pub surroundings_c: f64,
    /// Winding resistance rise per kelvin; copper 0.003 93.
    pub copper_per_k: f64,
    /// Torque constant change per kelvin; ferrite magnets about −0.002 (common practice, no source).
    pub magnet_per_k: f64,
}

/// Temperature at which motor data are stated, °C.
pub(crate) const REFERENCE_C: f64 = 20.0;

/// What the bridge does when the duty is exactly 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum BridgeIdle {
    /// All switches off: the current dies through the diodes, the motor coasts.
    Open,
    /// Winding shorted: the motor brakes itself.
    Shorted,
}

/// H-bridge and what feeds it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct BridgeParams {
    /// Supply voltage without load, V.
    pub supply_v: f64,
    /// Resistance of supply and leads, Ω: the supply sags by it.
    pub source_resistance_ohm: f64,
    /// Both conducting switches together, Ω.
    pub switch_resistance_ohm: f64,
    /// Duty lost to dead time, 0 to 0.2.
    pub dead_band: f64,
    /// What duty 0 means.
    pub idle: BridgeIdle,
}

/// Gear between motor and lever.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct GearParams {
    /// Motor turns per lever turn.
    pub ratio: f64,
    /// Share of the motor torque that arrives at speed; below 0.05 rad/s the loss fades. Above 0, at most 1.
    pub efficiency: f64,
    /// Viscous loss at the lever, N m s/rad.
    pub viscous_nm_s_per_rad: f64,
    /// Friction in the mesh, which holds at rest; none: the gear loses nothing but the two above.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mesh: Option<MeshParams>,
}

/// What joins lever and ring.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub enum LeverJoint {
    /// No play: lever and ring are one body.
    Rigid,
    /// Play between two bodies in contact.
    Lash {
        /// Whole play, rad at the lever.
        play_rad: f64,
        /// Contact stiffness, N m/rad.
        stiffness_nm_per_rad: f64,
        /// Contact damping, N m s/rad.
        damping_nm_s_per_rad: f64,
    },
    /// Nothing: the lever is on its own (a free actuator, or a rod that has come off).
    Detached,
}

impl LeverJoint {
    /// A worn or new joint with this much play, degrees; contact stiffness as in bench actuator A.
    #[must_use]
    pub fn with_play_deg(play_deg: f64) -> Self {
        if play_deg <= 0.0 {
            return Self::Rigid;
        }
        Self::Lash {
            play_rad: play_deg.to_radians(),
            stiffness_nm_per_rad: 2000.0,
            damping_nm_s_per_rad: 1.0,
        }
    }

    /// This joint with another play, degrees; contact stiffness as its own, or bench actuator A's where it has none.
    #[must_use]
    pub fn with_play(self, play_deg: f64) -> Self {
        match (self, Self::with_play_deg(play_deg)) {
            (Self::Lash { stiffness_nm_per_rad, damping_nm_s_per_rad, .. }, Self::Lash { play_rad, .. }) => {
                Self::Lash { play_rad, stiffness_nm_per_rad, damping_nm_s_per_rad }
            }
            (Self::Lash { .. } | Self::Rigid | Self::Detached, other) => other,
        }
    }

    /// Whole play, rad; 0 when rigid or detached.
    #[must_use]
    pub fn play_rad(&self) -> f64 {
        match self {
            Self::Lash { play_rad, .. } => *play_rad,
            Self::Rigid | Self::Detached => 0.0,
        }
    }
}

/// More friction over a part of the travel.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SootPatch {
    /// Middle of the patch, rad.
    pub centre_rad: f64,
    /// Half its width, rad.
    pub half_width_rad: f64,
    /// Friction levels are multiplied by up to this much in the middle; 1 or more.
    pub factor: f64,
}

/// The vane ring.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct VaneRingParams {
    /// Inertia of ring, vanes and lever side, kg m².
    pub inertia_kg_m2: f64,
    /// Friction between ring and housing.
    pub friction: LuGreParams,
    /// Soot on a part of the travel.
    pub soot_patch: Option<SootPatch>,
    /// Ring contact and minimum-flow stops.
    pub stops: StopPair,
    /// Something in the way.
    pub obstruction: Option<Obstruction>,
}

/// A whole actuator with its ring.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct ActuatorParams {
    /// Motor.
    pub motor: MotorParams,
    /// Bridge and supply.
    pub bridge: BridgeParams,
    /// Gear.
    pub gear: GearParams,
    /// Return spring; `"none"` in a file is no spring.
    #[serde(with = "super::spring::in_file")]
    pub spring: Option<SpringParams>,
    /// Stops inside the actuator, felt by the lever with or without a ring.
    pub lever_stops: StopPair,
    /// What joins lever and ring.
    pub linkage: LeverJoint,
    /// The ring.
    pub ring: VaneRingParams,
}

impl ActuatorParams {
    /// Inertia of rotor and gear seen at the lever, kg m².
    #[must_use]
    pub fn lever_inertia_kg_m2(&self) -> f64 {
        self.gear.ratio * self.gear.ratio * self.motor.rotor_inertia_kg_m2
    }

    /// Checks every field.
    ///
    /// # Errors
    /// Names the first field that is out of range.
    pub fn validate(&self) -> Result<(), BadParameter> {
        self.motor.validate().map_err(|e| e.within("motor"))?;
        self.bridge.validate().map_err(|e| e.within("bridge"))?;
        self.gear.validate().map_err(|e| e.within("gear"))?;
        if let Some(spring) = &self.spring {
            spring.validate().map_err(|e| e.within("spring"))?;
        }
        self.lever_stops.validate().map_err(|e| e.within("lever_stops"))?;
        self.linkage.validate().map_err(|e| e.within("linkage.lash"))?;
        self.ring.validate().map_err(|e| e.within("ring"))
    }
}

impl MotorParams {
    fn validate(&self) -> Result<(), BadParameter> {
        above_zero("resistance_ohm", self.resistance_ohm)?;
        above_zero("inductance_h", self.inductance_h)?;
        not_negative("torque_constant_nm_per_a", self.torque_constant_nm_per_a)?;
        above_zero("rotor_inertia_kg_m2", self.rotor_inertia_kg_m2)?;
        let Some(heat) = &self.heat else { return Ok(()) };
        above_zero("heat.capacity_j_per_k", heat.capacity_j_per_k)?;
        above_zero("heat.resistance_k_per_w", heat.resistance_k_per_w)?;
        between("heat.surroundings_c", heat.surroundings_c, -60.0, 250.0)?;
        between("heat.copper_per_k", heat.copper_per_k, 0.0, 0.01)?;
        between("heat.magnet_per_k", heat.magnet_per_k, -0.003, 0.0)
    }
}

impl BridgeParams {
    fn validate(&self) -> Result<(), BadParameter> {
        between("supply_v", self.supply_v, 0.0, 60.0)?;
        not_negative("source_resistance_ohm", self.source_resistance_ohm)?;
        not_negative("switch_resistance_ohm", self.switch_resistance_ohm)?;
        between("dead_band", self.dead_band, 0.0, 0.2)
    }
}

impl GearParams {
    fn validate(&self) -> Result<(), BadParameter> {
        above_zero("ratio", self.ratio)?;
        above_zero("efficiency", self.efficiency)?;
        between("efficiency", self.efficiency, 0.0, 1.0)?;
        not_negative("viscous_nm_s_per_rad", self.viscous_nm_s_per_rad)?;
        self.mesh.map_or(Ok(()), |mesh| mesh.validate().map_err(|e| e.within("mesh")))
    }
}

impl LeverJoint {
    fn validate(&self) -> Result<(), BadParameter> {
        let Self::Lash { play_rad, stiffness_nm_per_rad, damping_nm_s_per_rad } = self else { return Ok(()) };
        not_negative("play_rad", *play_rad)?;
        above_zero("stiffness_nm_per_rad", *stiffness_nm_per_rad)?;
        not_negative("damping_nm_s_per_rad", *damping_nm_s_per_rad)
    }
}

impl VaneRingParams {
    fn validate(&self) -> Result<(), BadParameter> {
        above_zero("inertia_kg_m2", self.inertia_kg_m2)?;
        self.friction.validate().map_err(|e| e.within("friction"))?;
        self.stops.validate().map_err(|e| e.within("stops"))?;
        if let Some(patch) = &self.soot_patch {
            above_zero("soot_patch.half_width_rad", patch.half_width_rad)?;
            between("soot_patch.factor", patch.factor, 1.0, 1000.0)?;
        }
        self.obstruction.map_or(Ok(()), |o| o.validate().map_err(|e| e.within("obstruction")))
    }
}
